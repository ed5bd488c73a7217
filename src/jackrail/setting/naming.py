"""How a setting names things: what is of the tune as it is written, what sounds as it sounds.

A written D4 that is played two semitones higher is the note D4 of the tune, and an E4 sounds. Where both matter, both are said.
"""

from __future__ import annotations

from jackrail.findings import count
from jackrail.pitch import moved_signature, moved_symbol, spelt
from jackrail.tune.model import Tune

from .model import Setting


def spelt_name(midi: int, sharps: int) -> str:
    """A note under a signature of so many sharps (negative: flats): "Ab4" in flat keys, "G#4" in sharp ones.

    A tune knows its notes as keys only. They are spelt from three fifths below the tonic of the major key to eight above it: that
    holds the scale, the flats it borrows from its minor and the sharps that lead up (common practice, no source); E# and the like
    stand only where they belong to the scale.
    """
    lowest = sharps - 3
    name = spelt(lowest + (7 * midi - lowest) % 12, sharps)
    raised = name.count("#") - name[1:].count("b")
    return f"{name}{(midi - raised) // 12 - 1}"


def note_named(midi: int, sharps: int, transpose: int) -> str:
    """A note of the tune, and where it is moved how it would sound: "D4 (here E4)"."""
    here = f" (here {spelt_name(midi + transpose, moved_signature(sharps, transpose))})" if transpose else ""
    return spelt_name(midi, sharps) + here


def chords_named(tune: Tune, setting: Setting) -> str:
    """The chord symbols of a tune, each once, and where they are moved those that are struck as they sound: "F Bb, sounding G C"."""
    named = " ".join(dict.fromkeys(chord.symbol for chord in tune.chords if not chord.silent))
    shift, struck = setting.transpose_semitones, {stroke.symbol for stroke in setting.strokes}
    sounding = (moved_symbol(chord.symbol, shift, tune.sharps_at(chord.onset_q)) for chord in tune.chords if chord.symbol in struck)
    return f"{named}, sounding {' '.join(dict.fromkeys(sounding))}" if shift % 12 and struck else named


def interval(semitones: int) -> str:
    """A distance and its direction: "an octave higher", "5 semitones lower"."""
    octaves, rest = divmod(abs(semitones), 12)
    size = count(abs(semitones), "semitone") if rest else "an octave" if octaves == 1 else f"{octaves} octaves"
    return f"{size} {'higher' if semitones > 0 else 'lower'}"


def key_name(tune: Tune, transpose: int) -> str:
    """Tonic and mode of a tune after a transposition, "" when it states no key: "A dorian"."""
    return tune.key.name(transpose) if tune.key is not None else ""
