"""Findings about the machine alone: parts that fit together in form but not in sense."""

from __future__ import annotations

from jackrail.findings import Finding
from jackrail.machine.board import Supply
from jackrail.machine.instrument import Instrument
from jackrail.machine.mechanism import ChordBar, Mechanism, TravellingStop
from jackrail.motion.ensemble import Ensemble
from jackrail.pitch import class_name, parse_chord

OFF_PITCH_CENTS = 15.0
"""Listeners notice about 10 cents in a melody (Hill & Summers 2007): a stop further off than this is surely a slip."""


def machine_findings(ensemble: Ensemble, supply: Supply) -> list[Finding]:
    """Chord bars whose strings make another chord, stops off the scale, pulses too short to strike, drivers fed too little."""
    instrument, mechanism = ensemble.instrument, ensemble.mechanism
    return [
        *_chord_findings(instrument, mechanism),
        *_stop_findings(ensemble),
        *_pulse_findings(mechanism),
        *_driver_findings(mechanism, supply),
    ]


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


def _pulse_findings(mechanism: Mechanism) -> list[Finding]:
    """A relay closes its contact late and opens it late; what is left of the pulse must reach to the blow."""
    findings = []
    for coil_id, pulse_s in mechanism.pulses_s().items():
        coil = mechanism.coil(coil_id)
        relay = mechanism.relay_of(coil)
        closed_s = pulse_s + (relay.release_s - relay.operate_s if relay else 0.0)
        if closed_s < coil.pull_in_s:
            text = f"the coil {coil_id!r} gets current for {1000 * closed_s:.0f} ms and needs {1000 * coil.pull_in_s:.0f} ms to its blow"
            advice = "lengthen the pulse, unless the plunger is meant to be thrown"
            values = round(1000 * closed_s, 3), round(1000 * coil.pull_in_s, 3)
            findings.append(Finding("coil.pulse-short", "warning", f"mechanism.coils.{coil_id}", text, *values, "ms", advice))
    return findings


def _driver_findings(mechanism: Mechanism, supply: Supply) -> list[Finding]:
    findings = []
    for motor in mechanism.motors:
        voltage_v = supply.rail(motor.rail).voltage_v
        if voltage_v < motor.driver_minimum_v:
            text = f"the driver of {motor.id!r} gets {voltage_v:g} V and needs {motor.driver_minimum_v:g} V"
            advice, where = "feed it from a rail of higher voltage", f"mechanism.motors.{motor.id}"
            findings.append(Finding("power.driver-low", "error", where, text, voltage_v, motor.driver_minimum_v, "V", advice))
    return findings
