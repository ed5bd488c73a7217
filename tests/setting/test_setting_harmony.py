"""Chords proposed for a tune without any: the cheapest against trying every row of them, and what must hold of all."""

import itertools
import re
from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jackrail.motion.voice import Place, Voice
from jackrail.pitch import parse_chord
from jackrail.setting import harmony, spans
from jackrail.setting.fit import arrange, fit
from jackrail.setting.harmony import chord_bars, propose, with_harmony
from jackrail.setting.taste import Taste
from jackrail.setting.wishes import Wishes
from jackrail.tune.model import NO_CHORD, Bar, ChordSymbol, KeyMark, Tune, TuneNote
from workshop import ROOT, ensemble, examples, tune, tunes

BARS = ["G", "C", "D7", "Em"]


def bare(made: Tune) -> Tune:
    return replace(made, chords=(), harmony="")


def proposed(made: Tune, bars=BARS, key=0):
    return [(float(chord.onset_q), chord.symbol) for chord in propose(made, bars, [key])[key].chords]


def in_bars(*bars, sharps=1, beats=4):
    """A tune of bars, each a list of MIDI keys of equal length."""
    notes = [(midi, Fraction(beats, len(bar))) for bar in bars for midi in bar]
    made = tune(*notes, sharps=sharps)
    lines = tuple(Bar(Fraction(beats * n), Fraction(beats), n + 1, beats, 4) for n in range(len(bars)))
    return replace(made, bars=lines)


# The three chords of any harmony book, in G: tonic G B D, subdominant C E G, dominant D F# A C. Trade fact, common practice.
def test_broken_chords_are_harmonised_by_themselves():
    made = in_bars([67, 71, 74], [72, 76, 79], [74, 78, 72], [67, 71, 67], beats=3)
    assert proposed(made) == [(0, "G"), (3, "C"), (6, "D7"), (9, "G")]


def test_a_chord_that_holds_is_named_once():
    made = in_bars([67, 71, 74], [74, 71, 67], [74, 78, 72], [67, 71, 67], beats=3)
    assert proposed(made) == [(0, "G"), (6, "D7"), (9, "G")]


def test_a_long_bar_may_change_on_its_half():
    made = in_bars([67, 71, 72, 76], [74, 78, 67, 71])
    assert proposed(made) == [(0, "G"), (2, "C"), (4, "D7"), (6, "G")]


def test_a_bar_of_three_or_of_two_felt_beats_has_one_chord():
    jig = in_bars([67, 67, 71, 72, 72, 76], [67] * 6, beats=3)
    made = replace(jig, bars=tuple(replace(bar, beats=6, beat_unit=8) for bar in jig.bars))
    assert len(proposed(made)) <= 2
    assert all(onset % 3 == 0 for onset, _ in proposed(made))


def test_what_clashes_with_every_chord_is_left_silent():
    made = in_bars([67, 71, 74], [68, 70, 73], [68, 73, 70], [67, 71, 67], beats=3)
    assert proposed(made) == [(0, "G"), (3, NO_CHORD), (9, "G")]


def test_a_tune_that_fits_no_chord_gets_none():
    made = in_bars([68, 70, 73], [68, 73, 70], [73, 70, 68], beats=3)
    assert proposed(made) == []
    _, setting = arrange(made, ensemble("quay_zither").voices, "Zither", Wishes(transpose=0))
    assert (setting.harmony, setting.chords_total, setting.strokes) == ("", 0, ())


def test_an_upbeat_has_no_chord_and_a_bar_cut_in_two_has_one():
    notes = tuple(TuneNote(Fraction(n), Fraction(1), midi) for n, midi in enumerate([74, 67, 71, 74, 71, 67, 74, 78, 72, 67]))
    pieces = [(0, 1, 0, 2), (1, 3, 1, 0), (4, 2, 2, 0), (6, 1, 2, 2), (7, 3, 3, 0)]
    lines = tuple(Bar(Fraction(at), Fraction(length), number, 3, 4, 1, Fraction(start)) for at, length, number, start in pieces)
    made = Tune("Upbeat", notes, bars=lines, keys=(KeyMark(Fraction(0), 1, "major"),))
    assert proposed(made)[0] == (1, "G")
    assert all(onset in (1, 4, 7) for onset, _ in proposed(made))


