"""ABC 2.1 by section: each case with the answer the standard gives."""

from fractions import Fraction

import pytest
from abc_reading import heads, keys, read, told

from jackrail.faults import BadInput
from jackrail.tune.abc.fields import default_unit, read_key, read_metre, read_parts, read_tempo, read_unit
from jackrail.tune.abc.pitching import FieldError
from jackrail.tune.abc.reader import read_abc
from jackrail.tune.abc.text import split_tunes


# Section 3.1.7: no L:, the metre as a decimal below 0.75 gives a sixteenth, else an eighth; free metre an eighth.
@pytest.mark.parametrize(
    ("metre", "unit_q"), [("2/4", 0.25), ("3/4", 0.5), ("6/8", 0.5), ("4/4", 0.5), ("C", 0.5), ("C|", 0.5), ("none", 0.5), ("3/8", 0.25)]
)
def test_default_note_length(metre, unit_q):
    assert float(default_unit(read_metre(metre))) == unit_q


def test_default_note_length_stays_when_the_metre_changes():
    tune = read_abc(split_tunes("X:1\nM:4/4\nK:C\nC8|[M:2/4]C4|]\n")[0])
    assert [float(note.duration_q) for note in tune.notes] == [4, 2]


# Section 3.1.14, the table of key signatures: each of these has the accidentals of the same line.
@pytest.mark.parametrize(
    ("text", "sharps"),
    [
        ("C#", 7),
        ("A#m", 7),
        ("G#Mix", 7),
        ("D#Dor", 7),
        ("E#Phr", 7),
        ("F#Lyd", 7),
        ("B#Loc", 7),
        ("G", 1),
        ("Em", 1),
        ("DMix", 1),
        ("ADor", 1),
        ("BPhr", 1),
        ("CLyd", 1),
        ("F#Loc", 1),
        ("F", -1),
        ("Dm", -1),
        ("CMix", -1),
        ("GDor", -1),
        ("APhr", -1),
        ("BbLyd", -1),
        ("ELoc", -1),
        ("Cb", -7),
        ("Abm", -7),
        ("GbMix", -7),
        ("DbDor", -7),
        ("EbPhr", -7),
        ("FbLyd", -7),
        ("BbLoc", -7),
        ("A minor", 0),
        ("D dorian", 0),
        ("Gmajor", 1),
        ("AION", 3),
        ("d", None),
    ],
)
def test_key_signatures(text, sharps):
    if sharps is None:
        with pytest.raises(FieldError):
            read_key(text)
        return
    key = read_key(text)[0]
    assert key.sharps == sharps
    assert len(key.alterations) == abs(sharps)


def test_keys_with_accidentals_of_their_own():
    assert keys("C F c f", "D Phr ^f") == [60, 66, 72, 78]  # two flats and, as the standard's example has it, F sharp
    assert keys("C F B", "D exp _b _e ^f") == [60, 66, 70]
    assert keys("C F B", "none") == [60, 65, 71]
    # "K:<tonic> <mode> <accidentals>", here without the blanks: D mixolydian has F sharp and C natural anyway.
    assert keys("C F B", "Dmix_B") == keys("C F B", "D mix _B") == [60, 66, 70]
    assert keys("C F B", "Dmix=c^f") == keys("C F B", "D=c") == [60, 66, 71]
    assert keys("E B", "C m=d") == keys("E B", "C middle=d") == [64, 71]  # section 4.6: m= is middle=, not C minor
    assert keys("C F", "C middle=d") == keys("C F", "C m=d stafflines=5 mozart:noteC=snare") == [60, 65]
    assert keys("C F", "C octave=-1") == [48, 53]
    assert keys("C F", "C transpose=-2") == [58, 63]
    assert keys("C F", "C treble-8") == [48, 53]  # section 4.6: the player transposes by the octave
    assert keys("C F", "D transpose=-2") == [59, 64]
    # The draft of ABC 2.2, section 4.6: shift= and sound= move what sounds from the first note to the second.
    assert keys("C F", "C shift=CD") == keys("C F", "C sound=CD") == [62, 67]
    assert keys("C F", "C shift=c_B") == [58, 63]
    assert keys("C F", "D score=CD") == [61, 66]
    assert keys("C F", "G treble") == keys("C F", "G clef=bass") == keys("C F", "Gmaj treble") == [60, 66]


