"""Form and tempo of a score, which hold for all its parts whichever is read.

MusicXML 4.0 (from memory): a score has one sequence of measures, and <sound> is no part's own; that parts are played together in one
order is common practice, no source. Each answer is worked out by hand.
"""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from judges.corpus import corpus, scores
from musicxml_reading import BACKWARD, DIVISIONS, FORWARD, another, called, ending, note, read, score, sound, words

from jackrail.tune.model import Tune
from jackrail.tune.musicxml.file import open_musicxml
from jackrail.tune.musicxml.form import read_with_form
from jackrail.tune.musicxml.parts import parts_of
from jackrail.tune.musicxml.reading import Line
from jackrail.tune.score.written import Notes

SEGNO, CODA = (f"<direction><direction-type><{sign}/></direction-type></direction>" for sign in ("segno", "coda"))
CDE = [DIVISIONS + note("C"), note("D"), note("E")]


def duo(upper: list[str], lower: list[str]) -> bytes:
    return score(*upper, parts=another("P2", *lower), names=called("P2", "Guitar"))


def order(tune: Tune) -> list[int]:
    return [bar.number for bar in tune.bars]


def tempos(tune: Tune) -> list[tuple[float, float]]:
    return [(float(mark.onset_q), mark.quarters_per_minute) for mark in tune.tempo]


def test_words_and_drawn_signs_over_the_other_part_are_followed():
    lower = [DIVISIONS + note("C"), SEGNO + note("D") + words("Fine"), note("E") + words("D.S. al Fine")]
    for part in (1, 2):
        tune = read(duo(CDE, lower), part)
        assert order(tune) == [1, 2, 3, 2]
        assert 'the words "D.S. al Fine" are followed as the sign they stand for' in tune.remarks
    assert "repeats and jumps were taken from part 2 (Guitar)" in read(duo(CDE, lower), 1).remarks
    assert not any("taken from" in told for told in read(duo(CDE, lower), 2).remarks)


def test_the_way_to_a_drawn_coda_over_the_other_part():
    # "To" beside the sign is the place to leave, the sign alone the coda: bars 1 2, 1, coda 3.
    to_coda = f"<direction><direction-type><words>To</words></direction-type>{CODA[len('<direction>') :]}"
    lower = [DIVISIONS + note("C") + to_coda, note("D") + words("D.C. al Coda"), CODA + note("E")]
    assert [order(read(duo(CDE, lower), part)) for part in (1, 2)] == [[1, 2, 1, 3]] * 2


def test_a_tempo_word_over_the_other_part_holds():
    lower = [words("Lento") + DIVISIONS + note("C"), note("D"), note("E")]
    for part in (1, 2):
        tune = read(duo(CDE, lower), part)
        assert tempos(tune) == [(0, 56)]  # score/tempo_words.py
        assert 'the tempo word "Lento" is taken as 56 quarter notes a minute: bar 1' in tune.warnings
    assert "the tempo was taken from part 2 (Guitar)" in read(duo(CDE, lower), 1).remarks


def test_a_number_over_one_part_counts_before_a_word_over_the_other():
    upper = [words("Allegro") + CDE[0], *CDE[1:]]
    data = duo(upper, [DIVISIONS + note("C", 2) + sound(tempo="100") + note("C", 2), note("D"), note("E")])
    for part in (1, 2):
        tune = read(data, part)
        assert tempos(tune) == [(0, 100)]
        assert 'the tempo word "Allegro" over part 1 (Fiddle) is left out beside the tempo over another part: bar 1' in tune.warnings


def test_tempo_marks_of_both_parts_are_put_together():
    data = duo([sound(tempo="100") + CDE[0], *CDE[1:]], [DIVISIONS + note("C"), sound(tempo="80") + note("D"), note("E")])
    assert [tempos(read(data, part)) for part in (1, 2)] == [[(0, 100), (2, 80)]] * 2


def test_a_relation_counts_from_the_tempo_that_the_other_part_has():
    # The old half note is the new quarter: 100 quarters were 50 halves a minute, so 50 quarters.
    relation = "<metronome><beat-unit>half</beat-unit><beat-unit>quarter</beat-unit></metronome>"
    slower = f"<direction><direction-type>{relation}</direction-type></direction>"
    data = duo([sound(tempo="100") + CDE[0], *CDE[1:]], [DIVISIONS + note("C"), note("D"), slower + note("E")])
    assert [tempos(read(data, part)) for part in (1, 2)] == [[(0, 100), (4, 50)]] * 2


