"""What the terminal shows of the trade-off: one line a point, and how to take one."""

from __future__ import annotations

from rich.table import Table
from rich.text import Text

from jackrail.findings import count
from jackrail.setting.front import Front
from jackrail.setting.model import Setting

from .show import terminal

_HEADS = ("point", "tempo", "notes", "by weight", "ringing", "chords", "key")


def show_front(front: Front, setting: Setting) -> None:
    """The points of a trade-off, fastest first, the one that is played marked."""
    console = terminal()
    console.print(Text(setting.title or "(no title)", "bold"), f"on {setting.machine}")
    table = Table(box=None, padding=(0, 2, 0, 0), header_style="dim")
    for head in _HEADS:
        table.add_column(head, justify="left" if head == "key" else "right", no_wrap=True)
    for point in front.points:
        chords = f"{point.chords_kept} of {point.chords_total}" if point.chords_total else "none"
        table.add_row(
            f"{'* ' if point.chosen else ''}{point.number}",
            f"{100 * point.tempo_factor:.1f} %",
            f"{point.notes_kept} of {point.notes_total}",
            f"{100 * point.notes_share:.1f} %",
            f"{100 * point.sustain_share:.0f} %",
            chords,
            point.key or f"{point.found.transpose:+d} semitones",
        )
    console.print(table)
    more = f"; {front.in_all - len(front.points)} more lie between them" if front.in_all > len(front.points) else ""
    console.print(Text(f"* is the setting of least cost{more}", "dim"))
    console.print("by weight: of all the tune's notes; ringing: of the length of the notes kept")
    if len(front.points) > 1:
        console.print("--point N takes one, with fit, perform and rehearse")
    else:
        console.print(f"Nothing else is better in anything: {count(len(front.points), 'point')}.")
