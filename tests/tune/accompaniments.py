"""Accompaniments to tell chords from: common figures of the trade, played out of chord symbols as music21 reads them."""

import random
import warnings
from fractions import Fraction
from functools import cache
from pathlib import Path

import pytest

from jackrail.pitch import moved_symbol
from jackrail.tune.model import Bar, TuneNote, beat_length_q
from jackrail.tune.read import read_tune


def bars(count, metre="4/4", pickup_q=0):
    """Full bars of one metre after an upbeat."""
    beats, unit = map(int, metre.split("/"))
    full_q = Fraction(4 * beats, unit)
    upbeat = [Bar(Fraction(0), Fraction(pickup_q), 0, beats, unit, starts_q=full_q - pickup_q)] if pickup_q else []
    return (*upbeat, *(Bar(pickup_q + full_q * n, full_q, n + 1, beats, unit) for n in range(count)))


def notes(*groups):
    """(onset, length, keys...) of notes that begin together."""
    return [TuneNote(Fraction(onset), Fraction(length), midi) for onset, length, *keys in groups for midi in keys]


def sounds(some_notes):
    """What the estimate weighs: begin and end as floats, and key, in time order."""
    return sorted((float(note.onset_q), float(note.onset_q + note.duration_q), note.midi) for note in some_notes)


# Accompaniments for the judge: each plays a chord, its classes with the root first and its bass, from q on for d quarters.


def above(pitch_class, low):
    return low + (pitch_class - low) % 12


def steps(q, d, by):
    return [q + n * by for n in range(int(d / by))]


def close(tones, low=55):
    return sorted(above(tone, low) for tone in tones)


def oom_pah(q, d, beat, chord, _):
    tones, bass = chord
    fifth = tones[2]
    return [
        note
        for n, at in enumerate(steps(q, d, beat))
        for note in (
            notes((at, beat, above(bass if n % 4 == 0 or d == 3 * beat else fifth, 36)))
            if n % 2 == 0 and (n == 0 or d != 3 * beat)
            else notes((at, beat / 2, *close(tones)))
        )
    ]


def played_by_hand(q, d, beat, chord, draw):
    """Oom-pah up to 60 thousandths of a quarter early or late."""
    return [
        TuneNote(
            max(Fraction(0), note.onset_q + Fraction(draw.randint(-60, 60), 1000)),
            note.duration_q * Fraction(draw.randint(60, 110), 100),
            note.midi,
        )
        for note in oom_pah(q, d, beat, chord, draw)
    ]


def block(q, d, beat, chord, _):
    tones, bass = chord
    return notes((q, d, above(bass, 36), *close(tones)))


def block_on_each_beat(q, d, beat, chord, draw):
    tones, _bass = chord
    return notes(*((at, beat / 2, *close(tones, 55 + draw.randint(0, 8))) for at in steps(q, d, beat)))


def arpeggio(q, d, beat, chord, _):
    tones, bass = chord
    line = [above(bass, 36), *close(tones)]
    return notes(*((at, beat / 2, line[n % len(line)]) for n, at in enumerate(steps(q, d, beat / 2))))


def ringing_arpeggio(q, d, beat, chord, draw):
    return [TuneNote(note.onset_q, q + d - note.onset_q, note.midi) for note in arpeggio(q, d, beat, chord, draw)]


def alberti(q, d, beat, chord, _):
    tones, _bass = chord
    low, *middle, high = close(tones, 52)
    line = [low, high, *middle, high]
    return notes(*((at, beat / 2, line[n % 4]) for n, at in enumerate(steps(q, d, beat / 2))))


def afterbeats(q, d, beat, chord, _):
    tones, _bass = chord
    return notes(*((at + beat / 2, beat / 2, *close(tones)) for at in steps(q, d, beat)))


def suspended(q, d, beat, chord, _):
    tones, bass = chord
    root, third, *others = tones
    return notes((q, d, above(bass, 36), *close([root, *others])), (q, d / 2, above(root + 5, 55)), (q + d / 2, d / 2, above(third, 55)))


