"""Dynamics: which touch a note gets, that the notes stay what and when they are, and that all agree down to the packed roll.

The touches of the harbour carillon are 1, 0.7 and 0.4. What is wanted of each: by the beat 1, 0.8, 0.6 (docs/fitting.md), written its
velocity over 90; the nearest is worked out by hand.
"""

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jackrail.faults import BadInput
from jackrail.roll.dry_run import play_on_paper
from jackrail.roll.guard import guard_findings
from jackrail.setting.wishes import Wishes
from jackrail.tune.model import TuneNote
from jackrail.work import do_work
from workshop import changed, ensemble_of, examples, machine, tune, tunes

BELLS = "harbour_carillon"
EIGHTHS = tune(*[(72, "1/2"), (74, "1/2")] * 4, tempo=90.0, bars=1)
"""On the first beat, between, on a beat, between ..."""


def with_velocities(made, *velocities):
    return replace(made, notes=tuple(replace(note, velocity=velocity) for note, velocity in zip(made.notes, velocities, strict=True)))


def strengths(made, dynamics=None, name=BELLS):
    wishes = Wishes(transpose=0, tempo="100%") if dynamics is None else Wishes(transpose=0, tempo="100%", dynamics=dynamics)
    work = do_work(machine(name), made, wishes)
    assert [note.strength for note in work.setting.notes] == [note.strength for note in work.performance.notes]
    return [note.strength for note in work.setting.notes]


def test_even_strikes_fully():
    assert strengths(with_velocities(EIGHTHS, *range(10, 90, 10)), "even") == [1.0] * 8


def test_beats_follow_the_metre():
    """1 is the full blow; 0.8 is nearest to 0.7, and so is 0.6."""
    assert strengths(EIGHTHS, "beats") == [1.0] + [0.7] * 7
    softer = machine_with("strength = 0.7", "strength = 0.8")
    work = do_work(softer, EIGHTHS, Wishes(transpose=0, tempo="100%", dynamics="beats"))
    assert [note.strength for note in work.setting.notes] == [1.0] + [0.8] * 7  # 0.6 lies between 0.8 and 0.4: the harder


def machine_with(*change):
    return changed(BELLS, change)


def test_written_follows_the_velocities():
    # 127, 90, 77 -> 0.856 is nearer 1 (0.144) than 0.7 (0.156); 76 -> 0.844 nearer 0.7; 50 -> 0.556 nearer 0.7; 49 -> 0.544 nearer 0.4
    assert strengths(with_velocities(EIGHTHS, 127, 90, 77, 76, 50, 49, 36, 1)) == [1.0, 1.0, 1.0, 0.7, 0.7, 0.4, 0.4, 0.4]


def test_written_goes_by_the_beat_where_nothing_is_written():
    assert strengths(EIGHTHS, "written") == strengths(EIGHTHS, "beats") == strengths(EIGHTHS)
    assert strengths(with_velocities(EIGHTHS, None, 36, *[None] * 6)) == [1.0, 0.4] + [0.7] * 6


def test_a_machine_without_touches_strikes_fully():
    assert strengths(with_velocities(EIGHTHS, *[20] * 8), name="tower_chimes") == [1.0] * 8


def test_further_strokes_have_the_touch_of_their_note():
    made = with_velocities(tune((72, "4"), (74, "4"), tempo=60.0, bars=2), 36, 127)
    work = do_work(machine(BELLS), made, Wishes(transpose=0, tempo="100%", strokes="tremolo"))
    assert len(work.performance.notes) > 20
    assert {(note.midi, note.strength) for note in work.performance.notes} == {(72, 0.4), (74, 1.0)}


def test_a_word_that_is_none_is_refused():
    with pytest.raises(BadInput) as bad:
        Wishes(dynamics="loud")
    assert [fault.where for fault in bad.value.faults] == ["--dynamics"]


@st.composite
def loud_tunes(draw):
    made = draw(tunes(30))
    return replace(made, notes=tuple(replace(note, velocity=draw(st.none() | st.integers(1, 127))) for note in made.notes))


@examples(40)
@given(loud_tunes(), st.sampled_from(["beats", "written"]), st.sampled_from(["single", "tremolo"]))
def test_what_is_struck_softly_is_what_was_fitted_and_agrees_on_paper(made, dynamics, strokes):
    """The same notes at the same times as with every blow alike, no coil on twice, none too hot by more than without, the roll in time."""
    wishes = Wishes(transpose=0, strokes=strokes, dynamics=dynamics)
    work, even = (do_work(machine(BELLS), made, one) for one in (wishes, replace(wishes, dynamics="even")))
    plain = [replace(note, touch=0, strength=1.0) for note in work.setting.notes]
    assert plain == list(even.setting.notes)
    on_paper = play_on_paper(work.roll, work.numbering, ensemble_of(machine(BELLS)))
    for meant, found in zip(work.performance.notes, sorted(on_paper.notes, key=lambda note: note.onset_s), strict=True):
        assert abs(meant.onset_s - found.onset_s) < 0.0001
    by_voice = lambda notes: sorted((note.voice, round(note.onset_s, 3), note.strength) for note in notes)  # noqa: E731
    assert [one[::2] for one in by_voice(work.performance.notes)] == [one[::2] for one in by_voice(on_paper.notes)]
    codes = [finding.code for finding in guard_findings(work.roll, work.numbering, ensemble_of(machine(BELLS)))]
    assert set(codes) <= {finding.code for finding in even.findings}
    ends = {}
    for cue in work.cues:
        assert cue.time_s >= ends.get(cue.device, -1.0), "two blows of one coil overlap"
        coil = machine(BELLS).mechanism.coil(cue.device)
        ends[cue.device] = cue.time_s + cue.value + coil.release_s


def test_a_chord_of_soft_and_loud_notes():
    notes = tuple(TuneNote(Fraction(0), Fraction(2), key, velocity=velocity) for key, velocity in ((67, 36), (72, 60), (76, 110)))
    assert strengths(replace(EIGHTHS, notes=notes)) == [0.4, 0.7, 1.0]
