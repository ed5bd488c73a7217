"""The commands. Each reads its options, calls the api and shows the result; no logic of its own.

Exit codes: 0 clean, 1 findings of severity error, 2 bad input.
"""

from __future__ import annotations

import io
import json
import os
import shlex
import sys
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from jackrail import __version__

from .options import choice_of, fitting_options, reading_options, wishes_of
from .rolls import is_roll, refuse_wishes

if TYPE_CHECKING:
    from jackrail.api import Finding, Rehearsal, Work

_FILE = click.Path(path_type=Path)


class _Commands(click.Group):
    """A group that turns bad input into one clear message and exit code 2, for every command alike."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Keep the words typed: a fault is told in JSON when --json is among them."""
        ctx.obj = list(args)
        return super().parse_args(ctx, args)

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command. Faults, and output that cannot be written, end it with exit code 2; Ctrl-C with 130."""
        for stream in (sys.stdout, sys.stderr):
            if isinstance(stream, io.TextIOWrapper):
                stream.reconfigure(errors="backslashreplace")  # a title must not end a command on a plain terminal
        try:
            result = super().invoke(ctx)
            sys.stdout.flush()
        except KeyboardInterrupt:
            ctx.exit(130)
        except OSError as error:
            _stop_writing(error)
            ctx.exit(2)
        except Exception as error:
            faults = getattr(error, "faults", None)
            if faults is None:
                raise
            from .show import show_faults

            show_faults(faults, as_json="--json" in ctx.obj)
            ctx.exit(2)
        return result


def _stop_writing(error: OSError) -> None:
    """Say that the output cannot be written, unless its reader just left, and keep Python from trying again at its end."""
    sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115, PTH123 - stays open until the end
    if not isinstance(error, BrokenPipeError):
        click.echo(f"jackrail: the output cannot be written: {error.strerror}", err=True)


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80})
@click.version_option(__version__, prog_name="jackrail")
def main() -> None:
    """From a tune to a performance by a real stringed instrument that plays itself.

    \b
    Start here:
      jackrail new mine         a commented machine file, and a tune
      jackrail perform mine/machine.toml mine/tune.abc --out out
    """


@main.command()
@click.argument("machine", type=_FILE)
@click.argument("tune", type=_FILE)
@click.option("--out", metavar="FOLDER", default="out", show_default=True, help="Folder for what is made.")
@reading_options
@fitting_options
@click.option("--no-rehearsal", is_flag=True, help="Do not run it on the emulated board.")
@click.option("--json", "as_json", is_flag=True, help="Print a summary as JSON.")
def perform(machine: Path, tune: Path, out: str, no_rehearsal: bool, as_json: bool, **wishes: Any) -> None:
    """Make everything: cues, roll, sound and report of TUNE on MACHINE.

    The roll is rehearsed too: the image for the board runs on an emulated
    chip, wired to a model of the machine.

    \b
    Example:
      jackrail perform mine/machine.toml mine/tune.abc --out out/tune
    """
    from jackrail import api

    from .show import show_work, working

    if not out.strip():
        raise api.BadInput(api.Fault("option", "is empty", "--out", hint="name a folder"))
    with working("fitting", quiet=as_json):
        built, read, wanted = api.load_machine(machine), api.read_tune(tune, choice_of(wishes)), wishes_of(wishes)
        work = api.do_work(built, read, wanted)
        others = api.alternatives_of(built, read, wanted)
    rehearsal, findings = None, list(work.findings)
    if not no_rehearsal:
        with working("rehearsing", quiet=as_json):
            rehearsal, told = _try_rehearsal(work)
        findings += told
    with working("making sound and report", quiet=as_json):
        paths = api.write_work(work, Path(out), rehearsal, findings, others)
    if as_json:
        _print_json(
            {
                "out": out,
                "files": [path.name for path in paths],
                "setting": work.setting.to_json(work.ensemble.voice_ids, work.ensemble.place_names),
                "memory": work.memory.to_json(),
                "rehearsal": None if rehearsal is None else _rehearsal_json(rehearsal),
                "findings": [finding.to_json() for finding in findings],
            }
        )
    else:
        show_work(work, paths, rehearsal, findings)
    raise SystemExit(1 if api.worst(findings) == "error" else 0)


def _try_rehearsal(work: Work) -> tuple[Rehearsal | None, list[Finding]]:
    """A rehearsal and its findings; none where the emulator's packages are missing or the image does not fit: a finding says so."""
    from jackrail import api

    try:
        rehearsal = api.rehearse_work(work)
    except api.RigMissing as missing:
        return None, [api.skipped_finding(str(missing))]
    except api.BadInput as bad:
        return None, [api.skipped_finding("; ".join(f"{fault.where} {fault.what}" for fault in bad.faults))]
    return rehearsal, api.rehearsal_findings(rehearsal)