def walking(q, d, beat, chord, _):
    tones, bass = chord
    line = [bass, tones[0] + 2, tones[1], tones[2], tones[0] + 9, tones[2]]
    walked = notes(*((at, beat, above(line[n % 6] % 12, 36)) for n, at in enumerate(steps(q, d, beat))))
    return walked + notes(*((at, beat / 2, *close(tones)) for at in steps(q, d, beat)[1::2]))


ACCOMPANIMENTS = [
    oom_pah, played_by_hand, block, block_on_each_beat, arpeggio, ringing_arpeggio, alberti, afterbeats, suspended, walking,
]  # fmt: skip

# Progressions by their common names, or made up for a dance; each chord lasts the number of quarters given.
PROGRESSIONS = [
    ("4/4", 4, "G7 G7 G7 G7 C7 C7 G7 G7 D7 C7 G7 D7"),  # twelve-bar blues
    ("4/4", 4, "C Am F G C Am F G C"),  # fifties
    ("4/4", 2, "D A Bm F#m G D G A D A Bm F#m G D A D"),  # the ground of Pachelbel's canon
    ("4/4", 2, "Em7 A7 D7 G C F Bdim Em Am D7 G G"),  # falling fifths
    ("3/4", 3, "Am G F E7 Am G F E7"),  # Andalusian cadence
    ("2/2", 4, "Am G Am E C G Am E Am G Am E C G Am E Am"),  # passamezzo antico
    ("3/4", 3, "C G Am E C G Am E Am Am"),  # romanesca
    ("4/4", 4, "Dm7 G7 C C Am7 D7 G7 G7 Dm7 G7 C C"),  # two-five-one
    ("4/4", 4, "C G/B Am C/G F C/E D7/F# G"),
    ("3/4", 6, "G D7 D7 G G C D7 G"),
    ("6/8", 3, "G C G D7 G Em Am D7 G G"),
    ("2/4", 2, "F F C7 C7 Gm C7 F Bb F C7 F F"),
]


@cache
def judge():
    """music21's pitches of a chord symbol: classes, root first, and the bass."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        harmony = pytest.importorskip("music21.harmony")

    @cache
    def classes(symbol):
        chord = harmony.ChordSymbol("/".join(name[0] + name[1:].replace("b", "-", name[1:2] == "b") for name in symbol.split("/")))
        root = chord.root().pitchClass
        return sorted({pitch.pitchClass for pitch in chord.pitches}, key=lambda tone: (tone - root) % 12), chord.bass().pitchClass

    return classes


def played_out(chords, some_bars, accompaniment):
    """The notes of an accompaniment to chords given as (onset, length, symbol)."""
    draw = random.Random(7)  # noqa: S311 - a sample, not a secret
    beat = beat_length_q(some_bars[-1].beats, some_bars[-1].beat_unit)
    return [note for q, d, symbol in chords for note in accompaniment(q, d, beat, judge()(symbol), draw)]


def lead_sheets():
    import music21  # noqa: PLC0415 - slow to import

    for file in sorted((Path(music21.__file__).parent / "corpus" / "leadSheet").glob("*.mxl")):
        tune = read_tune(file)
        ends = [chord.onset_q for chord in tune.chords[1:]] + [tune.end_q]
        yield [(chord.onset_q, end - chord.onset_q, chord.symbol) for chord, end in zip(tune.chords, ends, strict=True)], tune.bars


def progressions():
    for metre, length_q, symbols in PROGRESSIONS:
        for up in (0, 3, 7, 10):
            chords = [(Fraction(length_q * n), Fraction(length_q), moved_symbol(symbol, up)) for n, symbol in enumerate(symbols.split())]
            beats, unit = map(int, metre.split("/"))
            yield chords, bars(-(-len(chords) * length_q * unit // (4 * beats)), metre)
