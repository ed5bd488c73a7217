"""Every finding rings: for each code of the catalogue one input that rings it and one, next to it, that just does not."""

from dataclasses import replace
from fractions import Fraction

import pytest

from jackrail.checks.fitting import fit_findings
from jackrail.checks.heard import rehearsal_findings, skipped_finding
from jackrail.checks.timing import late_findings
from jackrail.findings import FINDING_CODES, Finding, worst
from jackrail.motion.voice import Place, Voice
from jackrail.performance import compare
from jackrail.rehearsal.model import Slip
from jackrail.roll.dry_run import play_on_paper
from jackrail.roll.due import RollCue
from jackrail.roll.format import Op
from jackrail.roll.guard import guard_findings
from jackrail.setting.fit import fit
from jackrail.setting.taste import Taste
from jackrail.setting.wishes import Wishes
from jackrail.tune.model import Ornament
from jackrail.work import do_work
from made_rehearsals import a_rail, a_rehearsal, a_status, sound
from workshop import changed, ensemble, machine, tune

MS = 2000
"""Timer ticks of 0.5 us in a millisecond."""
STAY = Wishes(transpose=0)
KEEP = Wishes(transpose=0, tempo="100%")
UNFOLDED = Taste(folded=2.0, folded_twice=2.0)
SOME = tune((62, "2"), (69, "2"), (67, "2"), (74, "2"), chords=[(0, "G"), (4, "D")], tempo=60.0, bars=2)


def found(machine_or_name, made, wishes=STAY):
    some = machine(machine_or_name) if isinstance(machine_or_name, str) else machine_or_name
    return do_work(some, made, wishes).findings


def leap(spare_s):
    """D4 to D6 and nothing else, with `spare_s` beyond what the zither's bar needs."""
    melody = ensemble("quay_zither").voices[0]
    need_s = UNFOLDED.least_ring_s + melody.move_s[0][-1]
    gap_q = Fraction(need_s + spare_s).limit_denominator(1_000_000)
    return tune((62, gap_q), (86, "1"), tempo=60.0)


def twelve_hammers(notes):
    """Notes on one key for twelve hammers, each tied up for three seconds: which are free is a large state."""
    voices = tuple(Voice(f"h{v}", "melody", (f"b{v}",), (Place("b", 60),), ((0.0,),), (0.0,), 3.0 + v / 1000, 0.01) for v in range(12))
    made = tune(*[(60, "1/4")] * notes)
    return fit_findings(fit(made, voices, "Twelve", KEEP), made)


def roll_late_by(late_ms):
    """What is found when the pick of a packed roll turns some milliseconds late."""
    work = do_work(machine("quay_zither"), SOME, STAY)
    cues = tuple(sorted(RollCue(c.tick + round(late_ms * MS), c.op, c.argument) if c.op is Op.TURN else c for c in work.roll.cues))
    return late_findings(compare(work.performance, play_on_paper(replace(work.roll, cues=cues), work.numbering, ensemble("quay_zither"))))


def roll_changed(name, made, change):
    """What the last look finds in a packed roll of which each cue was changed, or left out (None)."""
    work = do_work(machine(name), made, STAY)
    cues = tuple(sorted(cue for cue in map(change, work.roll.cues) if cue is not None))
    return guard_findings(replace(work.roll, cues=cues), work.numbering, ensemble(name))


def later(op, ticks):
    return lambda cue: RollCue(cue.tick + ticks, cue.op, cue.argument) if cue.op is op else cue


def chord_pulse(milliseconds):
    """The zither's chord bars, whose relay works in 8 ms, lets go in 4 ms, and whose coils take 14 ms to the blow."""
    return found(changed("quay_zither", ('pulse = "60 ms"', f'pulse = "{milliseconds} ms"')), SOME)


def main_rail_gives(share_of_peak):
    """The zither with a main rail of some share of the highest current that the tune draws."""
    peak_a = next(trace.peak_a for trace in do_work(machine("quay_zither"), SOME, STAY).traces if trace.rail == "main")
    return found(changed("quay_zither", ('limit = "5 A"', f'limit = "{share_of_peak * peak_a:.6f} A"')), SOME)


def flash_leaves(share, less_b=0):
    """The zither with flash that leaves room for the roll times `share`, less some bytes."""
    memory = do_work(machine("quay_zither"), SOME, STAY).memory
    flash_b = memory.used_b - memory.roll_b + int(memory.roll_b * share) - less_b
    return found(changed("quay_zither", ('flash = "32 KiB"', f'flash = "{flash_b} B"')), SOME)