def _rehearsal_json(rehearsal: Rehearsal) -> dict[str, object]:
    """The rehearsal without all it heard, which stands in rehearsal.json."""
    return {key: value for key, value in rehearsal.to_json().items() if key != "heard"}


def _print_mishaps(ctx: click.Context, _param: click.Parameter, wanted: bool) -> None:
    if not wanted:
        return
    from jackrail import api

    from .show import show_pairs

    show_pairs(api.list_mishaps())
    ctx.exit()


@main.command()
@click.argument("machine", type=_FILE)
@click.argument("tune", type=_FILE)
@reading_options
@fitting_options
@click.option("--fault", "faults", multiple=True, metavar="NAME", help="Make this go wrong; can be given again.")
@click.option("--faults", "list_faults", is_flag=True, is_eager=True, callback=_print_mishaps, expose_value=False, help="List them.")
@click.option("--stream", is_flag=True, help="Send the tune over the serial line instead of flashing it.")
@click.option("--out", metavar="FOLDER", help="Also write a report, heard.wav and trace.vcd there.")
@click.option("--json", "as_json", is_flag=True, help="Print the rehearsal as JSON.")
def rehearse(machine: Path, tune: Path, faults: tuple[str, ...], stream: bool, **options: Any) -> None:
    """Run TUNE on the emulated board and a model of MACHINE.

    TUNE may also be a packed roll (roll.bin), which is played as it is. The
    image is the very one that is flashed; what it plays is heard and
    compared with the setting.

    \b
    Examples:
      jackrail rehearse mine/machine.toml mine/tune.abc
      jackrail rehearse mine/machine.toml out/roll.bin --fault lost-steps
    """
    from jackrail import api

    from .show import show_paths, show_rehearsal, working

    out, as_json, choice = options.pop("out"), options.pop("as_json"), choice_of(options)
    built = api.load_machine(machine)
    work = None
    with working("rehearsing", quiet=as_json):
        try:
            if is_roll(tune):
                refuse_wishes({**asdict(choice), **options})
                rehearsal = api.rehearse_roll(built, tune.read_bytes(), faults, stream=stream)
            else:
                work = api.do_work(built, api.read_tune(tune, choice), wishes_of(options))
                rehearsal = api.rehearse_work(work, faults, stream=stream)
        except api.RigMissing as missing:
            raise api.BadInput(api.Fault("missing", str(missing), hint="everything else works without")) from None
        paths = api.write_rehearsal(rehearsal, built, Path(out), work) if out else ()
    findings = api.rehearsal_findings(rehearsal)
    if as_json:
        _print_json({**rehearsal.to_json(), "findings": [finding.to_json() for finding in findings]})
    else:
        show_rehearsal(rehearsal, findings)
        show_paths(paths)
    raise SystemExit(1 if api.worst(findings) == "error" else 0)


@main.command()
@click.argument("machine", type=_FILE)
@click.argument("tune", type=_FILE)
@reading_options
@fitting_options
@click.option("--front", is_flag=True, help="List what could be had instead: tempo against notes against sustain.")
@click.option("--changes", is_flag=True, help="List what single changes to the machine would gain for this tune.")
@click.option("--json", "as_json", is_flag=True, help="Print the setting as JSON.")
def fit(machine: Path, tune: Path, front: bool, changes: bool, as_json: bool, **wishes: Any) -> None:
    """Say what MACHINE keeps of TUNE and what it gives up.

    With --front: the points to choose from; --point N takes one, here
    and in perform and rehearse. With --changes: what it would take.

    \b
    Examples:
      jackrail fit mine/machine.toml mine/tune.abc --tempo 80%
      jackrail fit mine/machine.toml mine/tune.abc --front
    """
    from jackrail import api

    from .show import show_setting, working
    from .show_advice import show_gains
    from .show_front import show_front

    with working("fitting", quiet=as_json):
        built, read, wanted = api.load_machine(machine), api.read_tune(tune, choice_of(wishes)), wishes_of(wishes)
        arranged, setting = api.arrange_tune(built, read, wanted)
        choices = api.alternatives_of(built, read, wanted).front if front else None
        gains, moves = api.gains(built, read, wanted) if changes else ((), ())
    if as_json and (front or changes):
        told = choices.to_json() if choices is not None else {}
        if changes:
            told |= {"changes": [gain.to_json() for gain in gains], "tight_moves": [move.to_json() for move in moves]}
        _print_json(told)
    elif as_json:
        _print_json(api.setting_json(built, setting))
    elif choices is None and not changes:
        show_setting(setting, arranged)
    if not as_json and choices is not None:
        show_front(choices, setting)
    if not as_json and changes:
        show_gains(gains, moves, setting)
    raise SystemExit(1 if setting.notes_kept == 0 else 0)


