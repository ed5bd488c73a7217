"""Is the file whole, readable by others, and never half written?"""

import ast
import sys
import wave
from pathlib import Path

import numpy as np
import pytest

import jackrail.sound
from jackrail.faults import BadInput
from jackrail.sound import write_wav

RAMP = np.linspace(-1, 1, 1001, dtype=np.float32)


def test_file_is_read_by_another_reader(tmp_path):
    # The reader of the standard library; 16-bit PCM as in the WAVE format (RIFF), full scale 32768.
    write_wav(tmp_path / "tune.wav", RAMP, 22050)
    with wave.open(str(tmp_path / "tune.wav")) as file:
        assert (file.getnchannels(), file.getsampwidth(), file.getframerate(), file.getnframes()) == (1, 2, 22050, 1001)
        values = np.frombuffer(file.readframes(1001), "<i2") / 32768
    assert np.abs(values - RAMP).max() <= 1 / 32768  # one step of 16 bits
    assert [path.name for path in tmp_path.iterdir()] == ["tune.wav"]


@pytest.mark.parametrize("bad", [np.array([0, 1.01]), np.array([0, -1.01]), np.array([0, np.nan]), np.array([0, np.inf]), np.zeros(0)])
def test_what_a_wav_cannot_hold_is_refused_and_the_old_file_stays(tmp_path, bad):
    write_wav(tmp_path / "tune.wav", RAMP, 44100)
    before = (tmp_path / "tune.wav").read_bytes()
    with pytest.raises(BadInput, match="-1 to 1") as caught:
        write_wav(tmp_path / "tune.wav", bad.astype(np.float32), 44100)
    assert caught.value.faults[0].code == "range"
    assert (tmp_path / "tune.wav").read_bytes() == before


def test_new_file_replaces_the_old_one(tmp_path):
    write_wav(str(tmp_path / "tune.wav"), RAMP, 44100)
    write_wav(str(tmp_path / "tune.wav"), RAMP[:10], 44100)
    with wave.open(str(tmp_path / "tune.wav")) as file:
        assert file.getnframes() == 10


def test_writing_that_fails_leaves_the_old_file_and_no_rest(tmp_path, monkeypatch):
    write_wav(tmp_path / "tune.wav", RAMP, 44100)
    before = (tmp_path / "tune.wav").read_bytes()
    written = Path.write_bytes

    def full_disk(self, data):
        written(self, bytes(data)[:100])
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full_disk)
    with pytest.raises(BadInput, match="No space left on device"):
        write_wav(tmp_path / "tune.wav", RAMP[:10], 44100)
    assert (tmp_path / "tune.wav").read_bytes() == before
    assert [path.name for path in tmp_path.iterdir()] == ["tune.wav"]


@pytest.mark.parametrize("place", ["missing/tune.wav", "file/tune.wav", "folder"])
def test_place_that_cannot_be_written_is_a_fault_of_the_file(tmp_path, place):
    (tmp_path / "file").write_text("")
    (tmp_path / "folder").mkdir()
    with pytest.raises(BadInput, match="cannot be written") as caught:
        write_wav(tmp_path / place, RAMP, 44100)
    assert caught.value.faults[0].code == "file"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["file", "folder"]


def test_sound_imports_only_what_it_needs():
    allowed = {
        "jackrail.performance",
        "jackrail.pitch",
        "jackrail.machine.instrument",
        "jackrail.faults",
        "numpy",
        "numpy.typing",
        "soundfile",
    }
    for source in Path(jackrail.sound.__file__).parent.glob("*.py"):
        for node in ast.walk(ast.parse(source.read_text())):
            names = [node.module] if isinstance(node, ast.ImportFrom) and node.level == 0 else []
            names += [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            assert {name for name in names if name.split(".")[0] not in sys.stdlib_module_names} <= allowed, source.name
