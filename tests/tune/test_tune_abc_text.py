"""ABC text before it is music: macros (ABC 2.1 section 9), symbol lines (4.15), dialects (12.1), continued fields (3.3), accents (8.2)."""

import time

import pytest
from abc_reading import heads, keys, ornaments, read, told

from jackrail.faults import BadInput
from jackrail.tune.abc.macros import MOST_EXPANDED
from jackrail.tune.abc.reader import read_abc
from jackrail.tune.abc.text import split_tunes
from jackrail.tune.abc.text_strings import declared_charset, plain


def test_static_macros_are_played_out():
    # Section 9.1: ~G3 = G{A}G{F}G; only ~G3 is affected, ~G2, ~g3 and ~F3 are ordinary rolls.
    macro = "m: ~G3 = G{A}G{F}G\n"
    tune = read("~G3 G|~G2 ~g2|~F3 G|~G3/2 G5/2|]", header=macro)
    assert [midi for _, _, midi in heads(tune)] == [67, 67, 67, 67, 67, 79, 65, 67, 67, 67]
    assert ornaments(tune)[:2] == [(1, 67, "grace", (69,)), (2, 67, "grace", (65,))]
    assert [small[2] for small in ornaments(tune)[2:]] == ["roll"] * 4
    assert heads(read("~g2 e2|]", header="m:~g2={a}g{f}g\n")) == [(0, 1, 79), (1, 1, 79), (2, 2, 76)]


def test_transposing_macros_are_played_out():
    # Section 9.2: h to z are steps from n, so ~n2 = (3o/n/m/ n on A is B A G A in that rhythm; other lengths are left alone.
    header = "m: ~n2 = (3o/n/m/ n\n"
    assert heads(read("~A2 c2|]", header=header))[:4] == [
        (0, 0.3333, 71),
        (pytest.approx(1 / 3), 0.3333, 69),
        (pytest.approx(2 / 3), 0.3333, 67),
        (1, 1, 69),
    ]
    assert [midi for _, _, midi in heads(read("~B2 ~b2|~B,2 ~G,,2|]", header=header))] == [
        *(72, 71, 69, 71),
        *(84, 83, 81, 83),
        *(60, 59, 57, 59),
        *(45, 43, 41, 43),
    ]
    assert heads(read("~A4|]", header=header)) == [(0, 4, 69)]
    # h is six steps below n, z twelve above.
    assert keys("~c1 c3|]", header="m: ~n1 = h/z/\n") == [62, 93, 72]


def test_macros_leave_texts_fields_and_their_own_replacements_alone():
    # Section 9: expanded before U:; "does a search and replace", once.
    assert [chord.symbol for chord in read('"A"B2 A2|]', header="m: A = B\n").chords] == ["A"]
    assert keys("A2 B2|]", header="m: A2 = B2\nm: B2 = A2\n") == [71, 69]
    assert ornaments(read("kA4|]", header="m: k = T\nU: T = !turn!\n")) == [(0, 69, "turn", (67, 71))]
    assert keys("A4|[K:A]c4|]", header="m: K = z\n") == [69, 73]


def test_a_macro_may_stand_in_the_music_and_holds_from_there():
    assert keys("~A4|\nm: ~A4 = B4\n~A4|]") == [69, 71]


@pytest.mark.parametrize(
    ("macro", "words"),
    [
        ("m: ~g2", "a macro (m:) has no = between what is written and what is played, and is left out: line 6"),
        (f"m: {'~' * 32} = g", "a macro (m:) is longer than 31 characters, or what it stands for than 200, and is left out: line 6"),
        (f"m: ~g = {'g' * 201}", "a macro (m:) is longer than 31 characters, or what it stands for than 200, and is left out: line 6"),
        ("m: n~g2 = g", "a macro (m:) has an n that is not at its end before a length, and is left out: line 6"),
    ],
)
def test_a_macro_that_cannot_be_read_is_told(macro, words):
    tune = read("~g2 c2|]", header=f"{macro}\n")
    assert words in tune.warnings
    assert heads(tune) == [(0, 2, 79), (2, 2, 72)]


