"""Findings about wishes that a machine cannot meet, whatever the tune."""

from __future__ import annotations

from collections.abc import Iterator

from jackrail.findings import WHOLE_TUNE, Finding
from jackrail.motion.voice import Voice
from jackrail.setting.wishes import Wishes


def wish_findings(wishes: Wishes, voices: tuple[Voice, ...]) -> list[Finding]:
    """A note for each manner of playing that was wished for and that no voice of the machine has."""
    return [Finding("fit.wish-unmet", "note", WHOLE_TUNE, text, advice=advice) for text, advice in _unmet(wishes, voices)]


def _unmet(wishes: Wishes, voices: tuple[Voice, ...]) -> Iterator[tuple[str, str]]:
    if wishes.vibrato and not any(sway for voice in voices for sway in voice.sways):
        advice = 'vibrato = "3 mm" in the carriage of a bar without detents lets it sway'
        yield "there is no vibrato: no bar of this machine may sway", advice
    if wishes.slides != "none" and not any(voice.slide_s for voice in voices):
        yield "nothing slides: this machine has no travelling bar", "a bar on a string slides, fingers and hammers do not"
    if wishes.dynamics == "beats" and not any(voice.touches for voice in voices):
        advice = "touches of a hammer say how it strikes softly, once that is measured"
        yield "nothing is struck softly: no hammer of this machine has touches", advice
    if wishes.rolled and sum(voice.part == "melody" for voice in voices) < 2:
        advice = "a chord bar sounds its strings with one coil and cannot be rolled"
        yield "no chord is rolled: one voice alone never sounds two notes together", advice
