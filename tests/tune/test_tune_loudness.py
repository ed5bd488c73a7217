"""How loud notes are, from each notation. MIDI states it with its notes (MIDI 1.0); forte is 90, as MusicXML 4.0 counts.

The marks lie 15 apart about it: a choice of this program, so the tests take what it states for p, and that the marks rise.
"""

from itertools import pairwise

import abc_reading
import pytest
from midi_files import Q, note, track
from midi_reading import START
from midi_reading import read as read_midi
from musicxml_reading import BACKWARD, DIVISIONS, FORWARD, another, called, score
from musicxml_reading import note as head
from musicxml_reading import read as read_score

from jackrail.setting.repeats import alike_groups
from jackrail.tune.loudness import FORTE, VELOCITIES, velocity_of_share
from jackrail.tune.model import TuneNote
from jackrail.tune.read import read_tune

P, MF, F = VELOCITIES["p"], VELOCITIES["mf"], VELOCITIES["f"]


def loud(tune):
    return [one.velocity for one in tune.notes]


def direction(inside, more=""):
    return f"<direction><direction-type>{inside}</direction-type>{more}</direction>"


def mark(name, more=""):
    return direction(f"<dynamics><{name}/></dynamics>", more)


def test_the_marks_rise_and_forte_is_ninety():
    assert VELOCITIES["f"] == FORTE == 90
    assert all(softer < louder for softer, louder in pairwise(VELOCITIES.values()))
    assert (velocity_of_share(100), velocity_of_share(50), velocity_of_share(0), velocity_of_share(1000)) == (90, 45, 1, 127)


def test_velocities_make_no_note_another():
    assert TuneNote(0, 1, 60, velocity=20) == TuneNote(0, 1, 60)
    assert len({TuneNote(0, 1, 60, velocity=20), TuneNote(0, 1, 60, velocity=90)}) == 1


def test_midi_notes_have_the_velocity_of_their_strike():
    made = read_midi(track(START, note(0, Q, 60, velocity=33), note(Q, 2 * Q, 60, velocity=127), note(2 * Q, 3 * Q, 62, velocity=1)))
    assert loud(made) == [33, 127, 1]


def test_a_midi_file_of_one_velocity_says_nothing():
    assert loud(read_midi(track(START, note(0, Q, 60), note(Q, 2 * Q, 62)))) == [None, None]


def test_the_highest_line_and_quantised_notes_keep_their_velocities():
    low = [note(n * Q, (n + 1) * Q, 40, velocity=10 + n) for n in range(4)]
    high = [note(n * Q + 5, (n + 1) * Q, 72 + n, velocity=80 + n) for n in range(4)]
    made = read_midi(track(START, *low, *high), quantise=1.0)
    assert [(one.midi, one.velocity) for one in made.notes] == [(72, 80), (73, 81), (74, 82), (75, 83)]


def test_abc_marks_hold_from_their_note_on():
    assert loud(abc_reading.read("A !p!B c | !f!d e !mf!f |]", metre="3/4")) == [None, P, P, F, F, MF]


@pytest.mark.parametrize("name", VELOCITIES)
def test_every_mark_of_abc_is_read(name):
    made = abc_reading.read(f"!{name}!A B|]", metre="2/4")
    assert loud(made) == [VELOCITIES[name]] * 2
    assert made.warnings == ()


def test_abc_marks_are_as_on_paper_in_repeats_and_for_their_voice_alone():
    assert loud(abc_reading.read("|: A !p!B :| !f!c d |]", metre="2/4")) == [None, P, None, P, F, F]
    made = abc_reading.read("V:1\n!f!A B|]\nV:2\nC !p!D|]", metre="2/4")
    assert [(one.midi, one.velocity) for one in made.notes] == [(60, None), (69, F), (62, P), (71, F)]


def test_abc_marks_on_a_symbol_line_and_in_old_plus_signs():
    assert loud(abc_reading.read("A B c|]\ns: * !p! !f!", metre="3/4")) == [None, P, F]
    assert loud(abc_reading.read("+f+A B|]", metre="2/4")) == [F, F]


def test_a_tied_note_is_as_loud_as_its_beginning():
    assert loud(abc_reading.read("!p!A-|!f!A B|]", metre="2/4", unit="1/4")) == [P, F]


def test_abc_hairpins_are_told():
    made = abc_reading.read("!p!A !<(!B c !<)!d|]")
    assert any("hairpins are not played" in remark for remark in made.remarks)
    assert loud(made) == [P] * 4


def test_musicxml_marks_hold_for_the_part_from_where_they_stand():
    data = score(DIVISIONS + head("C", 2) + mark("p") + head("D", 2), head("E", 2) + mark("f") + head("F", 2))
    assert loud(read_score(data)) == [None, P, P, F]


def test_musicxml_marks_hold_for_all_voices_and_written_behind_a_backup():
    data = score(DIVISIONS + head("C", 2) + head("D", 2) + "<backup><duration>2</duration></backup>" + mark("p"), head("E"))
    assert loud(read_score(data)) == [None, P, P]


def test_what_a_sound_says_counts_before_the_mark_beside_it():
    data = score(DIVISIONS + mark("p", '<sound dynamics="100"/>') + head("C", 2) + '<sound dynamics="50"/>' + head("D", 2))
    assert loud(read_score(data)) == [90, 45]


def test_a_note_may_say_itself_how_loud_it_is():
    data = score(DIVISIONS + mark("p") + head("C", 2) + head("D", 2).replace("<note>", '<note dynamics="120.5">'))
    assert loud(read_score(data)) == [P, 108]  # 0.9 x 120.5 = 108.45


def test_musicxml_marks_are_as_on_paper_in_repeats():
    data = score(DIVISIONS + FORWARD + head("C", 2) + mark("p") + head("D", 2) + BACKWARD, mark("f") + head("E"))
    assert loud(read_score(data)) == [None, P, None, P, F]


def test_loudness_is_read_where_another_part_has_the_form():
    """The part read says nothing of tempo or repeats, which are taken from another; its loudness is its own, not the other's."""
    other = another("P2", DIVISIONS + '<sound tempo="80"/>' + mark("f") + head("C", octave=3))
    data = score(DIVISIONS + mark("p") + head("C", 2) + head("D", 2), parts=other, names=called("P2", "Bass"))
    assert loud(read_score(data)) == [P, P]


def test_musicxml_hairpins_are_told_and_other_signs_change_nothing():
    data = score(
        DIVISIONS + mark("sfz") + direction('<wedge type="crescendo"/>') + head("C", 2) + direction('<wedge type="stop"/>') + head("D", 2)
    )
    made = read_score(data)
    assert loud(made) == [None, None]
    assert sum("hairpins" in remark for remark in made.remarks) == 1


def test_velocities_stand_in_the_json_only_where_there_are_any(tmp_path):
    for name, music, found in (("soft", "A !p!B", [None, P]), ("plain", "A B", None)):
        path = tmp_path / f"{name}.abc"
        path.write_text(f"X:1\nT:t\nM:2/4\nL:1/4\nK:C\n{music}|]\n", "utf-8")
        told = read_tune(path).to_json()
        assert told.get("velocities") == found
        assert all(len(row) == 3 for row in told["notes"])


def test_a_repeat_that_is_softer_is_still_a_repeat():
    music = "A B c d | e f g a | !p!A B c d | e f g a |]"
    assert alike_groups(abc_reading.read(music)) == alike_groups(abc_reading.read(music.replace("!p!", ""))) != []
