"""The public door: what a script, the command line and the page call. Each function does one whole thing.

    from pathlib import Path
    from jackrail import api

    machine = api.load_machine(Path("machines/quay_zither.toml"))
    tune = api.read_tune(Path("tunes/nine_lamps.abc"))
    work = api.do_work(machine, tune, api.Wishes(tempo="90%"))
    rehearsal = api.rehearse_work(work)
    api.write_work(work, Path("out/demo"), rehearsal)

Bad input raises `BadInput`, which carries every fault; judgements on good input are `Finding`s in `Work.findings`.
"""

from __future__ import annotations

import errno
import json
import tempfile
from collections.abc import Callable, Sequence
from importlib import resources
from pathlib import Path
from typing import Any

from jackrail.advise.advice import Advice, advise
from jackrail.advise.gains import Gain, TightMove, gains_of, tight_moves
from jackrail.board.image import Image, assemble, built_firmware, read_image
from jackrail.checks.heard import rehearsal_findings, skipped_finding
from jackrail.checks.machine import machine_findings
from jackrail.cues.model import cues_csv
from jackrail.faults import BadInput, Fault
from jackrail.findings import Finding, worst
from jackrail.machine.load import load_machine, parse_machine
from jackrail.machine.machine import Machine, json_schema
from jackrail.motion.ensemble import make_ensemble
from jackrail.rehearsal.missing import RigMissing
from jackrail.rehearsal.model import Piece, Rehearsal
from jackrail.roll.dry_run import play_on_paper
from jackrail.roll.listing import list_roll
from jackrail.roll.machine_block import numbering_of, pack_machine
from jackrail.roll.roll import unpack_roll
from jackrail.setting.as_written import as_written, written_s
from jackrail.setting.fit import arrange, fit
from jackrail.setting.model import Setting
from jackrail.setting.taste import Taste
from jackrail.setting.wishes import Wishes
from jackrail.tune.choice import Choice, Offer
from jackrail.tune.model import Tune
from jackrail.tune.read import list_tunes, read_tune
from jackrail.work import LONGEST_S, Alternatives, Work, alternatives_of, do_work

__all__ = [
    "Advice",
    "Alternatives",
    "BadInput",
    "Choice",
    "Fault",
    "Finding",
    "Gain",
    "Image",
    "Machine",
    "Offer",
    "Rehearsal",
    "RigMissing",
    "Setting",
    "Taste",
    "TightMove",
    "Tune",
    "Wishes",
    "Work",
    "advise_on",
    "alternatives_of",
    "arrange_tune",
    "check",
    "check_machine",
    "do_work",
    "fit_tune",
    "gains",
    "json_schema",
    "list_mishaps",
    "list_tunes",
    "load_machine",
    "make_image",
    "parse_machine",
    "read_image",
    "read_tune",
    "rehearsal_findings",
    "rehearse_roll",
    "rehearse_work",
    "setting_json",
    "skipped_finding",
    "worst",
    "write_image",
    "write_new_machine",
    "write_rehearsal",
    "write_work",
]

_STARTERS = ("machine.toml", "tune.abc")


def fit_tune(machine: Machine, tune: Tune, wishes: Wishes | None = None) -> Setting:
    """The best setting of a tune for a machine, without the stages after it."""
    return fit(tune, make_ensemble(machine.instrument, machine.mechanism).voices, machine.name, wishes)


def arrange_tune(machine: Machine, tune: Tune, wishes: Wishes | None = None) -> tuple[Tune, Setting]:
    """The tune as it is to be played, with the small notes and the chords wished for or proposed, and its best setting."""
    return arrange(tune, make_ensemble(machine.instrument, machine.mechanism).voices, machine.name, wishes)


def gains(machine: Machine, tune: Tune, wishes: Wishes | None = None) -> tuple[tuple[Gain, ...], tuple[TightMove, ...]]:
    """What each single change to a machine would gain for a tune, the most first, and its tightest moves with what would free them."""
    return gains_of(machine, tune, wishes), tight_moves(machine, tune, wishes)