def test_macros_cannot_swamp_the_reader():
    start = time.perf_counter()
    with pytest.raises(BadInput, match=f"at most {MOST_EXPANDED} characters"):
        read("~" * 100_000, header=f"m: ~ = {'A' * 200}\n")
    many = "".join(f"m: ~{'~' * (index % 20)}A{index} = A\n" for index in range(200))
    tune = read("~" * 50_000 + "A|]", header=many)
    assert any(warning.startswith("a macro (m:) is one too many, at most 64, and is left out: line 70") for warning in tune.warnings)
    assert time.perf_counter() - start < 2


def test_a_symbol_line_stands_at_its_notes():
    # Section 4.15, worked like its own example: chords, skipped notes, a second line at the same notes. Rests are not counted.
    tune = read('C2 C2|E z A2|\ns: "C" * | "Am" *\ns: * * | !roll! "F"|')
    assert [(float(chord.onset_q), chord.symbol) for chord in tune.chords] == [(0, "C"), (4, "Am"), (6, "F")]
    assert ornaments(tune) == [(4, 64, "roll", (62, 65))]
    assert heads(tune) == [(0, 2, 60), (2, 2, 60), (4, 1, 64), (6, 2, 69)]


def test_symbol_lines_align_as_lyrics_do():
    # Section 5.1: | goes to the next bar unless the line is there already; an s: line later than its notes still counts from where the
    # last one ended; grace notes are not counted, a chord is one note.
    assert [float(small[0]) for small in ornaments(read("{g}C D|[EG] F|G A|\ns: !trill! | | !turn!"))] == [0, 0, 4]
    assert [float(small[0]) for small in ornaments(read("C D|E F|\ns: !trill! ** !turn! |"))] == [0, 3]
    assert [chord.onset_q for chord in read('C D|\nE F|\ns:* "C" * "F"').chords] == [1, 3]
    assert [chord.onset_q for chord in read('C D|\ns:\nE F|\ns:"F"').chords] == [2]
    assert [chord.symbol for chord in read('[V:1]C4|\n[V:2]E4|\n[V:1]D4|\ns:* "G"\n[V:2]F4|\n').chords] == ["G"]


def test_symbols_without_a_note_are_told():
    warnings = read('C D|\ns: * * "C" ab').warnings
    assert "symbols in a symbol line (s:) find no note and are left out: line 8" in warnings
    assert "'ab' in a symbol line (s:) cannot be read and is left out: line 8" in warnings


def test_chords_between_plus_signs():
    # Sections 10.2.3 and 12.1.3: early versions delimited chords with +.
    tune = read("+CEG+2 +^F,A+2|]")
    assert heads(tune) == [(0, 2, 60), (0, 2, 64), (0, 2, 67), (2, 2, 54), (2, 2, 69)]
    assert "chords between + signs are read as if [ ] stood around them (ABC 2.1 section 12.1.3): line 7" in told(tune)


def test_decorations_between_plus_signs():
    # Section 12.1.2: I:decoration + makes +trill+ a decoration, and I:linebreak ! has the same effect.
    for instruction in ("I:decoration +\n", "I:linebreak !\n", "%%continueall true\n"):
        tune = read("+trill+C2 +f+D2|!+plus+E4|]", header=instruction)
        assert ornaments(tune) == [(0, 60, "trill", (59, 62))]
        assert heads(tune) == [(0, 2, 60), (2, 2, 62), (4, 4, 64)]
        assert len(told(tune)) == 1
    assert "+trill+ is read as the decoration !trill!: line 7" in told(read("+trill+C4|]"))
    words = "a decoration between ! signs, where + is to stand (I:decoration +), is left out: line 8"
    assert words in read("!trill!C4|]", header="I:decoration +\n").warnings


def test_exclamation_marks_that_break_lines():
    # Section 10.2.1; without the instruction a ! that begins no decoration is a line break as well.
    assert keys("C D!E F|!GABc|!", header="I:linebreak !\n") == [60, 62, 64, 65, 67, 69, 71, 72]
    assert keys("C D!E F|!GABc|!") == [60, 62, 64, 65, 67, 69, 71, 72]


