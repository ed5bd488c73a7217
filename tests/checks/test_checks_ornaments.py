"""Small notes and proposed chords through all stages: whatever is tried, the roll does what the setting says and harms nothing."""

from dataclasses import replace
from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from jackrail.findings import worst
from jackrail.setting.wishes import Wishes
from jackrail.tune.model import Ornament
from jackrail.work import do_work
from workshop import MACHINE_NAMES, examples, machine, tune

KINDS = ["grace", "after-grace", "trill", "upper-mordent", "lower-mordent", "turn", "inverted-turn", "roll", "slide"]
SCALE = [67, 69, 71, 72, 74, 76, 78, 79]


@st.composite
def ornate_tunes(draw):
    """Up to a dozen notes of G major without chords, each with any ornament or none, at a walking pace."""
    steps = draw(st.lists(st.tuples(st.integers(1, 6), st.sampled_from(["1/2", "1", "2"])), min_size=1, max_size=12))
    made = tune(*[(SCALE[step], length) for step, length in steps], tempo=draw(st.sampled_from([60.0, 100.0])), bars=3)
    ornaments = []
    for note in made.notes:
        kind, at = draw(st.sampled_from([None, *KINDS])), SCALE.index(note.midi)
        if kind is not None:
            ornaments.append(Ornament(note.onset_q, note.midi, kind, (SCALE[at - 1], SCALE[at + 1])))
    return replace(made, ornaments=tuple(ornaments))


@examples(40)
@given(ornate_tunes(), st.sampled_from(MACHINE_NAMES))
def test_a_tune_with_all_its_ornaments_is_packed_and_plays_as_set(made, name):
    plain = do_work(machine(name), made, Wishes(ornaments="none", tempo="100%"))
    work = do_work(machine(name), made, Wishes(ornaments="all", tempo="100%"))
    assert worst(work.findings) != "error" or worst(plain.findings) == "error"
    assert not work.comparison.missing
    assert not work.comparison.extra
    assert len(work.performance.notes) == work.setting.notes_kept + work.setting.small_kept
    assert work.setting.notes_total == len(made.notes)


def test_the_chimes_play_a_trill():
    """Twelve notes a second on two bars by turns: each bar is struck every sixth of a second."""
    trill = Ornament(Fraction(0), 69, "trill", (67, 71))
    work = do_work(
        machine("tower_chimes"),
        replace(tune((69, "2"), (67, "2"), tempo=120.0, bars=1), ornaments=(trill,)),
        Wishes(transpose=0, tempo="100%", ornaments="all"),
    )
    assert (work.setting.small_kept, work.setting.small_total) == (10, 10)
    gaps = [b.onset_s - a.onset_s for a, b in zip(work.setting.notes, work.setting.notes[1:-1], strict=False)]
    assert all(abs(gap - 1 / 12) < 1e-9 for gap in gaps)