@pytest.mark.parametrize(
    ("text", "rate"), [("1/4=120", 120), ("3/8=50", 75), ('"Slow" 1/2=40', 80), ("1/4 3/8 1/4 3/8=40", 200), ("120", 60)]
)
def test_tempo(text, rate):
    # Section 3.1.8, the third example being one of its own; a bare number counts unit lengths (section 10), here eighths.
    assert read_tempo(text, Fraction(1, 2)) == rate


def read_tempo_of_eighths(text):
    return read_tempo(text, Fraction(1, 2))


@pytest.mark.parametrize(
    ("reader", "text"),
    [
        (read_metre, "4/0"),
        (read_metre, "4/3"),
        (read_metre, "x"),
        (read_unit, "1/0"),
        (read_unit, "8"),
        (read_parts, "(AB"),
        (read_parts, "A)B"),
        (read_parts, "A111"),
        (read_parts, "A" * 501),
        (read_tempo_of_eighths, "1/4 " * 9 + "=60"),
    ],
)
def test_fields_that_make_no_sense_are_refused(reader, text):
    with pytest.raises(FieldError):
        reader(text)


@pytest.mark.parametrize(
    ("text", "metre", "rate", "said"),
    [
        ('"Allegro"', "4/4", 144, 'the tempo "Allegro" has no number: 144 beats a minute of one quarter are taken'),
        ("Andante con moto", "6/8", 138, 'the tempo "Andante con moto" has no number: 92 beats a minute of 3/2 quarters are taken'),
        ('"Fast"', "4/4", 120, "the tempo 'Fast' has no number: 120 quarter notes a minute are taken"),
    ],
)
def test_a_tempo_in_words(text, metre, rate, said):
    # Section 3.1.8 allows a string without a number. The numbers are those of score/tempo_words.py, times the felt beat.
    tune = read("C|]", metre=metre, tempo=text)
    assert said in told(tune)
    assert tune.seconds_at(Fraction(1)) == pytest.approx(60 / rate)


def test_metres_that_are_sums():
    assert read_metre("(2+3+2)/8") == (7, 8)
    assert read_metre("2+3/8") == (5, 8)


def test_lengths():
    # Section 4.3: A2 twice, A/2 and A/ half, A// a quarter, A3/2.
    assert [duration for _, duration, _ in heads(read("A2 A/2 A/ A// A3/2 A3/|]", metre="none"))] == [2, 0.5, 0.5, 0.25, 1.5, 1.5]


def test_broken_rhythm():
    # Section 4.4: a>b is a dotted, b halved; >> double dotted, >>> treble dotted.
    got = [duration for _, duration, _ in heads(read("A>B A<B A>>B A<<B A>>>B|]", metre="none"))]
    assert got == [1.5, 0.5, 0.5, 1.5, 1.75, 0.25, 0.25, 1.75, 1.875, 0.125]
    assert [onset for onset, _, _ in heads(read("A>B c|]", metre="none"))] == [0, 1.5, 2]


@pytest.mark.parametrize(
    ("sign", "metre", "ratio"),
    [
        ("(2", "6/8", 3 / 2),
        ("(3", "4/4", 2 / 3),
        ("(4", "6/8", 3 / 4),
        ("(5", "4/4", 2 / 5),
        ("(5", "6/8", 3 / 5),
        ("(6", "4/4", 2 / 6),
        ("(7", "9/8", 3 / 7),
        ("(8", "4/4", 3 / 8),
        ("(9", "4/4", 2 / 9),
    ],
)
def test_tuplets(sign, metre, ratio):
    # Section 4.13: q is 3, 2, 3, n, 2, n, 3, n for p = 2 to 9, n being 3 in compound metres and 2 in others.
    count = int(sign[1])
    tune = read(sign + "C" * count + "D|]", metre=metre)
    assert [round(float(note.duration_q), 6) for note in tune.notes] == pytest.approx([ratio] * count + [1], abs=1e-6)


