"""What the terminal shows of advice: what changes would gain, for one tune and for a songbook."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager

from rich.console import Console
from rich.padding import Padding
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn
from rich.text import Text

from jackrail.advise.advice import Advice, Bought
from jackrail.advise.bars import Advised
from jackrail.advise.gains import Gain, TightMove
from jackrail.advise.songbook import Standing
from jackrail.faults import Fault
from jackrail.findings import count
from jackrail.setting.model import Setting

from .show import show_faults, terminal

_MOST = 10
_MOST_FREED = 2


@contextmanager
def counting(what: str, *, quiet: bool) -> Iterator[Callable[[int, int], object] | None]:
    """A bar on the error stream that grows as parts of the work are done; nothing when that is no terminal."""
    console = terminal(stderr=True)
    if quiet or not console.is_terminal:
        yield None
        return
    with Progress(TextColumn(what), BarColumn(), TimeRemainingColumn(), console=console, transient=True) as bar:
        task = bar.add_task(what, total=None)
        yield lambda done, whole: bar.update(task, completed=done, total=whole)


def show_gains(gains: Sequence[Gain], moves: Sequence[TightMove], setting: Setting) -> None:
    """What single changes would gain for a tune, and what would free its tightest moves."""
    console = terminal()
    console.print(Text(setting.title or "(no title)", "bold"), f"on {setting.machine}: what it would take")
    if not gains:
        console.print("No single change that is tried gains anything.")
    for gain in gains[:_MOST]:
        parts = [
            f"{100 * gain.tempo:+.1f} points of tempo" if abs(gain.tempo) >= 5e-4 else "",
            f"{gain.notes:+d} {'note' if abs(gain.notes) == 1 else 'notes'}" if gain.notes else "",
            f"{gain.chords:+d} {'chord' if abs(gain.chords) == 1 else 'chords'}" if gain.chords else "",
        ]
        gained = ", ".join(filter(None, parts)) or "a little less given up"
        _item(console, f"{gain.name}: {'at least ' if gain.at_least else ''}{gained}", gain.caution)
    if moves:
        console.print(Text("The tightest moves", "bold"))
    for move in moves:
        needs = f"{move.place}: {move.origin} to {move.target} needs {1000 * move.needs_s:.0f} ms and has {1000 * move.has_s:.0f} ms"
        freed = [f"{name}: {1000 * needs_s:.0f} ms" for name, needs_s in move.freed[:_MOST_FREED]]
        _item(console, needs, "; ".join(freed))


def _item(console: Console, text: str, more: str) -> None:
    console.print(Padding(Text(text), (0, 0, 0, 2)))
    if more:
        console.print(Padding(Text(more, "dim"), (0, 0, 0, 4)))


def show_advice(advice: Advice, faults: Sequence[Fault]) -> None:
    """Advice on a machine for a songbook."""
    console = terminal()
    now = advice.now
    console.print(Text(advice.machine, "bold"), f"with {count(now.tunes, 'tune')}")
    console.print(f"  whole at the written tempo {now.whole[0]}, at 75 % of it {now.whole[1]}, at 50 % {now.whole[2]}")
    console.print(f"  {now.notes} of {now.notes_total} notes kept, half the tunes at {100 * now.tempo:.0f} % of their tempo or faster")
    console.print(Text("What each change buys", "bold"))
    if not advice.bought:
        console.print("  nothing that is tried buys anything")
    for one in advice.bought[:_MOST]:
        _item(console, f"{one.name}: {_bought(one)}", one.caution)
    _choices(console, "Chords for the bars", advice.bars, "of the chord time")
    if advice.stops is not None:
        _choices(console, "Stops for the melody string", [advice.stops], "of the melodies, whatever their speed")
    if advice.tuning:
        console.print(Text("Tuning, with the chords as they are", "bold"))
        best = advice.tuning[0]
        _item(console, f"{best.name}: {_bought(best)}", best.caution)
    if faults:
        show_faults(faults, as_json=False)


def _bought(one: Bought) -> str:
    """What a change buys: "3 more of 20 tunes whole at the written tempo, 41 more notes"."""
    was, then = one.beside, one.with_it
    whole = [
        _more(after - before, f"of {count(one.beside.tunes, 'tune')} whole {at}")
        for before, after, at in zip(was.whole, then.whole, ("at the written tempo", "at 75 %", "at 50 %"), strict=True)
        if after != before
    ]
    notes = [f"{then.notes - was.notes:+d} notes"] if then.notes != was.notes else []
    return ", ".join([*whole[:1], *notes, *_tempo(was, then)]) or f"a little less given up in {count(was.tunes, 'tune')}"


def _tempo(was: Standing, then: Standing) -> list[str]:
    points = 100 * (then.tempo - was.tempo)
    return [f"{points:+.0f} points of tempo"] if abs(points) >= 0.5 else []


def _more(number: int, what: str) -> str:
    return f"{abs(number)} {'more' if number > 0 else 'fewer'} {what}"


def _choices(console: Console, title: str, choices: Sequence[Advised], of: str) -> None:
    if not choices:
        return
    console.print(Text(title, "bold"))
    for one in choices:
        proof = "proven" if one.proven else f"no choice gives more than {100 * one.bound:.1f} %"
        _item(console, f"{len(one.names)}: {' '.join(one.names)}", f"{100 * one.share:.1f} % {of}, {proof}; as it is {100 * one.now:.1f} %")