def first_stop_sharp_by(cents):
    """The zither with its first stop, D4 on the 640 mm string from C4, set some cents sharp."""
    position_mm = 640 * (1 - 2 ** (-(2 + cents / 100) / 12))
    return found(changed("quay_zither", ('stops = ["D4"', f'stops = ["{position_mm:.3f} mm"')), SOME)


def top_string_tuned_to(pitch):
    old = 'id = "g_top", scale_length = "600 mm", gauge = "0.014 in", material = "plain steel", open_pitch = "D4"'
    return found(changed("quay_zither", (old, old.replace("D4", pitch))), SOME)


def held_for(seconds):
    """A note of E4 on the lute, whose finger may be down for 1 s."""
    return found(
        changed("twin_lute", ('max_on = "8 s"', 'max_on = "1 s"')), tune((64, Fraction(seconds).limit_denominator(1000)), tempo=60.0)
    )


def together(count):
    """So many bars of the chimes struck at once: each is two commands, on and off, and the board holds 24."""
    keys = [voice.places[0].midi for voice in ensemble("tower_chimes").voices if voice.part == "melody"]
    one = tune((67, "1"))
    return found("tower_chimes", replace(one, notes=tuple(replace(one.notes[0], midi=midi) for midi in sorted(keys)[:count])), KEEP)


def chords_with(max_on_ms, max_duty):
    """Chords on the zither, G each second, with coils of these limits."""
    limits = f'max_on = "{max_on_ms} ms", max_duty = {max_duty}'
    chords = tune((67, "4"), chords=[(n, symbol) for n, symbol in enumerate(["G", "C", "G", "C", "G"])], tempo=120.0)
    return found(changed("quay_zither", ('max_on = "300 ms"', limits)), chords, KEEP)


def zither(*notes, chords=(), taste=UNFOLDED):
    return found("quay_zither", tune(*notes, chords=chords, tempo=60.0), replace(KEEP, taste=taste))


def at_the_written_tempo(made):
    return found("quay_zither", made, replace(KEEP, taste=UNFOLDED))


def at_the_best_tempo(made):
    return found("quay_zither", made, replace(STAY, taste=UNFOLDED))


def driver_needs(voltage):
    return found(changed("quay_zither", ('driver_minimum = "9 V"', f'driver_minimum = "{voltage}"')), SOME)


def vibrato_of(high_bar):
    """The harp with middle and low bars that may not sway, asked for vibrato."""
    harp = changed("slipway_harp", ('vibrato = "4 mm"', 'vibrato = "0 mm"'), ('vibrato = "3 mm"', f'vibrato = "{high_bar}"'))
    return found(harp, tune((71, "4"), tempo=60.0), replace(KEEP, vibrato=True))


def reader_said(*warnings):
    return found("tower_chimes", tune((67, "1"), warnings=warnings))


def heard(*sounds, **changes):
    return rehearsal_findings(a_rehearsal(*sounds, **changes))


def ornate(key):
    """Three notes, the last with a grace note, played as written."""
    made = tune((67, "1"), (69, "1"), (71, "1"), tempo=60.0, bars=1)
    return found("tower_chimes", replace(made, ornaments=(Ornament(Fraction(2), 71, "grace", (key,)),)), replace(KEEP, ornaments="all"))


