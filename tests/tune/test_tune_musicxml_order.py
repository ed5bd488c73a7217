"""Playing order of MusicXML 4.0: elements repeat, ending and sound, and words where there is no <sound> (reference from memory)."""

import pytest
from musicxml_reading import BACKWARD, DIVISIONS, FORWARD, another, ending, heads, letters, note, read, rest, said, score, sound, words

from jackrail.faults import BadInput

AGAIN = '<repeat direction="backward"/>'


def test_endings_with_lists_of_passes():
    first = ending("1,2", "start") + note("D") + ending("1,2", "stop", AGAIN)
    assert letters(DIVISIONS + FORWARD + note("C"), first, ending("3", "start") + note("E") + ending("3", "discontinue")) == "CDCDCE"
    first = ending("1, 3", "start") + note("D") + ending("1, 3", "stop", AGAIN)
    second = ending("2", "start") + note("E") + ending("2", "stop", AGAIN)
    assert letters(DIVISIONS + FORWARD + note("C"), first, second, note("F")) == "CDCECDF"


def test_two_repeats_without_a_beginning():
    assert letters(DIVISIONS + note("C"), note("D") + BACKWARD, note("E") + BACKWARD) == "CDCDEE"


def test_an_ending_over_two_bars():
    last = note("E") + ending("1", "stop", AGAIN)
    second = ending("2", "start") + note("F") + ending("2", "stop")
    assert letters(DIVISIONS + FORWARD + note("C"), ending("1", "start") + note("D"), last, second, note("G")) == "CDECFG"


def test_an_ending_that_closes_before_its_repeat_sign_reaches_it():
    closed = ending("1", "start") + note("D") + ending("1", "stop")
    bars = [DIVISIONS + FORWARD + note("C"), closed, note("E") + BACKWARD, ending("2", "start") + note("F") + ending("2", "discontinue")]
    assert letters(*bars) == "CDECF"
    assert "an ending that closes before its repeat sign is taken up to it: bar 3" in said(score(*bars))


def test_an_ending_that_never_closes_ends_at_the_next_repeat():
    opened = '<barline location="left"><ending number="2" type="start"/></barline>'
    first = ending("1", "start") + note("D") + ending("1", "stop", AGAIN)
    bars = [DIVISIONS + FORWARD + note("C"), first, opened + note("E"), FORWARD + note("F"), note("G") + BACKWARD]
    assert letters(*bars) == "CDCEFGFG"
    assert "an ending has no end of its own: it ends before the measure with the repeat sign: measure 4" in said(score(*bars))


def test_an_ending_that_never_began_is_told():
    bars = [DIVISIONS + FORWARD + note("C"), note("D") + ending("", "stop", AGAIN), ending("2", "start") + note("E")]
    assert letters(*bars) == "CDCDE"
    assert "the ending that closes at part 1 (Fiddle) measure 2 has no beginning: what stands before it is played each time" in said(
        score(*bars)
    )


def test_an_ending_without_a_number_takes_the_next_one():
    # ending-number: blanks are for "when software knows that an ending is present, but cannot determine the type".
    first = ending("1", "start") + note("D") + ending("1", "stop", AGAIN)
    bars = [DIVISIONS + FORWARD + note("C"), first, ending(" ", "start") + note("E") + ending(" ", "discontinue")]
    assert letters(*bars) == "CDCE"
    assert "has no number: it is taken as ending 2" in said(score(*bars))


def test_a_forward_repeat_on_the_right_is_for_the_next_bar():
    right = '<barline location="right"><repeat direction="forward"/></barline>'
    assert letters(DIVISIONS + note("C") + right, note("D"), note("E") + BACKWARD) == "CDEDE"


def test_a_backward_repeat_on_the_left_is_for_the_bar_before():
    left = '<barline location="left"><repeat direction="backward"/></barline>'
    assert letters(DIVISIONS + note("C"), left + note("D")) == "CCD"
    assert "nothing to repeat" in said(score(DIVISIONS + left + note("C")))


def test_a_bar_line_without_a_location_stands_where_it_stands():
    assert letters(DIVISIONS + note("C"), '<barline><repeat direction="forward"/></barline>' + note("D"), note("E") + BACKWARD) == "CDEDE"


def test_an_implied_forward_repeat():
    # sound forward-repeat: "indicates that a forward repeat sign is implied but not displayed".
    assert letters(DIVISIONS + note("C"), sound(forward_repeat="yes") + note("D"), note("E") + BACKWARD) == "CDEDE"


def test_times():
    three = BACKWARD.replace('"backward"', '"backward" times="3"')
    assert letters(DIVISIONS + note("C") + three) == "CCC"


JUMPS = [
    (["", sound(fine="yes"), sound(dacapo="yes")], "CDECD"),
    (["^" + sound(segno="a"), "", sound(dalsegno="a")], "CDECDE"),
    (["", "^" + sound(segno="a"), sound(dalsegno="a")], "CDEDE"),
    ([sound(tocoda="c"), sound(dacapo="yes"), "^" + sound(coda="c")], "CDCE"),
    (["", words("Fine"), words("D.C. al Fine")], "CDECD"),
    ([words("To Coda"), words("D.C. al Coda"), "^" + words("Coda")], "CDCE"),
    (["", "^" + words("", "<direction-type><segno/></direction-type>"), words("D.S.")], "CDEDE"),
    ([sound(tocoda="c"), sound(dacapo="no"), ""], "CDE"),
]  # fmt: skip


@pytest.mark.parametrize("marks, order", JUMPS)
def test_jumps(marks, order):
    """A mark that begins with "^" stands before the note of its measure, the others after it."""
    bars = [mark[1:] + note(step) if mark.startswith("^") else note(step) + mark for mark, step in zip(marks, "CDE", strict=True)]
    assert letters(DIVISIONS + bars[0], *bars[1:]) == order


