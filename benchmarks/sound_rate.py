"""How fast is sound? Seconds of music per second of processor time, and the most memory held, for a short and a long piece.

The music: a melody string that glides into every note, and a chord of five strings beneath it, about 200 notes and 80
strokes a minute. Run it with `python benchmarks/sound_rate.py`.
"""

from __future__ import annotations

import resource
import time

from jackrail.machine.instrument import Instrument
from jackrail.performance import Glide, Performance, SoundedNote, Stroke
from jackrail.sound import render

CHORD_STRINGS = ("c1", "c2", "c3", "c4", "c5")
PITCHES = ("G2", "B2", "D3", "G3", "B3")
SCALE = (0, 2, 4, 5, 7, 9, 11, 12)


def instrument() -> Instrument:
    melody = {"id": "melody", "scale_length": "610 mm", "gauge": "0.43 mm", "material": "plain steel", "open_pitch": "G3"}
    chord = [melody | {"id": name, "open_pitch": pitch} for name, pitch in zip(CHORD_STRINGS, PITCHES, strict=True)]
    return Instrument.model_validate({"strings": [melody, *chord]})


def music(length_s: float) -> Performance:
    notes = []
    for index in range(int(length_s / 0.3)):
        before, here = SCALE[(index * 5) % 8], SCALE[(index * 3) % 8]
        glide = (Glide(0.0, 0.0), Glide(0.12 + 0.0001 * index, 100.0 * (here - before)))
        notes.append(SoundedNote(0.3 * index, 0.3, 55 + before, 0.1 * (index % 7), "bar", "melody", glide))
    strokes = [Stroke(0.75 * index, "chord", "G", CHORD_STRINGS) for index in range(int(length_s / 0.75))]
    return Performance(tuple(notes), tuple(strokes), length_s)


def main() -> None:
    for length_s in (30.0, 180.0):
        began = time.process_time()
        samples = render(music(length_s), instrument())
        spent = time.process_time() - began
        peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(
            f"{length_s:.0f} s of music: {spent:.2f} s of processor time, {length_s / spent:.0f} times real time, "
            f"{len(samples)} samples, {peak_mb:.0f} MB at most"
        )


if __name__ == "__main__":
    main()