def test_parts_that_contradict_each_other():
    three = BACKWARD.replace('"backward"', '"backward" times="3"')
    upper = [DIVISIONS + sound(tempo="90") + note("C") + BACKWARD, *CDE[1:]]
    data = duo(upper, [DIVISIONS + sound(tempo="100") + note("C") + three, note("D"), note("E")])
    for part in (1, 2):
        tune = read(data, part)
        assert (order(tune), tempos(tune)) == ([1, 1, 2, 3], [(0, 90)])
        assert "part 2 (Guitar) contradicts part 1 (Fiddle) about repeats or jumps: the first of them holds: measure 1" in tune.warnings
        assert "part 2 (Guitar) contradicts part 1 (Fiddle) about the tempo: the first of them holds: measure 1" in tune.warnings


def test_a_jump_in_one_part_and_how_far_it_goes_in_the_other():
    upper = [DIVISIONS + note("C") + words("Fine"), note("D"), note("E") + sound(dacapo="yes")]
    data = duo(upper, [DIVISIONS + note("C"), note("D"), note("E") + words("D.C. al Fine")])
    for part in (1, 2):
        assert order(read(data, part)) == [1, 2, 3, 1]
        assert not any("contradicts" in told for told in read(data, part).warnings)


def test_endings_over_the_other_part():
    lower = [DIVISIONS + FORWARD + note("C"), ending("1", "start") + note("D") + ending("1", "stop", '<repeat direction="backward"/>'),
             ending("2", "start") + note("E") + ending("2", "stop")]  # fmt: skip
    assert [order(read(duo(CDE, lower), part)) for part in (1, 2)] == [[1, 2, 1, 3]] * 2


def test_a_part_that_cannot_be_read_is_named():
    data = duo(CDE, [note("C") + BACKWARD, note("D"), note("E")])
    tune = read(data, 1)
    assert order(tune) == [1, 2, 3]
    told = "part 2 (Guitar) cannot be read (a length stands before any <divisions>): what it says for all parts is left out"
    assert told in tune.warnings


def test_a_part_that_is_shorter_than_another_is_named():
    data = duo([*CDE, note("F")], CDE)
    assert "part 2 (Guitar) is shorter than part 1 (Fiddle): it ends after measure 3" in read(data, 2).warnings
    assert not any("shorter" in told for told in read(data, 1).warnings)


STEERING = (
    "repeat_start", "repeat_end", "after_jump", "ending", "ending_start", "segno", "coda", "coda_q", "to_coda", "fine_q", "jump",
    "jump_label", "jump_on", "until", "tempo",
)  # fmt: skip
MARKS = [
    "", "", "", BACKWARD, BACKWARD.replace('"backward"', '"backward" times="3"'), words("Fine"), words("D.C. al Fine"), SEGNO,
    words("D.S."), CODA, words("To Coda"), words("D.C. al Coda"), sound(dacapo="yes"), sound(tempo="90"), sound(tempo="70"),
    words("Lento"), words("Allegro"), ending("1", "start"), ending("1", "stop", '<repeat direction="backward"/>'),
    ending("2", "start"),
]  # fmt: skip


def signs(data: bytes, part: int) -> list[object]:
    """All that steers the playing, measure by measure, as it holds for a part."""
    parts = parts_of(open_musicxml(data)[0])
    bars = read_with_form(parts[part - 1], parts, Line(), Notes()).bars
    return [[getattr(bar, name) for name in STEERING] for bar in bars]


@settings(max_examples=300, deadline=None)
@given(st.lists(st.lists(st.sampled_from(MARKS), min_size=5, max_size=5), min_size=2, max_size=4))
def test_the_same_signs_hold_for_every_part(parts):
    """Wherever the marks stand, and even where they contradict each other."""
    written = [[(DIVISIONS if not index else "") + note("C") + mark for index, mark in enumerate(marks)] for marks in parts]
    others = "".join(another(f"P{number}", *measures) for number, measures in enumerate(written[1:], 2))
    data = score(*written[0], parts=others)
    first = signs(data, 1)
    assert all(signs(data, number) == first for number in range(2, len(parts) + 1))


# Scores of the corpus in the music21 package with repeats or tempo over some of their parts only; then some drawn at random.
CORPUS = ["handel/rinaldo/Lascia_chio_pianga.mxl", "liliuokalani/aloha_oe.mxl", "corelli/opus3no1/1grave.xml",
          "mozart/k458/movement2.mxl", "haydn/opus74no1/movement3.mxl"]  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize("name", [*CORPUS, *(name for name, _ in scores(30, 5)[-30:])])
def test_every_part_of_a_real_score_is_played_in_one_order_at_one_tempo(name):
    data = (corpus() / name).read_bytes()
    numbers = [part.number for part in parts_of(open_musicxml(data)[0]) if part.sounding]
    tunes = [read(data, number) for number in numbers[:6]]
    assert len(tunes) > 1 or name not in CORPUS
    assert len({tuple((bar.number, bar.time) for bar in tune.bars) for tune in tunes}) == 1
    assert len({tuple(mark.quarters_per_minute for mark in tune.tempo) for tune in tunes}) == 1