def test_fields_and_lines_go_on():
    # Section 3.3: +: adds to the field before it, past comments and directives; section 6.1.1: \ joins lines of music.
    assert keys("C F|]", header="") == [60, 65]
    text = "X:1\nT:The Long\n% a remark\n%%titlefont x\n+:Title\nH:once upon\nH:a time |\n+:there was\nM:4/4\nL:1/4\nK:D\n+:minor\n"
    tune = split_tunes(text + "C F\\\n%%setbarnb 3\n[r:a remark]C [I:setbarnb 4]B|\nw:la la\n+:la la\nW:end\nN:a b c\n")[0]
    assert tune.title == "The Long Title"
    assert [note.midi for note in read_abc(tune).notes] == [60, 65, 60, 70]
    # The two halves of a bar line: |\ and : or the number of an ending.
    assert keys("C4|\\\n:D4:|") == [60, 62, 62]
    assert keys("C4|1 D4:|\\\n2 E4|]") == [60, 62, 60, 64]
    assert keys("C4|\\\n:|D4|]") == [60, 60, 62]


def test_a_history_once_went_on_without_a_letter():
    # Section 10.1, deprecated: H: goes on to the next field.
    assert read_abc(split_tunes("X:1\nH:The first | line\nand another | of it\nM:4/4\nL:1/4\nK:C\nC4|]\n")[0]).notes[0].midi == 60
    with pytest.raises(BadInput, match="music begins before the K: field"):
        read_abc(split_tunes("X:1\nH:The first\nM:4/4\nCDEF|\nK:C\nC4|]\n")[0])


@pytest.mark.slow
def test_reading_a_field_that_goes_on_for_ever_takes_no_time():
    start = time.perf_counter()
    split_tunes("X:1\nP:A\n" + "+:\n" * 1_000_000)
    split_tunes("X:1\nP:A\n" + "%\n+:a\n" * 400_000)
    assert time.perf_counter() - start < 4


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        # Section 8.2, the table of accents, the special characters and symbols.
        (r"\`A\`e", "Àè"),
        (r"caf\'e", "café"),
        (r"\^o\~n\"u", "ôñü"),
        (r"\cC\cc", "Çç"),
        (r"\AA\aa", "Åå"),
        (r"\/O\/o", "Øø"),
        (r"\uA\uE", "ĂĔ"),
        (r"\vS\vz", "Šž"),
        (r"\HO\Hu", "Őű"),
        (r"\ss\AE\ae\oe", "ßÆæœ"),
        (r"\u00e9\U000000e9\u266d", "éé♭"),
        (r"&eacute;&quot;", 'é"'),
        (r"G\&T, gin & tonic, 5\%, a\\b", "G&T, gin & tonic, 5%, a\\b"),
        (r"$1big$0 price", "big price"),
        (r"\ud800\Uffffffff", ""),
        (r"\xx AT&T; \'", r"\xx AT&T; \'"),
    ],
)
def test_accents(written, meant):
    assert plain(written) == meant


@pytest.mark.parametrize(
    ("data", "codec"),
    [
        # Section 3.1.17: iso-8859-1 to iso-8859-10, us-ascii and utf-8 are the legal values.
        (b"%abc-2.1\nI:abc-charset utf-8\nX:1\n", "utf-8"),
        (b"%%abc-charset ISO-8859-2\r\nX:1\n", "iso8859-2"),
        (b"I:abc-charset iso-8859-10\n", "iso8859-10"),
        (b"I:abc-charset us-ascii\n", "ascii"),
        (b"I:abc-charset koi8-r\n", None),
        (b"I:abc-charset utf-16\n", None),
        (b"X:1\nT:abc-charset utf-8\n", None),
    ],
)
def test_declared_charsets(data, codec):
    assert declared_charset(data) == codec
    assert codec is None or b"x".decode(codec) == "x"


def test_fields_between_tunes_are_told():
    # Section 10.5.2: defaults that change inside a file are deprecated.
    tunes = split_tunes("L:1/4\n\nX:1\nK:C\nC4|]\n\nL:1/8\n\nX:2\nK:C\nC4|]\n")
    assert not any("outside the tunes" in warning for warning in read_abc(tunes[0]).warnings)
    words = "the field on line 7 stands outside the tunes and is not followed (ABC 2.1 section 10.5.2)"
    assert words in read_abc(tunes[1]).warnings
