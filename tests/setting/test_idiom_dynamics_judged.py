"""Dynamics: how hard each hammer strikes, and that softness costs no note and overlaps on no coil."""

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from idiom_judge import judged, on_at_once

from jackrail.setting.wishes import Wishes
from jackrail.tune.model import Bar
from jackrail.work import do_work
from workshop import changed, examples, machine, tune, tunes

AS_WRITTEN = Wishes(transpose=0, tempo="100%")
BEATS, EVEN = replace(AS_WRITTEN, dynamics="beats"), replace(AS_WRITTEN, dynamics="even")
SLOW_SOFT = [  # its softest blow arrives 30 ms after switching on, 16 ms later than the full one
    ('pulse = "9 ms", pull_in = "18 ms"', 'pulse = "9 ms", pull_in = "30 ms"'),
]


def loud(made, *velocities):
    return replace(made, notes=tuple(replace(note, velocity=one) for note, one in zip(made.notes, velocities, strict=True)))


def touches(made, wishes, some="harbour_carillon"):
    work = do_work(machine(some) if isinstance(some, str) else some, made, wishes)
    judged(work)
    return [note.touch for note in work.setting.notes]


FIVE = tune((67, "1"), (69, "1/2"), (71, "1/2"), (72, "1"), (74, "1"), tempo=60.0, bars=1)


def test_by_the_beat_the_first_is_full_the_others_and_what_lies_between_softer():
    """1, 0.8 and 0.6 of docs/fitting.md beside the carillon's 1, 0.7 and 0.4: |0.8 - 0.7| < |0.8 - 1|, |0.6 - 0.7| < |0.6 - 0.4|."""
    assert touches(FIVE, BEATS) == [0, 1, 1, 1, 1]


def test_in_6_8_the_second_beat_is_the_fourth_eighth():
    """Compound metre, common practice: 1, 0.6, 0.6, 0.8 of the full blow. On hammers of 1, 0.8 and 0.6 each is a touch of its own."""
    hammers = changed("harbour_carillon", ("strength = 0.7", "strength = 0.8"), ("strength = 0.4", "strength = 0.6"))
    made = tune(*[(key, "1/2") for key in (67, 69, 71, 72, 74, 76)], tempo=60.0)
    made = replace(made, bars=(Bar(Fraction(0), Fraction(3), 1, 6, 8),))
    assert touches(made, BEATS, hammers) == [0, 2, 2, 1, 2, 2]


def test_even_is_one_blow_for_all():
    assert touches(loud(FIVE, 10, 127, 40, 90, 60), EVEN) == [0] * 5


def test_written_loudness_is_counted_from_forte():
    """docs/fitting.md: velocity over 90. 90 and more are full, 63 is 0.7, 36 is 0.4; 50 is 0.556, by 0.144 from 0.7, by 0.156 from 0.4."""
    assert touches(loud(FIVE, 127, 90, 63, 36, 50), AS_WRITTEN) == [0, 0, 1, 2, 1]


def test_what_is_not_written_goes_by_the_beat():
    assert touches(loud(FIVE, None, 36, None, 90, None), AS_WRITTEN) == [0, 2, 1, 0, 1]
    assert touches(FIVE, AS_WRITTEN) == touches(FIVE, BEATS)


def test_hammers_with_one_way_to_strike_strike_fully():
    made = loud(tune((67, "1"), (69, "1"), bars=1), 10, 20)
    work = do_work(machine("tower_chimes"), made, AS_WRITTEN)
    assert [(note.touch, note.strength) for note in work.setting.notes] == [(0, 1.0)] * 2


def test_a_soft_blow_is_switched_on_as_much_earlier_as_it_takes():
    """From the file: G4 is on for 9 ms and struck 18 ms after that for 0.4, on for 18 ms and struck after 14 ms for 1."""
    work = do_work(machine("harbour_carillon"), loud(tune((67, "1"), (67, "1"), tempo=60.0), 36, 127), AS_WRITTEN)
    soft, full = work.cues
    first, second = work.setting.notes
    assert (first.onset_s - soft.time_s, soft.value) == pytest.approx((0.018, 0.009))
    assert (second.onset_s - full.time_s, full.value) == pytest.approx((0.014, 0.018))
    assert [(one.strength, one.onset_s) for one in work.performance.notes] == [(0.4, first.onset_s), (1.0, second.onset_s)]


