"""Double strokes and tremolo: what a long note gains, and that nothing gives way to it."""

import time
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from idiom_judge import judged, on_at_once

from jackrail.setting.wishes import Wishes
from jackrail.tune.model import TuneNote
from jackrail.work import do_work
from workshop import MACHINE_NAMES, changed, examples, machine, tune, tunes

DOUBLE, TREMOLO = (Wishes(transpose=0, tempo="100%", strokes=strokes) for strokes in ("double", "tremolo"))


def played(some, wishes, *notes, tempo=60.0, bars=2):
    work = do_work(machine(some) if isinstance(some, str) else some, tune(*notes, tempo=tempo, bars=bars), wishes)
    judged(work)
    return work.setting.notes


def test_a_note_of_a_beat_is_struck_again_halfway_and_a_shorter_one_is_not():
    first, second, third = played("tower_chimes", DOUBLE, (67, "1"), (71, "1/2"), (69, "5/2"))
    assert first.again_s == pytest.approx([first.onset_s + 0.5])
    assert second.again_s == ()
    assert third.again_s == pytest.approx([third.onset_s + 1.25])


def test_the_felt_beat_is_that_of_the_metre():
    """In 6/8 three eighths are one beat (common practice): a quarter note is less than that."""
    made = tune((67, "1"), (71, "1/2"), (69, "3/2"), tempo=60.0, bars=1)
    made = replace(made, bars=tuple(replace(bar, beats=6, beat_unit=8, length_q=Fraction(3)) for bar in made.bars))
    assert [len(note.again_s) for note in do_work(machine("tower_chimes"), made, DOUBLE).setting.notes] == [0, 0, 1]


def test_tremolo_is_even_and_no_faster_than_a_hand_or_the_voice():
    """A bell of the carillon could be struck every 50 ms; 12 a second is every 83 ms. A turn of the zither's pick takes longer."""
    (bell,) = played("harbour_carillon", TREMOLO, (67, "4"))
    gaps = [later - earlier for earlier, later in pairwise((bell.onset_s, *bell.again_s))]
    assert gaps == pytest.approx([gaps[0]] * len(gaps))
    assert gaps[0] >= 1 / 12 - 1e-9
    (string,) = played("quay_zither", TREMOLO, (67, "4"))
    # 360 rpm with 200 turn/s^2: 6 / 200 s to full speed, so a turn takes 1/6 + 0.03 s (textbook), and 0.5 ms are kept free
    assert [later - earlier for earlier, later in pairwise((string.onset_s, *string.again_s))] == pytest.approx([0.2] * 19, abs=1e-6)


def test_a_short_note_gets_no_tremolo():
    assert [len(note.again_s) > 0 for note in played("tower_chimes", TREMOLO, (67, "3/2"), (69, "2"))] == [False, True]


def test_a_stroke_rings_before_its_bar_leaves():
    """D4 to D6 takes the zither's bar 0.8 s (315 mm at 450 mm/s, and 0.1 s) and settling: half of a second's note is in the move."""
    first, second = played("quay_zither", DOUBLE, (62, "1"), (86, "2"))
    assert first.again_s == ()
    assert len(second.again_s) == 1


def test_a_note_that_is_cut_short_by_the_next_of_its_string_is_not_struck_after_it():
    """Four quarters are written, the same string strikes again after one: a turn of the pick before that is the last moment."""
    made = replace(
        tune((67, "1"), tempo=60.0, bars=2), notes=(TuneNote(Fraction(0), Fraction(4), 67), TuneNote(Fraction(1), Fraction(2), 67))
    )
    work = do_work(machine("quay_zither"), made, TREMOLO)
    judged(work)
    first, second = work.setting.notes
    assert first.again_s
    assert max(first.again_s) <= second.onset_s - 0.19