def test_tuplets_in_full():
    assert [d for _, d, _ in heads(read("(5:4:6CDEFGA B|]", metre="none"))] == pytest.approx([4 / 5] * 6 + [1], abs=1e-4)
    assert [d for _, d, _ in heads(read("(12:8:2CD E|]", metre="none"))] == pytest.approx([2 / 3] * 2 + [1], abs=1e-4)
    over_the_bar_line = read("C D E(3F|GA B c d|]").notes[3:6]
    assert [(note.onset_q, note.duration_q) for note in over_the_bar_line] == [(3 + n * Fraction(2, 3), Fraction(2, 3)) for n in range(3)]
    assert [d for _, d, _ in heads(read("(3:2:4CDEF G|]", metre="none"))] == pytest.approx([2 / 3] * 4 + [1], abs=1e-4)
    assert [d for _, d, _ in heads(read("(3::2CD G|]", metre="none"))] == pytest.approx([2 / 3] * 2 + [1], abs=1e-4)


def test_accidentals_hold_to_the_end_of_the_bar_and_over_a_tie():
    assert keys("^F F|F2|]") == [66, 66, 65]
    assert keys("^F-|F F|]") == [66, 65]
    assert keys("[^F-A-]|[FA] F|]") == [66, 69, 65]
    assert keys("[^FA]-|[FA] F|]") == [66, 69, 65]
    assert keys("^F-|{F}F F|]") == [66, 65]
    assert keys("=F F|F|]", "G") == [65, 65, 66]
    assert keys("^^F __B|]") == [67, 69]


def test_accidentals_in_other_octaves():
    # Section 11.3: the default is pitch, that is all octaves; octave and not can be asked for.
    assert keys("^F f F|]") == [66, 78, 66]
    assert keys("^F f F|]", header="I:propagate-accidentals octave\n") == [66, 77, 66]
    assert keys("^F f F|]", header="%%propagate-accidentals not\n") == [66, 77, 65]
    assert any("carried into another octave" in warning for warning in read("^F f|]").warnings)


def test_chords_and_their_lengths():
    # Section 4.17: a length behind the chord multiplies those inside; the first note tells how long the chord lasts.
    assert heads(read("[C2E2]3 G|]", metre="none")) == [(0, 6, 60), (0, 6, 64), (6, 1, 67)]
    assert heads(read("[C2E] G|]", metre="none")) == [(0, 2, 60), (0, 1, 64), (2, 1, 67)]


def test_a_tie_inside_a_chord_holds_its_own_note():
    # Section 4.17: a chord takes the same postfixes as a note; section 4.20: the tie stands right after what it ties.
    assert heads(read("[C2-E2] [C2E2]|]")) == [(0, 4, 60), (0, 2, 64), (2, 2, 64)]
    assert heads(read("[C2E2]- [C2E2]|]")) == [(0, 4, 60), (0, 4, 64)]
    assert heads(read("[C2E2-] C E|]")) == [(0, 2, 60), (0, 2, 64), (2, 1, 60), (3, 1, 64)]
    assert "ties that lead to no note of the same pitch are ignored: bar 1" in told(read("[C2E2-] C E|]"))


def test_rests_of_bars_and_spaces():
    tune = read("C4|Z2|y x z2 D|]")
    assert [(float(note.onset_q), note.midi) for note in tune.notes] == [(0, 60), (15, 62)]
    assert [bar.number for bar in tune.bars] == [1, 2, 3, 4]