def test_each_stroke_of_a_soft_note_is_soft():
    made = loud(tune((67, "4"), tempo=60.0, bars=1), 36)
    work = do_work(machine("harbour_carillon"), made, replace(AS_WRITTEN, strokes="tremolo"))
    judged(work)
    assert len(work.performance.notes) > 10
    assert {one.strength for one in work.performance.notes} == {0.4}


def test_a_note_repeated_as_fast_as_can_be_goes_from_full_to_soft_and_back():
    """As near as the voice may strike again, alternately full and softest: the judge holds each blow against the way back of the last."""
    hammer = changed("harbour_carillon", *SLOW_SOFT)
    made = tune(*[(67, "1/16")] * 40, tempo=60.0, bars=1)
    made = loud(made, *[(127, 36)[n % 2] for n in range(40)])
    work = do_work(hammer, made, AS_WRITTEN)
    judged(work)
    assert {0, 2} <= {note.touch for note in work.setting.notes}


def test_where_softness_would_have_too_many_coils_on_at_once_notes_are_struck_fully():
    """A4 sounds 45 ms before C5. Full, A4 is off 4 ms after its blow and C5 is on 14 ms before its own, 27 ms later; soft, C5 would be on
    60 ms before its blow, while A4 is. So it is struck fully; 200 ms later there is room for softness."""
    slow = changed("harbour_carillon", ('pulse = "9 ms", pull_in = "18 ms"', 'pulse = "9 ms", pull_in = "60 ms"'))
    near = loud(tune((69, "45/1000"), (72, "1"), tempo=60.0, bars=1), 127, 36)
    far = loud(tune((69, "1/5"), (72, "1"), tempo=60.0, bars=1), 127, 36)
    assert touches(near, AS_WRITTEN, slow) == [0, 0]
    assert touches(far, AS_WRITTEN, slow) == [0, 2]


def test_a_coil_that_softness_would_make_too_hot_strikes_fully():
    """The duty rule of docs/SPEC-roll.md by hand, in ms: max_duty 0.1 and max_on 150 bear 135. A full blow of 15 brings 13.5, the 55 to the
    next lose 5.5: sixteen come to 13.5 + 15 x 8 = 133.5. The last one soft, it is on for 13.9, but 30 earlier, while hardly anything is
    lost: 125.5 - 2.5 + 12.51 = 135.51. After one blow less it is 127.51."""
    hammers = changed(
        "harbour_carillon",
        ("max_duty = 0.3", "max_duty = 0.1"),
        ('pulse = "18 ms"', 'pulse = "15 ms"'),
        ('pulse = "11 ms", pull_in = "16 ms"', 'pulse = "13.95 ms", pull_in = "16 ms"'),
        ('pulse = "9 ms", pull_in = "18 ms"', 'pulse = "13.9 ms", pull_in = "44 ms"'),
    )
    for blows, last in ((16, 0), (15, 2)):
        made = loud(tune(*[(67, "7/100")] * blows, tempo=60.0, bars=1), *[127] * (blows - 1), 36)
        assert touches(made, AS_WRITTEN, hammers) == [0] * (blows - 1) + [last]


@examples(60)
@given(tunes(), st.data())
def test_softness_costs_no_note_and_nothing_overlaps(made, data):
    """Whatever is written: the same notes at the same moments as struck evenly, no more coils on at once, every coil bears it."""
    velocity = st.one_of(st.none(), st.integers(1, 127))
    made = replace(made, notes=tuple(replace(note, velocity=data.draw(velocity)) for note in made.notes))
    some = data.draw(st.sampled_from([machine("harbour_carillon"), changed("harbour_carillon", *SLOW_SOFT)]))
    wishes = Wishes(strokes=data.draw(st.sampled_from(["single", "tremolo"])), rolled=data.draw(st.booleans()))
    work, even = do_work(some, made, wishes), do_work(some, made, replace(wishes, dynamics="even"))
    judged(work)
    assert [replace(note, touch=0, strength=1.0) for note in work.setting.notes] == list(even.setting.notes)
    assert work.setting.losses == even.setting.losses
    assert on_at_once(work) <= on_at_once(even)
