"""From tune file to sound file: what is heard is what the setting says, by an analysis that shares no code with the program."""

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile

from jackrail import api
from workshop import ROOT

TUNES = {
    # a slow scale and some leaps, written for this test; no chords, so that each note stands alone
    "quay_zither": "X:1\nT:Scale\nM:4/4\nL:1/2\nQ:1/4=60\nK:G\nD E|F G|A B|c d|e f|g a|b c'|d' G|d D|\n",
    "tower_chimes": "X:1\nT:Chimes\nM:4/4\nL:1/2\nQ:1/4=60\nK:G\nG A|B c|d e|f g|a b|\n",
    "twin_lute": "X:1\nT:Lute\nM:4/4\nL:1/2\nQ:1/4=60\nK:G\nD E|F G|A B|A, G,|\n",
}


def peak_hz(samples, rate, near_hz):
    """Frequency of the strongest partial within 3 % of near_hz: Hann window, parabola through the log magnitudes."""
    size = 8 * len(samples)
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(len(samples)), size))
    low, high = int(near_hz * 0.97 * size / rate), int(near_hz * 1.03 * size / rate) + 1
    k = low + int(np.argmax(spectrum[low:high]))
    a, b, c = np.log(spectrum[k - 1 : k + 2])
    return (k + 0.5 * (a - c) / (a - 2 * b + c)) * rate / size


@pytest.mark.parametrize("name", TUNES)
def test_each_note_of_the_sound_file_has_the_pitch_and_the_moment_that_the_setting_states(name, tmp_path):
    """Pitch within 2 cents (people notice about 10 in a melody, Hill & Summers 2007), onset within 2 ms (6 ms, G25)."""
    source = tmp_path / "scale.abc"
    source.write_text(TUNES[name])
    work = api.do_work(api.load_machine(ROOT / "machines" / f"{name}.toml"), api.read_tune(source), api.Wishes(transpose=0, tempo="100%"))
    api.write_work(work, tmp_path / "out")
    samples, rate = soundfile.read(tmp_path / "out" / "sound.wav")
    notes = json.loads(Path(tmp_path / "out" / "performance.json").read_text())["notes"]
    assert len(notes) >= 8
    for note in notes:
        meant_hz = 440.0 * 2.0 ** ((note["midi"] + note["cents"] / 100 - 69) / 12)  # ISO 16 and equal temperament
        still_s = min([note["duration_s"], 0.5, *(after_s for after_s, _ in note["glide"][:1])])
        start, end = (int((note["onset_s"] + at) * rate) for at in (0.03, still_s))
        assert abs(1200 * np.log2(peak_hz(samples[start:end], rate, meant_hz) / meant_hz)) < 2.0
    first = int(notes[0]["onset_s"] * rate)
    loud = np.flatnonzero(np.abs(samples) > 0.02 * np.max(np.abs(samples[: first + rate // 4])))[0]
    assert abs(loud / rate - notes[0]["onset_s"]) < 0.002
