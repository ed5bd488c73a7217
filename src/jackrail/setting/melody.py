"""The melody among the notes of a tune: its highest line. What lies under it accompanies, and decides neither key nor tempo."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

from jackrail.tune.inference.line import top_line
from jackrail.tune.model import Quarters, Tune

from .model import Setting


def melody_of(tune: Tune) -> frozenset[int]:
    """Indices of the notes that are heard as the melody, by the rule of `--line top`; small notes are not among them.

    Notes are taken at their written length: a small note does not uncover what sounds under the note that it is taken from.
    """
    lengths_q = written_lengths_q(tune)
    if _alone(tune, lengths_q):
        return frozenset(n for n, note in enumerate(tune.notes) if not note.ornamental)
    melody = [replace(note, duration_q=length_q) for note, length_q in zip(tune.notes, lengths_q, strict=True) if not note.ornamental]
    heads = {(note.onset_q, note.midi) for note in top_line(melody)} if melody else set()
    return frozenset(n for n, note in enumerate(tune.notes) if not note.ornamental and (note.onset_q, note.midi) in heads)


def _alone(tune: Tune, lengths_q: list[Quarters]) -> bool:
    """Whether no two main notes sound together: then all of them are the melody, as by the rule, which takes longer."""
    spans = [(float(note.onset_q), float(length_q)) for note, length_q in zip(tune.notes, lengths_q, strict=True) if not note.ornamental]
    return all(at + length <= after for (at, length), (after, _) in pairwise(spans))


def melody_kept(setting: Setting, tune: Tune) -> tuple[int, int]:
    """How many notes of the melody will sound, and how many it has. tune: as it is played."""
    melody = melody_of(tune)
    return sum(note.index in melody for note in setting.notes), len(melody)


def among_them(setting: Setting, tune: Tune) -> str:
    """How much of the melody is among the notes kept: ", the whole melody among them"; "" where all are, or all are the melody."""
    kept, total = melody_kept(setting, tune)
    if setting.notes_total in (setting.notes_kept, total):
        return ""
    return f", {'the whole melody' if kept == total else f'{kept} of {total} of the melody'} among them"


def written_lengths_q(tune: Tune) -> list[Quarters]:
    """Length of each note with that of the small notes that were taken from it."""
    lengths_q = [note.duration_q for note in tune.notes]
    for small, main in lent(tune).items():
        lengths_q[main] += tune.notes[small].duration_q
    return lengths_q


def lent(tune: Tune) -> dict[int, int]:
    """For each small note (by index) the note of the melody whose time it takes: the one that it, or a row before it, follows at once.

    Of several notes that end there it is the nearest in pitch. Grace notes after a rest take nobody's time.
    """
    lender: dict[int, int] = {}
    if not any(note.ornamental for note in tune.notes):
        return lender
    ending: dict[Fraction, list[int]] = {}
    for index, note in enumerate(tune.notes):
        before = min(ending.get(note.onset_q, ()), key=lambda other: abs(tune.notes[other].midi - note.midi), default=None)
        if note.ornamental and before is not None:
            root = lender.get(before, before)
            if not tune.notes[root].ornamental:
                lender[index] = root
        ending.setdefault(note.onset_q + note.duration_q, []).append(index)
    return lender