def test_without_bars_a_chord_may_change_each_four_quarters():
    made = tune((67, 1), (71, 1), (74, 1), (67, 1), (72, 1), (76, 1), (79, 1), (72, 1), sharps=None)
    assert proposed(made) == [(0, "G"), (4, "C")]


def test_a_passing_note_hurts_less_than_a_leap_away():
    """C between B and D on a weak beat belongs to the way; A and back is two leaps."""
    passing, leaping = in_bars([71, 72, 74], [67]), in_bars([71, 69, 74], [67])
    costs = [propose(made, ["G"], [0])[0].cost for made in (passing, leaping)]
    assert costs[0] < costs[1]


def test_names_are_of_the_written_key():
    """The zither's G, C and D played for a tune in A flat: written a semitone above what sounds, so Ab, Db and Eb."""
    made = in_bars([68, 72, 75], [73, 77, 80], [75, 79, 70], [68, 72, 68], sharps=-4, beats=3)
    assert proposed(made, ["G", "C", "D"], key=11) == [(0, "Ab"), (3, "Db"), (6, "Eb"), (9, "Ab")]


def test_the_mode_decides_which_chord_is_home():
    made = replace(in_bars([64, 67], [71, 67], [67, 71], beats=2), keys=(KeyMark(Fraction(0), 1, "minor"),))
    assert proposed(made, ["G", "Em"])[-1][1] == "Em"
    assert proposed(in_bars([64, 67], [71, 67], [67, 71], beats=2), ["G", "Em"])[-1][1] == "G"


def cost_of_row(made, row):
    """The cost of a row of chord names, or None, one for each bar of 3/4, from the rules of docs/fitting.md, written afresh."""
    scale, home = {7, 9, 11, 0, 2, 4, 6}, 7  # G major
    cost = 0.0
    for bar, name in zip(made.bars, row, strict=True):
        if name is None:
            cost += 0.6
            continue
        chord = parse_chord(name)
        cost += 0.1 * (len(chord.classes) - 3) + (0.05 if chord.root not in (7, 0, 2) else 0) + (0.05 if chord.classes - scale else 0)
        outside = total = 0.0
        for index, note in enumerate(made.notes):
            if not bar.onset_q <= note.onset_q < bar.onset_q + 3:
                continue
            first = note.onset_q == bar.onset_q
            weight = float(note.duration_q) * (1.5 if first else 1.0 if note.onset_q.denominator == 1 else 0.6)
            total += weight
            if note.midi % 12 in chord.classes:
                continue
            around = [made.notes[other].midi for other in (index - 1, index + 1) if 0 <= other < len(made.notes)]
            steps = len(around) == 2 and all(abs(midi - note.midi) in (1, 2) and midi % 12 in chord.classes for midi in around)
            outside += weight * (0.4 if steps and not first else 1.0)
        cost += outside / total
    for one, after in itertools.pairwise(row):
        if one != after:
            falls = one is not None and after is not None and (parse_chord(one).root - parse_chord(after).root) % 12 == 7
            cost += 0.025 if falls else 0.05
    return cost + ends_cost(row, home)


def ends_cost(row, home):
    """What beginning and cadence cost. The tonic chord of G major is G; V is on D, IV on C."""
    cost = 0.3 * (row[0] != "G") + 0.3 * (row[-1] != "G")
    root = parse_chord(row[-2]).root if len(row) > 1 and row[-2] is not None else None
    return cost + (0.05 if len(row) > 1 and root not in (2, 0) else 0.0)


@st.composite
def waltzes(draw):
    """1 to 6 bars of 3/4 in any keys and halves and quarters of beats."""
    bars = draw(st.integers(1, 6))
    notes, lengths = [], st.sampled_from([Fraction(1, 2), Fraction(1), Fraction(3, 2)])
    for bar in range(bars):
        at = Fraction(0)
        while at < 3:
            length = min(draw(lengths), 3 - at)
            notes.append(TuneNote(3 * bar + at, length, draw(st.integers(60, 78))))
            at += length
    lines = tuple(Bar(Fraction(3 * n), Fraction(3), n + 1, 3, 4) for n in range(bars))
    return Tune("Waltz", tuple(notes), bars=lines, keys=(KeyMark(Fraction(0), 1, "major"),))