# code: (rings, just does not ring)
ALARMS = {
    "tune.reading": (lambda: reader_said("line 3: a grace note is left out"), reader_said),
    "tune.harmony": (
        lambda: found("quay_zither", replace(SOME, chords=())),
        lambda: found("quay_zither", replace(SOME, chords=()), replace(STAY, harmony="written")),
    ),
    "fit.notes-lost": (lambda: at_the_written_tempo(leap(-0.001)), lambda: at_the_written_tempo(leap(0.001))),
    "fit.notes-folded": (lambda: zither((50, "1"), (62, "1"), taste=Taste()), lambda: zither((62, "1"), (62, "1"), taste=Taste())),
    "fit.small-lost": (lambda: ornate(70), lambda: ornate(72)),  # the chimes have C5 and no B flat
    "fit.chords-changed": (lambda: zither((62, "4"), chords=[(0, "D7")]), lambda: zither((62, "4"), chords=[(0, "D/F#")])),
    "fit.chords-lost": (lambda: zither((62, "4"), chords=[(0, "F")]), lambda: zither((62, "4"), chords=[(0, "C")])),
    "fit.slower": (lambda: at_the_best_tempo(leap(-0.001)), lambda: at_the_best_tempo(leap(0.001))),
    "fit.nothing-left": (lambda: zither((61, "1")), lambda: zither((61, "1"), (62, "1"))),  # no stop gives a C sharp
    "fit.not-proven": (lambda: twelve_hammers(14), lambda: twelve_hammers(3)),
    # the carriage of the harp's high bar alone may sway, or none
    "fit.wish-unmet": (lambda: vibrato_of("0 mm"), lambda: vibrato_of("3 mm")),
    "time.tight": (lambda: found("quay_zither", leap(0.0095), KEEP), lambda: found("quay_zither", leap(0.0105), KEEP)),
    "time.late": (lambda: roll_late_by(0.56), lambda: roll_late_by(0.44)),  # 0.5 ms is allowed, and packing may shift by 0.05 ms
    "coil.held-long": (lambda: held_for(1.0), lambda: held_for(0.97)),  # it goes down 24.5 ms before the note
    "roll.coil": (
        lambda: roll_changed("twin_lute", SOME, lambda cue: None if cue.op is Op.RELEASE else cue),
        lambda: found("twin_lute", SOME),
    ),
    # the carriage has half a millisecond kept free before it must be still, and packing may shift each cue by 0.05 ms
    "roll.motion": (
        lambda: roll_changed("quay_zither", SOME, later(Op.MOVE, round(0.61 * MS))),
        lambda: roll_changed("quay_zither", SOME, later(Op.MOVE, round(0.39 * MS))),
    ),
    "roll.queue": (lambda: together(13), lambda: together(12)),
    # G at 0, 1 and 2 s, 60 ms each. At a duty of 3 % it gathers 58.2 a stroke and loses 0.03 * 940 = 28.2 between two: 58.2,
    # 88.2, 118.2. It may gather 0.97 * max_on: 118.2 / 0.97 = 121.86 ms.
    "coil.duty": (lambda: chords_with(121, 0.03), lambda: chords_with(123, 0.03)),
    "coil.pulse-short": (lambda: chord_pulse(17.9), lambda: chord_pulse(18)),
    "power.rail-over": (lambda: main_rail_gives(0.9999), lambda: main_rail_gives(1.0001)),
    "power.rail-near": (lambda: main_rail_gives(1.2499), lambda: main_rail_gives(1.2501)),  # 80 % of what it can give
    "power.driver-low": (lambda: driver_needs("12.1 V"), lambda: driver_needs("12 V")),
    "memory.full": (lambda: flash_leaves(1, less_b=1), lambda: flash_leaves(1)),
    "memory.near": (lambda: flash_leaves(1.1), lambda: flash_leaves(1.13)),  # 90 % of the room
    "heard.missing": (lambda: heard(sound(), sound(late_s=None)), lambda: heard(sound(), sound())),
    "heard.extra": (lambda: heard(extra=[(1.5, "melody")]), heard),
    "heard.late": (lambda: heard(sound(late_s=0.00051)), lambda: heard(sound(late_s=0.0005))),
    "heard.pitch": (lambda: heard(sound(sharp_cents=5.1)), lambda: heard(sound(sharp_cents=5.0))),
    "heard.strength": (  # 0.5 heard as 0.562 is 1.02 dB louder, as 0.560 it is 0.98 dB: 20 log10, by hand
        lambda: heard(sound(strength=0.5, heard_strength=0.562)),
        lambda: heard(sound(strength=0.5, heard_strength=0.560)),
    ),
    "heard.stopped": (lambda: heard(reason=2), lambda: heard(reason=1)),  # asked; finished
    "heard.slipped": (lambda: heard(slips=(Slip("carriage", 1.0, 4.0),)), heard),
    "heard.unsafe": (lambda: heard(unsafe=("coil_g is on",)), heard),
    "heard.missed": (lambda: heard(status=a_status(detent_missed=1)), lambda: heard(status=a_status(rehomed=1))),
    "heard.supply": (lambda: heard(rails=(a_rail(8.99),)), lambda: heard(rails=(a_rail(9.0),))),
    "heard.skipped": (lambda: [skipped_finding("the emulator is missing")], heard),
    "chord.strings": (lambda: top_string_tuned_to("C4"), lambda: top_string_tuned_to("D5")),
    "stop.off-pitch": (lambda: first_stop_sharp_by(15.3), lambda: first_stop_sharp_by(14.7)),
}
GRAVITY = {
    "power.rail-over": "error",
    "power.rail-near": "warning",
    "power.driver-low": "error",
    "memory.full": "error",
    "memory.near": "warning",
    "fit.nothing-left": "error",
    "fit.notes-lost": "warning",
    "fit.slower": "note",
    "fit.wish-unmet": "note",
    "coil.held-long": "warning",
    "time.late": "error",
    "roll.coil": "error",
    "roll.motion": "error",
    "coil.pulse-short": "warning",
    "roll.queue": "error",
    "coil.duty": "error",
    "heard.missing": "error",
    "heard.extra": "warning",
    "heard.late": "warning",
    "heard.pitch": "warning",
    "heard.strength": "warning",
    "heard.stopped": "error",
    "heard.slipped": "error",
    "heard.unsafe": "error",
    "heard.missed": "warning",
    "heard.supply": "error",
    "heard.skipped": "note",
    "tune.harmony": "note",
    "fit.small-lost": "note",
}