def advise_on(
    machine: Machine, paths: Sequence[Path], workers: int = 1, progress: Callable[[int, int], object] | None = None
) -> tuple[Advice, list[Fault]]:
    """Advice for a machine and a songbook of files, books of tunes among them, and the faults of the tunes that cannot be read.

    Raises BadInput when none can be read.
    """
    tunes: list[Tune] = []
    faults: list[Fault] = []
    for path in paths:
        for _, choice in _tunes_in(path):
            try:
                tunes.append(read_tune(path, choice))
            except BadInput as bad:
                faults += bad.faults
    if not tunes and faults:
        raise BadInput(faults)
    return advise(machine, [tune for tune in tunes if tune.notes], workers, progress), faults


def setting_json(machine: Machine, setting: Setting) -> dict[str, object]:
    """The stable JSON of a setting, with the names of the machine file."""
    ensemble = make_ensemble(machine.instrument, machine.mechanism)
    return setting.to_json(ensemble.voice_ids, ensemble.place_names)


def check_machine(machine: Machine) -> list[Finding]:
    """Findings about a machine by itself."""
    return machine_findings(make_ensemble(machine.instrument, machine.mechanism), machine.supply)


def check(machine: Machine, tunes: Sequence[Path]) -> tuple[dict[str, list[Finding]], list[Fault]]:
    """Findings about a machine (under "") and about each tune on it (under its path), and the faults of unreadable tunes.

    Of a book of ABC tunes each is looked at, under the book's path and its X: number: "book.abc X:12".
    """
    findings = {"": check_machine(machine)}
    faults: list[Fault] = []
    for path in tunes:
        for name, choice in _tunes_in(path):
            try:
                found = do_work(machine, read_tune(path, choice)).findings
            except BadInput as bad:
                faults += bad.faults
            else:
                findings[name] = [finding for finding in found if finding not in findings[""]]
    return findings, faults


def _tunes_in(path: Path) -> list[tuple[str, Choice]]:
    """Name and choice of each tune of a file; a file that cannot be listed is left to the reader, which says why."""
    try:
        numbers = [offer.number for offer in list_tunes(path) if offer.kind == "tune" and offer.options]
    except BadInput:
        numbers = []
    if len(numbers) < 2:
        return [(str(path), Choice())]
    return [(f"{path} X:{number}", Choice(number=number)) for number in numbers]


def make_image(machine: Machine, works: Sequence[Work], firmware: bytes | None = None) -> Image:
    """The flash image of a machine and its tunes, in this order. firmware: the one that comes with this program when None.

    Raises BadInput with every part that does not fit or is packed for another machine.
    """
    machine_block = pack_machine(make_ensemble(machine.instrument, machine.mechanism), machine.board)
    rolls = [work.roll_block for work in works]
    return assemble(built_firmware() if firmware is None else firmware, machine_block, rolls, machine.board)


def write_image(image: Image, path: Path) -> Path:
    """Write an image as an Intel HEX file, whole or not at all. Raises BadInput when it cannot be written."""
    text = image.to_hex()
    (written,) = _write_all({path.name: lambda made: _write_text(made, text)}, path.parent)
    return written


def list_mishaps() -> tuple[tuple[str, str], ...]:
    """Name and description of everything that can be made to go wrong in a rehearsal."""
    from jackrail.rehearsal.mishaps import CATALOGUE  # noqa: PLC0415

    return tuple((mishap.name, mishap.text) for mishap in CATALOGUE.values())


def rehearse_work(work: Work, mishaps: Sequence[str] = (), *, stream: bool = False) -> Rehearsal:
    """Run the flash image of a work on the emulated board, wired to a model of its machine, and hear what it plays.

    mishaps: names from `list_mishaps`, made to happen. stream: send the tune over the serial line instead of flashing it.
    Raises RigMissing when the emulator's packages are missing, BadInput for a name that is none or that cannot happen here.
    """
    piece = Piece(work.machine, work.machine_block, work.roll_block, work.numbering, work.performance)
    return _rehearse(piece, mishaps, stream=stream)