@pytest.mark.slow
@examples(40)
@given(waltzes())
def test_no_other_row_of_chords_costs_less(made):
    """Every row of four chords and silence for up to six bars: 15625 at the most."""
    found = propose(made, BARS, [0])[0]
    assert found.cost == pytest.approx(
        min(cost_of_row(made, row) for row in itertools.product([*BARS, None], repeat=len(made.bars))), abs=1e-9
    )
    row, symbols = [], {chord.onset_q: chord.symbol for chord in found.chords}
    for bar in made.bars:
        row.append(symbols.get(bar.onset_q, row[-1] if row else None))
    assert cost_of_row(made, [None if name == NO_CHORD else name for name in row]) == pytest.approx(found.cost, abs=1e-9)


@examples(30)
@given(waltzes(), st.integers(0, 11))
def test_a_tune_and_its_chords_moved_together_are_harmonised_alike(made, key):
    """Bars a step higher for a tune that will be moved a step higher are the same chords."""
    here, there = propose(made, BARS, [0])[0], propose(made, moved_bars(key), [key])[key]
    assert there.cost == pytest.approx(here.cost)
    assert [parse_chord(c.symbol).classes for c in there.chords if not c.silent] == [
        parse_chord(c.symbol).classes for c in here.chords if not c.silent
    ]


def moved_bars(semitones):
    names = ["C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B"]
    return [names[(parse_chord(name).root + semitones) % 12] + name[1:] for name in BARS]


@examples(25)
@given(tunes(most_notes=10), st.sampled_from(["quay_zither", "twin_lute"]), st.integers(-14, 14))
def test_no_key_asked_for_is_better_than_the_one_found_with_its_chords(made, name, transpose):
    voices = ensemble(name).voices
    _, best = arrange(bare(made), voices, name)
    _, other = arrange(bare(made), voices, name, Wishes(transpose=transpose))
    assert best.optimal
    assert best.cost <= other.cost + 1e-9


@examples(25)
@given(tunes(most_notes=10), st.sampled_from(["quay_zither", "twin_lute"]))
def test_a_setting_with_proposed_chords_is_that_of_the_tune_with_them_written(made, name):
    voices = ensemble(name).voices
    full, setting = arrange(bare(made), voices, name)
    again = fit(full, voices, name, Wishes(transpose=setting.transpose_semitones))
    key = setting.transpose_semitones % 12
    price = Taste().harmony * propose(bare(made), chord_bars(voices), [key])[key].cost
    assert again.strokes == setting.strokes
    assert again.notes == setting.notes
    assert setting.cost == pytest.approx(again.cost + price)
    assert not any(loss.kind == "chord-changed" for loss in setting.losses)  # each has its very bar


def test_the_key_is_chosen_for_the_chords_too():
    """Hammers for all twelve keys and a bar for D and for A: a tune in C is best played in D, for its C and G become D and A."""
    keys = tuple(range(48, 96))
    hammers = tuple(Voice(f"h{key}", "melody", ("b",), (Place(str(key), key),), ((0.0,),), (0.0,), 0.02, 0.01) for key in keys)
    made = in_bars([60, 64, 67], [67, 71, 74], [60, 64, 60], sharps=0, beats=3)
    bars = tuple(Voice(f"c{name}", "chord", ("s",), (Place(name, None),), ((0.0,),), (0.0,), 0.1, 0.01, name) for name in ("D", "A"))
    full, setting = arrange(made, (*hammers, *bars), "Hammers")
    assert setting.transpose_semitones == 2
    assert [chord.symbol for chord in full.chords] == ["C", "G", "C"]
    assert [stroke.symbol for stroke in setting.strokes] == ["C", "G", "C"]
    assert arrange(made, (*hammers, *bars), "Hammers", Wishes(harmony="written"))[1].transpose_semitones == 0


# Which chords a wish leaves: docs/fitting.md, the table of --harmony.
@pytest.mark.parametrize(
    "source, wanted, left",
    [
        ("written", "any", True), ("written", "written", True), ("written", "none", False), ("estimated", "any", True),
        ("estimated", "written", False), ("estimated", "none", False), ("proposed", "written", False),
        ("", "none", False), ("", "written", True),
    ],
)  # fmt: skip
def test_a_wish_for_harmony_decides_which_chords_are_heard(source, wanted, left):
    made = replace(tune((67, "4"), chords=[(0, "G")]), harmony=source)
    heard = with_harmony(made, wanted)
    assert bool(heard.chords) == left
    assert heard.harmony == (source if left else "")


