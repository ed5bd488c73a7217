"""Real tunes for the measures: those in ABC inside the music21 package, read where they lie and never copied."""

from __future__ import annotations

import random
from collections.abc import Iterator
from pathlib import Path

import music21

from jackrail import api
from jackrail.faults import BadInput
from jackrail.tune.model import Tune

CORPUS = Path(music21.__file__).parent / "corpus"
FOLDERS = ("oneills1850", "ryansMammoth", "airdsAirs", "essenFolksong")


def real_tunes(count: int, seed: int = 1) -> Iterator[Tune]:
    """Tunes of the corpus that can be read, the four folders in turn, files and numbers drawn with a seed."""
    draw = random.Random(seed)  # noqa: S311 - a sample, not a secret
    files = {folder: sorted((CORPUS / folder).glob("*.abc")) for folder in FOLDERS}
    places = {folder: [(file, number) for file in found for number, _ in numbers_of(file)] for folder, found in files.items()}
    for folder in FOLDERS:
        draw.shuffle(places[folder])
    given = 0
    while given < count and any(places.values()):
        for folder in FOLDERS:
            if places[folder] and given < count:
                try:
                    tune = read_numbered(*places[folder].pop())
                except BadInput:
                    continue
                given += 1
                yield tune


def numbers_of(file: Path) -> list[tuple[int, str]]:
    try:
        return [(offer.number, offer.title) for offer in api.list_tunes(file)]
    except BadInput:
        return []


def read_numbered(file: Path, number: int) -> Tune:
    return api.read_tune(file, api.Choice(number=number))
