"""The tunes inside the music21 package, read from there and never copied, and the table of differences with the judges."""

import random
import tomllib
import warnings
from functools import cache
from pathlib import Path

import pytest

from jackrail.tune.abc.text import TuneText, split_tunes

FOLDERS = ("ryansMammoth", "airdsAirs", "oneills1850", "essenFolksong")
_TABLE = Path(__file__).parent / "differences.toml"
MOST_BYTES = 30_000
"""Largest score asked about; music21 takes minutes for the larger ones."""


@cache
def corpus() -> Path:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        music21 = pytest.importorskip("music21")
    return Path(music21.__file__).parent / "corpus"


def abc_tunes(count: int, seed: int) -> list[tuple[str, TuneText]]:
    """That many tunes of the ABC folders, drawn at random, each with its name as in the table."""
    draw = random.Random(seed)  # noqa: S311 - a sample, not a secret
    out = []
    for folder in FOLDERS:
        files = sorted((corpus() / folder).glob("*.abc"))
        tunes = [(file.name, tune) for file in files for tune in split_tunes(file.read_bytes().decode("latin-1"))]
        out += [(f"{folder}/{name}#{tune.number} {tune.title}", tune) for name, tune in draw.sample(tunes, count // len(FOLDERS))]
    return out


def scores(count: int, seed: int) -> list[tuple[str, Path]]:
    """That many MusicXML scores, drawn at random, and those with many chord symbols; each with its name as in the table."""
    files = sorted(file for ending in ("mxl", "xml", "musicxml") for file in corpus().rglob(f"*.{ending}"))
    with_chords = [file for file in files if file.parent.name == "leadSheet" or "hord" in file.name]
    small = [file for file in files if file.stat().st_size <= MOST_BYTES and file not in with_chords]
    draw = random.Random(seed)  # noqa: S311 - a sample, not a secret
    return [(file.relative_to(corpus()).as_posix(), file) for file in with_chords + draw.sample(small, count)]


def explained(judge: str) -> set[str]:
    """The tunes of which the table says why that judge differs."""
    kinds = tomllib.loads(_TABLE.read_text(encoding="utf-8"))["kinds"]
    for kind in kinds:
        assert kind["fault"] in {judge, "ours", "tune", "open"} or kind["judge"] != judge, kind
        assert kind["why"], kind
        assert kind["section"], kind
    return {tune for kind in kinds if kind["judge"] == judge for tune in kind["tunes"]}