def rehearse_roll(machine: Machine, roll_block: bytes, mishaps: Sequence[str] = (), *, stream: bool = False) -> Rehearsal:
    """The same for a packed roll, which is expected to sound as it does on paper. Raises BadInput also for a roll not for this machine."""
    ensemble = make_ensemble(machine.instrument, machine.mechanism)
    machine_block = pack_machine(ensemble, machine.board)
    numbering = numbering_of(ensemble)
    try:
        roll = unpack_roll(roll_block, machine_block)
    except BadInput as bad:
        raise bad.at("roll") from None
    expected = play_on_paper(roll, numbering, ensemble)
    return _rehearse(Piece(machine, machine_block, roll_block, numbering, expected), mishaps, stream=stream)


def _rehearse(piece: Piece, mishaps: Sequence[str], *, stream: bool) -> Rehearsal:
    from jackrail.rehearsal.mishaps import mishaps_of  # noqa: PLC0415 - numpy and the emulator, only who rehearses needs them
    from jackrail.rehearsal.rehearse import rehearse  # noqa: PLC0415

    return rehearse(piece, mishaps_of(mishaps), stream=stream)


def write_rehearsal(rehearsal: Rehearsal, machine: Machine, out: Path, work: Work | None = None) -> tuple[Path, ...]:
    """Write what a rehearsal yields into the folder `out`: heard.wav, rehearsal.json and trace.vcd, in the way of `write_work`.

    work: what was rehearsed; with it also report.html.
    """
    from jackrail.rehearsal.plant import configure  # noqa: PLC0415
    from jackrail.rehearsal.trace import pin_names, vcd  # noqa: PLC0415
    from jackrail.report import render_report  # noqa: PLC0415
    from jackrail.sound import render, write_wav  # noqa: PLC0415

    names = pin_names(configure(machine))
    report = {"report.html": lambda path: _write_text(path, render_report(work, rehearsal))} if work else {}
    return _write_all(
        {
            **report,
            "rehearsal.json": lambda path: _write_json(path, rehearsal.to_json()),
            "heard.wav": lambda path: write_wav(path, render(rehearsal.heard, machine.instrument), 44100),
            "trace.vcd": lambda path: _write_text(path, vcd(rehearsal.edges, names, inputs=rehearsal.inputs, marks=rehearsal.marks)),
        },
        out,
    )


def write_new_machine(folder: Path) -> tuple[Path, ...]:
    """Write a commented machine to start from, and a tune for it, into a folder. Never overwrites: raises BadInput."""
    targets = tuple(folder / name for name in _STARTERS)
    taken = [target for target in targets if target.exists()]
    if taken:
        raise BadInput([Fault("file", "is there already and is not overwritten", str(path), hint="give another folder") for path in taken])
    starters = resources.files("jackrail") / "starter"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for target in targets:
            target.write_bytes((starters / target.name).read_bytes())
    except OSError as error:
        raise BadInput(Fault("file", f"cannot be written: {error.strerror}", str(folder), hint="give another folder")) from None
    return targets