def test_overlay_and_voices():
    assert heads(read("C D E F & E2 G2|G4|]")) == [(0, 1, 60), (0, 2, 64), (1, 1, 62), (2, 1, 64), (2, 2, 67), (3, 1, 65), (4, 4, 67)]
    # Section 7.4: each & goes back over one bar line, && from the end of the second bar to the beginning of the first.
    both = [(0, 2, 67), (0, 2, 76), (2, 2, 65), (2, 2, 74), (4, 3, 64), (4, 3, 72), (7, 1, 62), (7, 1, 72)]
    assert heads(read("e2 d2|c3 c|&&\\\nG2 F2|E3 D|")) == both
    assert heads(read("e2 d2|c3 c &&G2 F2|E3 D|]")) == both
    assert heads(read("e2 d2|c4|&E4|F4|]")) == [(0, 2, 76), (2, 2, 74), (4, 4, 64), (4, 4, 72), (8, 4, 65)]
    assert heads(read("[V:1]C4|D4|]\n[V:2]E4|F4|]")) == [(0, 4, 60), (0, 4, 64), (4, 4, 62), (4, 4, 65)]
    assert heads(read("V:1\nC4|]\nV:2\nC4|]", header="V:1\nV:2 octave=-1\n")) == [(0, 4, 48), (0, 4, 60)]


def test_voices_of_unequal_length_are_named():
    assert "voice 2 has 2 bars, voice 1 has 1" in read("V:1\nC4|]\nV:2\nC4|D4|]").warnings


def test_chord_symbols_and_texts():
    tune = read('"Am7"A "G(Em)"B "^slow"c "A7(b9)"d|"D/F#"e "N.C."f "what"g "B♭"a|]')
    assert [chord.symbol for chord in tune.chords] == ["Am7", "G", "A7b9", "D/F#", "N.C.", "B♭"]
    assert any(warning == "a text that is no chord symbol is left out: 'what' on line 7 column 52" for warning in tune.warnings)


# ABC 2.1 section 4.18 has one chord symbol at a moment; which of several is meant it does not say: ours is the first.
@pytest.mark.parametrize("music", ['"G""Em"G4|"D"D4|]', '"G;C"G4|"D"D4|]', '"G""G"G4|"D"D4|]', '"G"G4"C"|"D"D4|]'])
def test_of_chord_symbols_at_one_moment_one_is_kept(music):
    tune = read(music)
    assert [(chord.onset_q, chord.symbol) for chord in tune.chords] == [(0, "G"), (4, "D")]
    said = "of several chord symbols at one moment the first is played: bar 1" in told(tune)
    assert said == (music.startswith('"G""Em"') or ";" in music)


def test_chord_symbols_of_two_voices_at_one_moment():
    tune = read('[V:1]"G""Em"G4|]\n[V:2]"C"E4|]')
    assert [chord.symbol for chord in tune.chords] == ["G"]


def test_a_transposed_voice_moves_its_chord_symbols():
    assert [chord.symbol for chord in read('"Bm/F#"B "D7"d|]', "D transpose=-2").chords] == ["Am/E", "C7"]
    assert [chord.symbol for chord in read('"Eb"e "Ab/c"c|]', "Eb transpose=2").chords] == ["F", "Bb/D"]


@pytest.mark.parametrize(
    ("music", "words"),
    [
        ("HC4|]", "fermatas are not held: bar 1"),
        ("[Q:1/4=fast5]C4|]", "a tempo that cannot be read as a number is left out: '1/4=fast5' on line 7 column 1"),
        ("!arpeggio![CE]4|]", "chords are not broken (arpeggio): bar 1"),
        ("C4|]\nd:x", "the field d: is not known and is left out: line 8"),
        ("[m:~g2={a}g]C4|]", "a macro inside a line of music is left out, write m: on a line of its own: line 7 column 1"),
        ("C4|]\n+: more", "+: goes on with no field and is left out: line 8"),
        ("I:abc-include x.abh\nC4|]", "I:abc-include is not followed: no other file is read ('x.abh')"),
        ("A>B>c B|]", "broken rhythm between notes of unequal length, which ABC 2.1 section 4.4 leaves undefined: bar 1"),
        ("A2>B c/|]", "broken rhythm between notes of unequal length, which ABC 2.1 section 4.4 leaves undefined: bar 1"),
        ("ABcd>|c B2 c|]", "broken rhythm goes on over a bar line: bar 1"),
        ("C4 ?|]", "the character '?' cannot be read and is left out: line 7 column 4"),
        ("C4|C|C4|]", "bar 2 holds 1 quarter where 4/4 asks for 4: played as written"),
        ("C4|C5|]", "bar 2 holds 5 quarters where 4/4 asks for 4: played as written"),
        ("C4|]\n\nD4|]", "music on line 9 follows an empty line and belongs to no tune: left out"),
        ("%%MIDI transpose 2\nC4|]", "%%MIDI transpose is not followed: the tune sounds as written"),
        ("!8va(!C4|]", "the decoration '8va(' is not known and is left out: bar 1"),
    ],
)
def test_what_is_left_out_is_said(music, words):
    assert words in told(read(music))


