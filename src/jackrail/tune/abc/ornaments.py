"""Grace notes and ornament signs of ABC (ABC 2.1 sections 4.12 and 4.14): kept apart until their main note is read."""

from __future__ import annotations

from collections.abc import Callable

from jackrail.tune.model import OrnamentKind, Quarters
from jackrail.tune.score.written import Notes, Place, WrittenBar, WrittenNote, WrittenOrnament

# Decorations that stand for small notes -> their kind. A line through a turn changes nothing here; trill( begins a long trill.
KINDS: dict[str, OrnamentKind] = {
    "trill": "trill", "trill(": "trill", "roll": "roll", "lowermordent": "lower-mordent", "mordent": "lower-mordent",
    "uppermordent": "upper-mordent", "pralltriller": "upper-mordent", "turn": "turn", "turnx": "turn", "invertedturn": "inverted-turn",
    "invertedturnx": "inverted-turn", "slide": "slide",
}  # fmt: skip
MOST_AT_A_NOTE = 8
_UNAIMED = -1


class Waiting:
    """Ornaments read whose main note is not read yet."""

    def __init__(self, notes: Notes) -> None:
        self.notes = notes
        self.ornaments: list[WrittenOrnament] = []

    def add(self, kind: OrnamentKind, keys: tuple[int, ...], place: Place) -> None:
        """One more ornament; more than MOST_AT_A_NOTE are left out."""
        if len(self.ornaments) >= MOST_AT_A_NOTE:
            self.notes.count(f"of more than {MOST_AT_A_NOTE} ornaments at one note the first are kept", place)
            return
        self.notes.count("ornaments are kept apart, and played only when asked for (--ornaments)", place, remark=True)
        self.ornaments.append(WrittenOrnament(Quarters(0), _UNAIMED, kind, keys))

    def aim(self, first: int, midi: int) -> None:
        """Those from the one numbered `first` (from 0) on belong to the note `midi` of a chord."""
        for small in self.ornaments[first:]:
            small.midi = midi

    def land(self, bar: WrittenBar, onset_q: Quarters, top: int, neighbours: Callable[[int], tuple[int, int] | None]) -> None:
        """Set all at the notes that begin at onset_q of `bar`, those without an aim at the highest, `top`."""
        for small in self.ornaments:
            small.onset_q = onset_q
            small.midi = top if small.midi == _UNAIMED else small.midi
            if small.kind != "grace":
                small.keys = neighbours(small.midi) or ()
            if small.keys:
                bar.ornaments.append(small)
            else:
                self.notes.count("an ornament at the end of the MIDI range is left out", bar)
        self.ornaments = []

    def trail(self, bar: WrittenBar, last: WrittenNote | None) -> None:
        """No note follows in the bar: grace notes become after-grace notes of the note `last` that they follow, if there is one."""
        if last is None:
            return
        for small in self.ornaments:
            if small.kind == "grace":
                bar.ornaments.append(WrittenOrnament(last.onset_q, last.midi, "after-grace", small.keys))
        self.ornaments = [small for small in self.ornaments if small.kind != "grace"]

    def leave_out(self, place: Place) -> None:
        """No note follows at all."""
        for _ in self.ornaments:
            self.notes.count("ornaments at no note are left out", place)
        self.ornaments = []