def write_work(
    work: Work,
    out: Path,
    rehearsal: Rehearsal | None = None,
    findings: Sequence[Finding] | None = None,
    others: Alternatives | None = None,
) -> tuple[Path, ...]:
    """Write everything `perform` makes into the folder `out` and return the paths, the report first.

    rehearsal: of this work, where there was one. findings: those to be written, of the work and its rehearsal when None. others: what
    could be had instead, for the report. The image for the board, image.hex, is left out when it does not fit the flash: a finding of
    the work says so. before.wav, the tune as written, is left out when that lasts too long. Of these and rehearsal.json, what is not
    made is taken away where it lies from an earlier tune, so that what is in `out` belongs together.

    All files are made in a hidden folder inside `out` and moved in when the last is done. If one cannot be moved in, those
    that were are taken back and what stood there before is restored; other files in `out` are left alone. Raises BadInput
    when the folder cannot be written.
    """
    # Loaded here: numpy and the page's templates take longer to load than a tune takes to fit.
    from jackrail.report import render_report  # noqa: PLC0415
    from jackrail.sound import render, write_wav  # noqa: PLC0415

    if findings is None:
        findings = [*work.findings, *(rehearsal_findings(rehearsal) if rehearsal else ())]
    makers: dict[str, Callable[[Path], object]] = {
        "report.html": lambda path: _write_text(path, render_report(work, rehearsal, findings, others)),
        "sound.wav": lambda path: write_wav(path, render(work.performance, work.machine.instrument), 44100),
        "before.wav": lambda path: write_wav(path, render(*as_written(work.setting, work.tune, work.ensemble)), 44100),
        "setting.json": lambda path: _write_json(path, _lasting(work.setting.to_json(work.ensemble.voice_ids, work.ensemble.place_names))),
        "performance.json": lambda path: _write_json(path, work.performance.to_json()),
        "findings.json": lambda path: _write_json(path, {"findings": [finding.to_json() for finding in findings]}),
        "cues.csv": lambda path: _write_text(path, cues_csv(work.cues)),
        "roll.bin": lambda path: path.write_bytes(work.roll_block),
        "roll.txt": lambda path: _write_text(path, list_roll(work.roll, work.numbering)),
        "machine.bin": lambda path: path.write_bytes(work.machine_block),
    }
    if written_s(work.tune) > LONGEST_S:
        del makers["before.wav"]
    if work.memory.free_b >= 0:
        makers["image.hex"] = lambda path: _write_text(path, make_image(work.machine, [work]).to_hex())
    if rehearsal is not None:
        makers["rehearsal.json"] = lambda path: _write_json(path, rehearsal.to_json())
    return _write_all(makers, out, stale=sorted({"before.wav", "image.hex", "rehearsal.json"} - makers.keys()))


def _write_all(makers: dict[str, Callable[[Path], object]], out: Path, stale: Sequence[str] = ()) -> tuple[Path, ...]:
    """Make all files in a hidden folder and move them in, all or none; stale: files of an earlier run to be taken away."""
    try:
        out.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix=".making-", dir=out) as made:
            for name, make in makers.items():
                make(Path(made) / name)
            _move_in((*makers, *stale), Path(made), out)
    except OSError as error:
        raise BadInput(Fault("file", f"cannot be written: {error.strerror}", str(out), hint="give another folder with --out")) from None
    return tuple(out / name for name in makers)


def _move_in(names: Sequence[str], made: Path, out: Path) -> None:
    """Put what was made in the place of what was there, all or none: on an error it is as before. What was not made is gone."""
    before = made / "before"
    before.mkdir()
    moved: list[str] = []
    try:
        for name in names:
            if (out / name).is_dir():
                raise IsADirectoryError(errno.EISDIR, f"{name} is a folder there")  # noqa: TRY301 - undone like any other
            if (out / name).exists():
                (out / name).replace(before / name)
            moved.append(name)
            if (made / name).exists():
                (made / name).replace(out / name)
    except BaseException:  # also when the run is stopped in the middle
        for name in moved:
            (out / name).unlink(missing_ok=True)
            if (before / name).exists():
                (before / name).replace(out / name)
        raise


def _lasting(setting: dict[str, object]) -> dict[str, object]:
    """A setting without how long its search took: the same work gives the same files."""
    return {key: value for key, value in setting.items() if key != "search_s"}


def _write_text(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8", newline="\n")


def _write_json(path: Path, value: dict[str, Any]) -> None:
    _write_text(path, json.dumps(value, indent=1, ensure_ascii=False) + "\n")
