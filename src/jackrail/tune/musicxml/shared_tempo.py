"""The tempo of a score: numbers over any of its parts, words where no number stands, and words that go back to an earlier tempo.

"Tempo I" goes back to the first tempo of the score, "a tempo" to the one before the change that it ends: the first of some gradual
changes in a row (rit., accel.), più or meno, else the last change of tempo that is written.
"""

from __future__ import annotations

from collections.abc import Iterator

from jackrail.tune.model import Quarters
from jackrail.tune.score.written import Notes, WrittenBar

from .part import PartReader
from .parts import Part
from .reading import TempoWord

_Marks = dict[Quarters, tuple[Part, float]]
_Heard = list[tuple[Part, PartReader]]


def share_tempo(bars: list[WrittenBar], heard: _Heard, notes: Notes) -> None:
    """Put the tempo marks of all parts on each bar, words after numbers."""
    marks: list[_Marks] = [{} for _ in range(max((len(reader.bars) for _, reader in heard), default=0))]
    for part, reader in heard:
        for here, bar in zip(marks, reader.bars, strict=False):
            for onset_q, rate in bar.tempo:
                first, holds = here.get(onset_q, (part, rate))
                if first is part:
                    here[onset_q] = part, rate
                elif rate != holds:
                    notes.count(f"{part.place} contradicts {first.place} about the tempo: the first of them holds", f"measure {bar.number}")
    for part, reader in heard:
        _add_words(marks, part, reader, notes)
    if any(word.kind in {"first", "back"} for _, reader in heard for word in reader.tempo_words):
        _go_back(marks, heard, notes)
    for bar, here in zip(bars, marks, strict=False):
        bar.tempo = [(min(onset_q, bar.length_q), rate) for onset_q, (_, rate) in sorted(here.items())]


def _add_words(marks: list[_Marks], part: Part, reader: PartReader, notes: Notes) -> None:
    """A tempo word counts where no mark stands, and none of another part in its measure, which may be a little out of place."""
    for word in reader.tempo_words:
        here = marks[word.measure]
        if word.kind != "new" or word.numbered or word.onset_q in here:
            continue
        if any(other is not part for other, _ in here.values()):
            what = f'the tempo word "{word.word[:30]}" over {part.place} is left out beside the tempo over another part'
            notes.count(what, word.bar)
            continue
        here[word.onset_q] = part, word.rate
        notes.count(f'the tempo word "{word.word[:30]}" is taken as {word.rate:g} quarter notes a minute', word.bar)


class _Rates:
    """Tempo along the music, in quarters a minute, 0 for none: the first, the one in force, those to go back to.

    before: in force before the last change that is written. held: before the changes in words that "a tempo" would end.
    """

    def __init__(self) -> None:
        self.first = self.now = self.before = self.held = 0.0
        self.in_row = False

    def written(self, rate: float) -> None:
        """A number, or words taken for one."""
        self.first = self.first or rate
        self.before = self.now if rate != self.now else self.before
        self.now = rate

    def changed(self, *, gradual: bool) -> None:
        """Words for a change: of gradual ones in a row the first counts."""
        self.held = self.held if gradual and self.in_row else self.now
        self.in_row = gradual

    def settled(self) -> None:
        """Words for a new tempo, or an old one: what came before is over."""
        self.held, self.in_row = 0.0, False


def _go_back(marks: list[_Marks], heard: _Heard, notes: Notes) -> None:
    """Put a mark where words go back to an earlier tempo."""
    rates = _Rates()
    for part, word, rate in _in_order(marks, heard):
        if word is None:
            rates.written(rate)
        elif word.kind in {"gradual", "change"}:
            rates.changed(gradual=word.kind == "gradual")
        else:
            wanted = rates.first if word.kind == "first" else rates.held or rates.before
            sure = word.kind == "first" or rates.held > 0
            rates.settled()
            here = marks[word.measure]
            if word.kind != "new" and not word.numbered and word.onset_q not in here and wanted and wanted != rates.now:
                here[word.onset_q] = part, wanted
                rates.written(wanted)
                notes.count(f'the words "{word.word[:30]}" go back to {wanted:g} quarter notes a minute', word.bar, remark=sure)


def _in_order(marks: list[_Marks], heard: _Heard) -> Iterator[tuple[Part, TempoWord | None, float]]:
    """Words and numbers of all parts in the order of the music, at one moment words first."""
    words: dict[int, list[tuple[Part, TempoWord]]] = {}
    for part, reader in heard:
        for word in reader.tempo_words:
            words.setdefault(word.measure, []).append((part, word))
    for index, here in enumerate(marks):
        told: list[tuple[Quarters, Part, TempoWord | None, float]] = []
        told += [(word.onset_q, part, word, 0.0) for part, word in words.get(index, ())]
        told += [(onset_q, part, None, rate) for onset_q, (part, rate) in here.items()]
        for _, part, said, rate in sorted(told, key=lambda one: one[0]):
            yield part, said, rate
