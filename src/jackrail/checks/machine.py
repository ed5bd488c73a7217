"""Findings about the machine alone: parts that fit together in form but not in sense."""

from __future__ import annotations

from jackrail.findings import Finding
from jackrail.machine.instrument import Instrument
from jackrail.machine.mechanism import ChordBar, Mechanism, TravellingStop
from jackrail.motion.ensemble import Ensemble
from jackrail.pitch import class_name, parse_chord

OFF_PITCH_CENTS = 15.0
"""Listeners notice about 10 cents in a melody (Hill & Summers 2007): a stop further off than this is surely a slip."""


def machine_findings(ensemble: Ensemble) -> list[Finding]:
    """Chord bars whose strings make another chord, and stops that give no note of the scale."""
    return [*_chord_findings(ensemble.instrument, ensemble.mechanism), *_stop_findings(ensemble)]


def _chord_findings(instrument: Instrument, mechanism: Mechanism) -> list[Finding]:
    findings = []
    for index, voice in enumerate(mechanism.voices):
        if isinstance(voice, ChordBar):
            wanted = parse_chord(voice.chord).classes
            sounding = {instrument.string(string).midi % 12 for string in voice.strings}
            wrong, absent = sorted(sounding - wanted), sorted(wanted - sounding)
            if wrong or absent:
                parts = [
                    f"{' '.join(map(class_name, wrong))} does not belong" if wrong else "",
                    f"{' '.join(map(class_name, absent))} is missing" if absent else "",
                ]
                text = f"the strings under {voice.id!r} do not make {voice.chord}: {', '.join(filter(None, parts))}"
                advice = "list other strings, tune them, or name the chord they make"
                findings.append(Finding("chord.strings", "warning", f"mechanism.voices[{index}].strings", text, advice=advice))
    return findings


def _stop_findings(ensemble: Ensemble) -> list[Finding]:
    findings = []
    for index, (part, voice) in enumerate(zip(ensemble.mechanism.voices, ensemble.voices, strict=True)):
        if isinstance(part, TravellingStop):
            for place in voice.places:
                if abs(place.cents) > OFF_PITCH_CENTS:
                    text = f"the stop {place.name!r} sounds {place.cents:+.0f} cents from the nearest note"
                    where = f"mechanism.voices[{index}].stops"
                    findings.append(
                        Finding("stop.off-pitch", "warning", where, text, round(place.cents, 1), OFF_PITCH_CENTS, "cents", "move it")
                    )
    return findings
