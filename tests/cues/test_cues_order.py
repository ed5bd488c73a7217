"""No cue before its cause: what must hold between the cues of any tune on any machine, checked from the cues alone."""

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jackrail.checks.timing import busiest_second
from jackrail.cues.model import cues_csv
from jackrail.cues.plan import plan_cues
from jackrail.motion.voice import coil_lead_s, coil_release_s
from jackrail.roll.fuse import TOLERANCE_US
from jackrail.setting.fit import fit
from jackrail.setting.wishes import Wishes
from jackrail.work import do_work
from workshop import MACHINE_NAMES, changed, ensemble, ensemble_of, examples, machine, tune, tunes

NAMES = st.sampled_from(MACHINE_NAMES)
OFF_S = TOLERANCE_US / 1e6


@st.composite
def plans(draw):
    """A machine, a setting of any tune on it, and its cues."""
    name = draw(NAMES)
    made = ensemble(name)
    setting = fit(draw(tunes()), made.voices, name, Wishes(leave=draw(st.sampled_from(["late", "early"]))))
    return made, setting, plan_cues(setting, made)


def of(cues, device, *actions):
    return [cue for cue in cues if cue.device == device and (not actions or cue.action in actions)]


@examples(60)
@given(plans())
def test_cues_stand_in_time_order_from_the_start_of_play(plan):
    _, _, cues = plan
    assert [cue.time_s for cue in cues] == sorted(cue.time_s for cue in cues)
    assert all(cue.time_s >= 0 for cue in cues)


@examples(60)
@given(plans())
def test_a_pick_never_starts_before_its_turn_before_has_ended(plan):
    made, _, cues = plan
    for motor, axis in made.axes.items():
        turn_s = axis.ramp.duration_s(made.mechanism.motor(motor).microsteps_per_turn)
        for early, late in itertools.pairwise(of(cues, motor, "turn")):
            assert late.time_s - early.time_s >= turn_s + 2 * OFF_S


@examples(60)
@given(plans())
def test_a_carriage_never_starts_before_its_move_before_has_ended_and_never_stands_outside_its_limits(plan):
    made, _, cues = plan
    for motor, axis in made.axes.items():
        at, free_s = 0, 0.0
        for cue in of(cues, motor, "move"):
            assert cue.time_s >= free_s
            assert axis.lowest <= cue.value <= axis.highest
            free_s = cue.time_s + axis.ramp.duration_s(abs(int(cue.value) - at)) + 2 * OFF_S
            at = int(cue.value)


@examples(60)
@given(plans())
def test_a_coil_is_never_switched_on_while_it_is_on_or_still_coming_back_nor_held_beyond_its_limit(plan):
    made, _, cues = plan
    for coil in made.mechanism.coils:
        free_s, since_s = 0.0, None
        for cue in of(cues, coil.id):
            if cue.action == "release":
                assert since_s is not None
                assert 0 < cue.time_s - since_s <= coil.max_on_s + 1e-9
                free_s, since_s = cue.time_s + coil_release_s(coil, made.mechanism), None
                continue
            assert since_s is None
            assert cue.time_s >= free_s - 1e-9
            if cue.action == "hold":
                since_s = cue.time_s
            else:
                assert cue.value <= coil.max_on_s
                free_s = cue.time_s + cue.value + coil_release_s(coil, made.mechanism)
        assert since_s is None, "a coil is left on at the end"


@examples(60)
@given(plans())
def test_every_sound_has_its_cue_one_lead_before_it_and_no_cue_is_without_its_sound(plan):
    made, setting, cues = plan
    wanted = [*setting.notes, *setting.strokes, *setting.beats]
    for v, (part, voice) in enumerate(zip(made.mechanism.voices, made.voices, strict=True)):
        striker = getattr(part, "pluck", part)
        device = getattr(striker, "coil", None) or striker.motor
        leads_s = {round(1e6 * touch.pulse_s): touch.lead_s for touch in voice.touches}
        struck = sorted(cue.time_s + leads_s.get(round(1e6 * cue.value), voice.lead_s) for cue in of(cues, device, "turn", "pulse"))
        assert struck == pytest.approx(sorted(sound.onset_s for sound in wanted if sound.voice == v), abs=1e-9)


@examples(60)
@given(plans())
def test_a_bar_stands_still_for_its_settling_time_before_each_note_and_while_the_note_speaks(plan):
    made, setting, cues = plan
    for v, part in enumerate(made.mechanism.voices):
        if part.kind != "travelling_stop":
            continue
        axis, moves, at, spans = made.axes[part.carriage.motor], of(cues, part.carriage.motor, "move"), 0, []
        for move in moves:
            spans.append((move.time_s, move.time_s + axis.ramp.duration_s(abs(int(move.value) - at)), int(move.value)))
            at = int(move.value)
        for note in (note for note in setting.notes if note.voice == v):
            begun = [span for span in spans if span[0] <= note.onset_s]
            assert begun[-1][2] == made.voices[v].places[note.place].steps
            assert begun[-1][1] + part.carriage.settle_s + 2 * OFF_S <= note.onset_s + 1e-9
            assert not any(note.onset_s < start < note.onset_s + 0.06 - 1e-9 for start, _, _ in spans)