def test_what_sound_says_and_what_words_add():
    both = '<direction><direction-type><words>D.C. al Coda</words></direction-type><sound dacapo="yes"/></direction>'
    # Fine in bar 1 is not for a D.C. al Coda.
    bars = [note("C") + sound(fine="yes"), note("D") + sound(tocoda="c"), note("E") + both, sound(coda="c") + note("F")]
    assert letters(DIVISIONS + bars[0], *bars[1:]) == "CDECDF"


def test_words_that_contradict_the_sound():
    both = '<direction><direction-type><words>D.S. al Fine</words></direction-type><sound dacapo="yes"/></direction>'
    bars = [DIVISIONS + note("C"), sound(segno="s") + note("D"), note("E") + both]
    assert letters(*bars) == "CDECDE"
    assert "the <sound> is followed" in said(score(*bars))


def test_a_coda_sign_drawn_beside_words():
    sign = "<direction-type><coda/></direction-type>"
    bars = [note("C") + words("To", sign), note("D") + words("D.C. al", sign), words("", sign) + note("E")]
    assert letters(DIVISIONS + bars[0], *bars[1:]) == "CDCE"


def test_a_segno_at_the_end_of_a_measure_is_for_the_next():
    bars = [DIVISIONS + note("C") + sound(segno="s"), note("D"), note("E") + sound(dalsegno="s")]
    assert letters(*bars) == "CDEDE"
    assert "a segno at the end of a measure is taken for the beginning of the next: measure 1" in said(score(*bars))


def test_a_segno_drawn_on_a_bar_line():
    right = '<barline location="right"><segno/></barline>'
    assert letters(DIVISIONS + note("C") + right, note("D"), note("E") + sound(dalsegno="")) == "CDEDE"


def test_a_jump_for_some_passes_only():
    # sound time-only: "which times to play the sound element during a repeated section"; here after the second playing.
    bars = [DIVISIONS + FORWARD + note("C"), note("D") + sound(dacapo="yes", time_only="2") + BACKWARD, note("E")]
    assert letters(*bars) == "CDCDCDE"


def test_a_repeat_taken_after_a_jump_too():
    # repeat after-jump: "whether or not the repeat is taken after a jump".
    taken = BACKWARD.replace('"backward"', '"backward" after-jump="yes"')
    bars = [DIVISIONS + note("C") + taken, note("D") + sound(fine="yes"), note("E") + sound(dacapo="yes")]
    assert letters(*bars) == "CCDECCD"


def test_a_jump_at_the_beginning_of_a_measure_is_said():
    bars = [DIVISIONS + note("C"), sound(dacapo="yes") + note("D")]
    assert letters(*bars) == "CDCD"
    assert "a jump or Fine stands at the beginning of a bar, which is played before it is taken: measure 2" in said(score(*bars))


def test_a_last_note_of_another_length_at_fine():
    bars = [DIVISIONS + note("C") + sound(fine="8"), note("D") + sound(dacapo="yes")]
    assert "the last note is meant to last 4 quarters" in said(score(*bars))
    assert "meant to last" not in said(score(DIVISIONS + note("C") + sound(fine="4"), note("D") + sound(dacapo="yes")))


def test_repeats_written_in_one_part_only():
    second = another("P2", DIVISIONS + note("G") + BACKWARD, note("A"))
    data = score(DIVISIONS + note("C"), note("D"), parts=second)
    assert [midi for _, _, midi in heads(data)] == [72, 72, 74]
    assert "repeats and jumps were taken from part 2 (P2)" in said(data)


REPEATED = '<attributes><measure-style><measure-repeat type="{}">{}</measure-repeat></measure-style></attributes>'


def test_signs_for_a_repeated_bar_are_played_out():
    # measure-repeat: its text is the number of measures in the pattern; stop stands in the first measure that is none.
    bars = [DIVISIONS + note("C"), REPEATED.format("start", 1) + rest(), rest(), REPEATED.format("stop", "") + note("D")]
    assert letters(*bars) == "CCCD"
    bars = [DIVISIONS + note("C"), note("D"), REPEATED.format("start", 2) + rest(), rest(), REPEATED.format("stop", "") + note("E")]
    assert letters(*bars) == "CDCDE"
    assert "signs for a repeated bar are played out, with its chord symbols: measure 3, measure 4" in said(score(*bars))


def test_a_repeated_bar_that_has_its_notes_is_read_as_it_is():
    assert letters(DIVISIONS + note("C"), REPEATED.format("start", 1) + note("D")) == "CD"


def test_signs_for_far_too_many_notes_are_refused():
    many = "".join(note("C", 1) for _ in range(100))
    with pytest.raises(BadInput, match="far too many notes"):
        letters(DIVISIONS + many, *[REPEATED.format("start", 1) + rest(100)] * 300)


def test_a_to_coda_at_the_beginning_of_a_measure_is_where_to_leave():
    # MusicXML 4.0 <sound> tocoda: where the jump forward goes off; a measure that begins there is not played (common practice).
    bars = [DIVISIONS + note("C"), sound(tocoda="x") + note("D"), note("E") + sound(dacapo="yes"), sound(coda="x") + note("F")]
    assert letters(*bars) == "CDECF"
    assert "To Coda stands at the beginning of bar 2: this bar is left out after the jump" in said(score(*bars))
    bars[1] = note("D") + sound(tocoda="x")
    assert letters(*bars) == "CDECDF"


def test_a_score_of_which_no_bar_is_played_is_refused():
    with pytest.raises(BadInput, match="no bar of the tune is ever played"):
        read(score(DIVISIONS + ending("2", "start") + note("C") + sound(dacapo="yes") + ending("2", "stop")))