@pytest.mark.parametrize(
    ("music", "words", "place"),
    [
        ('"Am C4|]', "is not closed on its line", "line 7 column 1"),
        ("{c C4|]", "grace notes begin here and are not closed on their line", "line 7 column 1"),
        ("C [CE C4|]", "a chord [ is not closed", "line 7 column 3"),
        ("C [C>E]|]", "a chord [ is not closed before '>'", "line 7 column 3"),
        ("C [C-Z]|]", "a chord [ is not closed before 'Z'", "line 7 column 3"),
        ("C [C[V:2]E]|]", "a chord [ is not closed before '[V:2]'", "line 7 column 3"),
        ("C]|]", "ends with ] but none begins", "line 7 column 2"),
        ("C0|]", "note length cannot be used", "line 7 column 1"),
        ("C''''''''|]", "outside the MIDI range", "line 7 column 1"),
        ("(1C|]", "a tuplet cannot be read", "line 7 column 1"),
        ("(3C(3DEF|]", "a tuplet begins inside another", "line 7 column 4"),
        (">C|]", "no note before it", "line 7 column 1"),
        ("C4|>D|]", "no note before it", "line 7 column 4"),
        ("&C4|]", "begins before the first bar", "line 7 column 1"),
        ("!GAB!C|]", "notes stand between ! signs", "line 7 column 1"),
        ("C|0D|]", "an ending cannot be read", "line 7"),
        ("Z9999|]", "rest of that many bars", "line 7 column 1"),
        ("[K:Q]C|]", "cannot be read as a key", "line 7 column 1"),
    ],
)
def test_what_cannot_be_read_is_refused_with_its_place(music, words, place):
    with pytest.raises(BadInput) as caught:
        read(music)
    fault = caught.value.faults[0]
    assert words in fault.what
    assert place in fault.where


def test_fields_before_the_first_tune_hold_for_all():
    tunes = split_tunes("L:1/2\nM:2/4\n\nX:1\nK:C\nC|]\n\nX:2\nL:1/4\nK:C\nC2|]\n")
    assert [float(read_abc(tune).notes[0].duration_q) for tune in tunes] == [2, 2]


def test_text_blocks_comments_and_symbols_of_your_own():
    assert keys("%%begintext\nC D E\n%%endtext\nC % D\nw: la\nE|]") == [60, 64]
    assert [small.kind for small in read("kC4|]", header="U:k=!trill!\n").ornaments] == ["trill"]
    # Section 4.16: a letter may stand for a text, too, and can be freed of its meaning.
    assert [chord.symbol for chord in read("pC4|]", header='U:p="Am"\n').chords] == ["Am"]
    assert read("TpC4|]", header='U:p="^+"\nU: T = !nil!\n').warnings == ()


def test_several_voices_read_as_one_melody_are_said():
    """Both are returned (see cases/good/a10_voices.abc), which a fit for one string has to know."""
    assert "2 voices are read together as one melody: 1, 2; --voice picks one of them, --line top the highest line" in told(
        read("V:1\nC D|\nV:2\nC,2|")
    )