def test_a_coil_that_bears_few_strokes_gets_as_many_as_it_bears():
    """Pulses of 50 ms: at 83 ms a share of 60 % of the time. A coil that may be on for a tenth takes far fewer."""
    harp = "slipway_harp"
    (free,) = played(harp, TREMOLO, (71, "4"))
    (spared,) = played(changed(harp, ('max_on = "120 ms", max_duty = 0.5', 'max_on = "60 ms", max_duty = 0.1')), TREMOLO, (71, "4"))
    assert 0 < len(spared.again_s) < len(free.again_s)


def test_a_finger_that_lets_go_early_ends_the_strokes():
    lute = changed("twin_lute", ('max_on = "8 s"', 'max_on = "1 s"'))
    (note,) = played(lute, TREMOLO, (64, "4"))
    assert note.again_s
    assert max(note.again_s) < note.onset_s + 1.0


def test_many_bells_at_once_do_not_ask_more_of_the_board_than_it_holds():
    one = tune((67, "4"), tempo=60.0, bars=1)
    bells = tuple(TuneNote(Fraction(n, 8), Fraction(4), 67 + n) for n in range(16))
    work = do_work(machine("harbour_carillon"), replace(one, notes=bells), TREMOLO)
    judged(work)
    assert work.setting.notes_kept == 16
    assert any(note.again_s for note in work.setting.notes)


@pytest.mark.parametrize("wishes", [DOUBLE, TREMOLO])
def test_no_more_coils_are_on_at_once_than_without_further_strokes(wishes):
    """Three bells ring under a melody of one: the supply may just give what three together draw."""
    notes = [TuneNote(Fraction(0), Fraction(8), key) for key in (67, 71, 74)]
    notes += [TuneNote(Fraction(n), Fraction(2), 76 + n % 3) for n in range(1, 8)]
    made = replace(tune((67, "8"), tempo=60.0, bars=2), notes=tuple(sorted(notes, key=lambda note: (note.onset_q, note.midi))))
    work, plain = (do_work(machine("harbour_carillon"), made, one) for one in (wishes, replace(wishes, strokes="single")))
    judged(work)
    assert on_at_once(plain) == 3
    assert on_at_once(work) <= 3
    assert sum(len(note.again_s) for note in work.setting.notes) >= 3


def test_a_stroke_sounds_and_is_told_like_any_other():
    work = do_work(machine("quay_zither"), tune((67, "2"), (69, "2"), tempo=60.0, bars=1), DOUBLE)
    assert [(note.midi, round(note.onset_s - work.setting.lead_in_s, 3)) for note in work.performance.notes] == [
        (67, 0.0),
        (67, 1.0),
        (69, 2.0),
        (69, 3.0),
    ]
    assert work.setting.notes_kept == 2
    told = work.setting.to_json(work.ensemble.voice_ids, work.ensemble.place_names)
    assert [note["again_s"] for note in told["notes"]] == [[round(note.again_s[0], 6)] for note in work.setting.notes]


@examples(60)
@given(tunes(), st.sampled_from(MACHINE_NAMES), st.sampled_from(["double", "tremolo"]))
def test_further_strokes_never_make_a_note_late_or_lost_or_a_roll_refused(made, name, strokes):
    work, plain = do_work(machine(name), made, Wishes(strokes=strokes)), do_work(machine(name), made, Wishes())
    if [finding.code for finding in plain.findings if finding.severity == "error"]:
        return  # refused without them already
    judged(work)
    assert tuple(replace(note, again_s=()) for note in work.setting.notes) == plain.setting.notes
    assert work.setting.losses == plain.setting.losses


@pytest.mark.slow
def test_a_long_tune_is_not_kept_waiting():
    made = tune(*[(67 + n % 3 * 2, "2") for n in range(1500)], tempo=120.0, bars=750)
    began = time.process_time()
    plain = do_work(machine("quay_zither"), made, Wishes(transpose=0))
    middle = time.process_time()
    work = do_work(machine("quay_zither"), made, Wishes(transpose=0, strokes="double"))
    assert len(work.performance.notes) > 2 * len(plain.performance.notes) - 10
    assert time.process_time() - middle < 4 * (middle - began) + 2