def test_chords_are_only_proposed_where_there_are_none_and_nobody_objects():
    voices, made = ensemble("quay_zither").voices, in_bars([67, 71, 74], [72, 76, 79], [67, 71, 67], beats=3)
    written = replace(made, chords=(ChordSymbol(Fraction(0), "Em"),), harmony="written")
    sources = [
        (harmonised.harmony, setting.harmony)
        for harmonised, setting in (
            arrange(made, voices, "Zither"),
            arrange(made, voices, "Zither", Wishes(harmony="written")),
            arrange(made, voices, "Zither", Wishes(harmony="none")),
            arrange(written, voices, "Zither"),
            arrange(replace(written, harmony="estimated"), voices, "Zither"),
            arrange(made, ensemble("tower_chimes").voices, "Chimes"),
        )
    ]
    assert sources == [("proposed",) * 2, ("", ""), ("", ""), ("written",) * 2, ("estimated",) * 2, ("", "")]


def test_a_tune_arranged_again_stays_as_it_is():
    voices, made = ensemble("quay_zither").voices, in_bars([67, 71, 74], [72, 76, 79], [67, 71, 67], beats=3)
    once, _ = arrange(made, voices, "Zither")
    assert arrange(once, voices, "Zither")[0] == once


def test_bars_of_one_chord_count_once():
    def bar(name):
        return Voice(f"c_{name}", "chord", ("s",), (Place(name, None),), ((0.0,),), (0.0,), 0.1, 0.01, name)

    assert chord_bars([bar("G"), bar("G/B"), bar("Em")]) == ["G", "Em"]


# N.C.: MusicXML 4.0, kind "none"; ABC 2.1 has no word for it. Silence is no chord: it has no bar, and cannot be left out.
def test_silence_ends_a_chord_and_is_none():
    made = tune(*[(67, "4")] * 4, chords=[(0, "G"), (8, NO_CHORD), (12, "C")], bars=4)
    setting = fit(made, ensemble("quay_zither").voices, "Zither", Wishes(transpose=0))
    assert [(stroke.symbol, stroke.repeated) for stroke in setting.strokes] == [("G", False), ("G", True), ("C", False)]
    assert (setting.chords_total, setting.chords_kept, setting.losses) == (2, 2, ())


def test_silence_alone_is_no_harmony_and_none_is_proposed():
    made = replace(tune(*[(67, "4")] * 2, chords=[(0, NO_CHORD)], bars=2), harmony="written")
    full, setting = arrange(made, ensemble("quay_zither").voices, "Zither", Wishes(transpose=0))
    assert full == made
    assert (setting.chords_total, setting.strokes) == (0, ())


def test_a_taste_for_melody_alone_takes_the_key_of_the_melody():
    """With harmony worth nothing the chords cannot decide the key."""
    made = in_bars([60, 64, 67], [67, 71, 74], [60, 64, 60], sharps=0, beats=3)
    voices = ensemble("twin_lute").voices
    alone = fit(made, voices, "Lute").transpose_semitones
    assert arrange(made, voices, "Lute", Wishes(taste=Taste(harmony=0.0)))[1].transpose_semitones == alone


@pytest.mark.parametrize(
    "words, numbers",
    [
        ("of that for a note off the first beat", [spans.PASSING]),
        ("a bar without a chord", [harmony.SILENCE]),
        ("for each tone it has beyond three", [harmony.COLOUR]),
        ("neither the first, fourth nor fifth degree", [harmony.RARE]),
        ("a tone outside the scale", [harmony.FOREIGN]),
        ("a change of chord", [harmony.CHANGE, harmony.FALLING_FIFTH]),
        ("the first chord, and the last", [harmony.NOT_HOME]),
        ("the chord before the last", [harmony.NO_CADENCE]),
    ],
)
def test_the_document_states_the_numbers(words, numbers):
    (row,) = [
        line for line in (ROOT / "docs" / "fitting.md").read_text(encoding="utf-8").splitlines() if line.startswith("|") and words in line
    ]
    assert [float(text) for text in re.findall(r"\d\.\d+", row)] == numbers