@main.command()
@click.argument("machine", type=_FILE)
@click.argument("tunes", type=_FILE, nargs=-1, required=True)
@click.option("--workers", type=click.IntRange(1, 64), default=2, show_default=True, help="Processes that share the work.")
@click.option("--json", "as_json", is_flag=True, help="Print the advice as JSON.")
def advise(machine: Path, tunes: tuple[Path, ...], workers: int, as_json: bool) -> None:
    """Say what to change on MACHINE so that it plays more of TUNES.

    TUNES are files of tunes; of a book of ABC tunes all count. It says
    which chords the bars should have, which stops, what another tuning
    brings, and what each change to the mechanics buys.

    \b
    Example:
      jackrail advise mine/machine.toml songbook.abc
    """
    from jackrail import api

    from .show_advice import counting, show_advice

    built = api.load_machine(machine)
    with counting("fitting the songbook", quiet=as_json) as progress:
        advice, faults = api.advise_on(built, tunes, workers, progress)
    if as_json:
        _print_json({**advice.to_json(), "faults": [asdict(fault) for fault in faults]})
    else:
        show_advice(advice, faults)


@main.command()
@click.argument("tune", type=_FILE)
@reading_options
@click.option("--list", "listing", is_flag=True, help="List what is in the file instead: tunes, parts and voices, tracks.")
@click.option("--json", "as_json", is_flag=True, help="Print the tune as JSON.")
def read(tune: Path, listing: bool, as_json: bool, **options: Any) -> None:
    """Show what is understood of TUNE: MIDI, ABC or MusicXML.

    \b
    Examples:
      jackrail read mine/tune.abc --json
      jackrail read score.mxl --list
      jackrail read score.mxl --part 2 --voice 1
    """
    from jackrail import api

    from .show import show_offers, show_tune

    choice = choice_of(options)
    if listing:
        _refuse_more_than_number(asdict(choice))
        offers = api.list_tunes(tune, choice.number)
        if as_json:
            _print_json({"tunes": [asdict(offer) for offer in offers]})
        else:
            show_offers(offers)
        return
    found = api.read_tune(tune, choice)
    if as_json:
        _print_json(found.to_json())
    else:
        show_tune(found)


def _refuse_more_than_number(options: dict[str, Any]) -> None:
    """Raise BadInput for what would choose from a listing, which shows everything."""
    from jackrail import api

    given = [name for name, value in options.items() if value is not None and name != "number"]
    if given:
        hint = "leave it out, or leave out --list"
        raise api.BadInput([api.Fault("option", "chooses nothing in a listing, which shows all", f"--{name}", hint=hint) for name in given])


@main.command()
@click.argument("machine", type=_FILE)
@click.argument("tunes", type=_FILE, nargs=-1)
@click.option("--json", "as_json", is_flag=True, help="Print the findings as JSON.")
def check(machine: Path, tunes: tuple[Path, ...], as_json: bool) -> None:
    """Check a MACHINE file, and each of TUNES on it; of a book each tune.

    \b
    Example:
      jackrail check mine/machine.toml mine/tune.abc
    """
    from jackrail import api

    from .show import show_faults, show_findings, working

    with working("checking", quiet=as_json):
        built = api.load_machine(machine)
        findings, faults = api.check(built, tunes)
    if as_json:
        rows = [{"tune": name, **finding.to_json()} for name, found in findings.items() for finding in found]
        _print_json({"machine": built.name, "findings": rows, "faults": [asdict(fault) for fault in faults]})
    else:
        show_findings(built.name, findings)
        if faults:
            show_faults(faults, as_json=False)
    severity = api.worst(finding for found in findings.values() for finding in found)
    raise SystemExit(2 if faults else 1 if severity == "error" else 0)


@main.command()
@click.argument("folder", type=_FILE)
def new(folder: Path) -> None:
    """Write a machine file to start from into FOLDER.

    \b
    Example:
      jackrail new mine
    """
    from jackrail import api

    machine, tune = api.write_new_machine(folder)
    click.echo(f"{machine}  a machine to change into yours; every line says what it means")
    click.echo(f"{tune}  a tune that it plays")
    words = ["jackrail", "perform", str(machine), str(tune), "--out", str(folder / "out")]
    click.echo(f"\nNext: {shlex.join(words)}")


@main.command()
def schema() -> None:
    """Print the JSON Schema of the machine file.

    Editors use it to complete and check as you type.

    \b
    Example:
      jackrail schema > machine.schema.json
    """
    from jackrail import api

    _print_json(api.json_schema())


def _print_json(value: object) -> None:
    click.echo(json.dumps(value, indent=1, ensure_ascii=False))