@examples(60)
@given(plans())
def test_the_right_finger_and_no_higher_one_is_down_when_a_fretted_string_sounds(plan):
    made, setting, cues = plan
    for v, part in enumerate(made.mechanism.voices):
        if part.kind != "fretted_string":
            continue
        down = {}
        for finger in part.fingers:
            coil = made.mechanism.coil(finger.coil)
            holds, lifts = of(cues, finger.coil, "hold"), of(cues, finger.coil, "release")
            lead_s, release_s = coil_lead_s(coil, made.mechanism), coil_release_s(coil, made.mechanism)
            down[finger.fret] = [(a.time_s + lead_s, b.time_s, b.time_s + release_s) for a, b in zip(holds, lifts, strict=True)]
        for note in (note for note in setting.notes if note.voice == v):
            fret = made.voices[v].places[note.place].fret
            for other, spans in down.items():
                if other == fret:
                    assert any(pressed + part.settle_s <= note.onset_s <= lifted for pressed, lifted, _ in spans)
                else:
                    assert not any(pressed <= note.onset_s < gone for pressed, _, gone in spans)


def test_a_repeated_note_beyond_the_limit_of_its_finger_is_pressed_afresh():
    lute = ensemble_of(changed("twin_lute", ('max_on = "8 s"', 'max_on = "1.2 s"')))
    setting = fit(tune(*[(64, "1")] * 6, tempo=120.0), lute.voices, "Lute", Wishes(transpose=0))
    cues = plan_cues(setting, lute)
    holds = [cue for cue in cues if cue.action == "hold"]
    assert len(holds) == 3  # two notes of half a second fit in 1.2 s, three do not
    assert all(b.time_s - a.time_s <= 1.2 for a, b in zip(holds, [c for c in cues if c.action == "release"], strict=True))


@pytest.mark.parametrize("duty", [0.6, 0.8, 0.99])
def test_a_repeated_note_leaves_the_coil_of_its_finger_the_rest_that_its_duty_asks(duty):
    """Between one press and the next of the same finger the coil is on for its share at most, so it starts cold each time."""
    lute = ensemble_of(changed("twin_lute", ('max_on = "8 s"', f'max_on = "1.2 s", max_duty = {duty}')))
    setting = fit(tune(*[(64, "1")] * 6, tempo=120.0), lute.voices, "Lute", Wishes(transpose=0))
    cues = [cue for cue in plan_cues(setting, lute) if cue.action in ("hold", "release")]
    holds, releases = cues[::2], cues[1::2]
    assert len(holds) == 3
    for hold, release, after in zip(holds, releases, holds[1:], strict=False):
        assert release.time_s - hold.time_s <= duty * (after.time_s - hold.time_s) + 1e-9


FINGER = 'pull_in = "18 ms", release = "12 ms", max_on = "8 s"'


@pytest.mark.parametrize("tempo", [60, 120, 151, 240])
@pytest.mark.parametrize("pull_in, release", [(0, 0), (18, 180), (90, 5)])
def test_however_quick_or_slow_a_finger_is_its_repeated_notes_sound_at_its_fret(pull_in, release, tempo):
    lute = changed("twin_lute", (FINGER, f'pull_in = "{pull_in} ms", release = "{release} ms", max_on = "1 s"'))
    work = do_work(lute, tune(*[(64, "1/2")] * 12, tempo=tempo), Wishes(transpose=0))
    assert work.setting.notes_kept == 12
    assert not [finding for finding in work.findings if finding.severity == "error"]
    down = set()
    for cue in work.roll.cues:  # in the very order the board takes them
        if cue.op.name == "HOLD":
            assert cue.argument not in down
            down.add(cue.argument)
        elif cue.op.name == "RELEASE":
            down.remove(cue.argument)


def test_a_finger_over_a_long_rest_lifts_when_its_note_is_over_and_no_limit_is_reported():
    work = do_work(machine("twin_lute"), tune((64, "1"), (None, "30"), (67, "1"), tempo=120.0), Wishes(transpose=0))
    coil = next(cue.device for cue in work.cues if cue.action == "hold")
    lift = next(cue for cue in work.cues if cue.device == coil and cue.action == "release")
    assert lift.time_s == pytest.approx(work.setting.notes[0].onset_s + 0.5, abs=0.05)
    assert not [finding for finding in work.findings if finding.code == "coil.held-long"]


@examples(20)
@given(plans())
def test_the_busiest_second_is_what_counting_finds(plan):
    _, _, cues = plan
    start_s, count = busiest_second(cues)
    within = [sum(0 <= b.time_s - a.time_s <= 1.0 for b in cues) for a in cues]
    assert count == max(within, default=0)
    assert count == 0 or within[[cue.time_s for cue in cues].index(start_s)] == count


def test_the_list_of_cues_has_a_line_each_and_only_the_values_that_mean_something():
    work = do_work(machine("quay_zither"), tune((67, "1"), (69, "1"), chords=[(0, "G")]), Wishes(transpose=0))
    header, *lines = cues_csv(work.cues).splitlines()
    assert header == "time_s,device,action,value"
    assert len(lines) == len(work.cues)
    assert all((line.split(",")[3] == "") == (line.split(",")[2] == "turn") for line in lines)
    assert any(line.endswith(",pulse,0.06") for line in lines)