def test_every_finding_of_the_catalogue_has_its_alarm():
    assert set(ALARMS) == set(FINDING_CODES)


@pytest.mark.parametrize("code", ALARMS)
def test_the_finding_rings(code):
    rung = [finding for finding in ALARMS[code][0]() if finding.code == code]
    assert rung
    for finding in rung:
        assert finding.place
        assert finding.message
        assert (finding.value is None) == (finding.limit is None)
        assert finding.value is None or finding.unit


@pytest.mark.parametrize("code", ALARMS)
def test_the_finding_just_does_not_ring(code):
    assert [finding for finding in ALARMS[code][1]() if finding.code == code] == []


def test_a_chord_bar_with_one_string_too_many_rings_and_names_its_tone():
    strings = 'strings = ["g_low", "g_mid", "g_top"]'
    (finding,) = found(changed("quay_zither", (strings, strings.replace("]", ', "c_mid"]'))), SOME)[:1]
    assert finding.code == "chord.strings"
    assert "C does not belong" in finding.message
    assert "missing" not in finding.message


@pytest.mark.parametrize(
    "name, wishes, words",
    [
        ("quay_zither", {"vibrato": True, "rolled": True, "slides": "free"}, ["no bar of this machine may sway", "one voice alone"]),
        ("twin_lute", {"vibrato": True, "rolled": True, "slides": "written"}, ["no bar of this machine may sway", "nothing slides"]),
        ("slipway_harp", {"vibrato": True, "rolled": True, "slides": "free"}, []),
        ("tower_chimes", {"strokes": "tremolo"}, []),
        ("tower_chimes", {"dynamics": "beats"}, ["no hammer of this machine has touches"]),
        ("tower_chimes", {"dynamics": "written"}, []),
        ("harbour_carillon", {"dynamics": "beats"}, []),
    ],
)
def test_every_wish_that_a_machine_cannot_meet_is_told(name, wishes, words):
    told = [finding.message for finding in found(name, SOME, replace(STAY, **wishes)) if finding.code == "fit.wish-unmet"]
    assert len(told) == len(words)
    assert all(word in message for word, message in zip(words, told, strict=True))


def test_a_finding_has_a_code_of_the_catalogue():
    with pytest.raises(KeyError, match=r"fit\.typo"):
        Finding("fit.typo", "note", "", "")


def test_the_worst_of_some_findings_is_the_gravest():
    note, warning, error = (Finding("fit.slower", severity, "", "") for severity in ("note", "warning", "error"))
    assert worst([note, error, warning]) == "error"
    assert worst([note, warning]) == "warning"
    assert worst([note]) == "note"
    assert worst([]) is None


@pytest.mark.parametrize("code", GRAVITY)
def test_a_finding_is_as_grave_as_it_should_be(code):
    assert {finding.severity for finding in ALARMS[code][0]() if finding.code == code} == {GRAVITY[code]}


@pytest.mark.parametrize(
    "name, code, change, words",
    [
        ("twin_lute", "roll.coil", lambda cue: None if cue.op is Op.RELEASE else cue, "not off again before the end"),
        ("twin_lute", "roll.coil", lambda cue: RollCue(cue.tick + 10_000 * MS, cue.op, cue.argument) if cue.op is Op.RELEASE else cue, ""),
        ("quay_zither", "roll.coil", lambda cue: RollCue(0, cue.op, cue.argument) if cue.op is Op.PULSE else cue, ""),
        ("quay_zither", "roll.motion", later(Op.TURN, -50 * MS), "before its bar stands still and settled"),
        ("quay_zither", "roll.motion", lambda cue: RollCue(0, cue.op, cue.argument) if cue.op is Op.TURN else cue, "before it is done"),
        ("quay_zither", "roll.motion", lambda cue: RollCue(0, cue.op, cue.argument) if cue.op is Op.MOVE else cue, "before it is done"),
        ("quay_zither", "roll.motion", later(Op.TURN, 10_000 * MS), "not done at the end"),
    ],
)
def test_a_roll_that_would_harm_is_never_silent(name, code, change, words):
    rung = list(roll_changed(name, tune((64, "2"), (69, "2"), (67, "2"), chords=[(0, "G"), (4, "G")], tempo=60.0, bars=2), change))
    assert code in {finding.code for finding in rung}
    assert words in " ".join(finding.message for finding in rung)
    assert worst(rung) == "error"
