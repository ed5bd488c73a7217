"""Why something was given up, in words: every figure is worked out by hand from the machine and the notes."""

from dataclasses import replace
from fractions import Fraction

import pytest

from jackrail.motion.voice import Place, Voice
from jackrail.setting.explain import Explainer
from jackrail.setting.fit import fit
from jackrail.setting.losses import gather
from jackrail.setting.parts import Manner, Parts
from jackrail.setting.search import Found
from jackrail.setting.solver import Choice, Option
from jackrail.setting.standing import Standing
from jackrail.setting.taste import Taste
from jackrail.setting.wishes import Wishes
from jackrail.tune.model import Bar, TuneNote
from workshop import MACHINE_NAMES, ensemble, tune

NO_FOLDING = Taste(folded=2.0, folded_twice=2.0)
STAY = Wishes(transpose=0, tempo="100%", taste=NO_FOLDING)


def bar_of(*stops_mm, move_s=0.2, settle_s=0.02, rearm_s=0.05, first=60):
    """A travelling bar with a stop a semitone from the next, at these places, the same time between any two."""
    places = tuple(Place(f"P{n}", first + n, position_mm=mm, steps=n) for n, mm in enumerate(stops_mm))
    ways = tuple(tuple(0.0 if p == q else move_s for q in range(len(places))) for p in range(len(places)))
    return (Voice("bar", "melody", ("s",), places, ways, (0.0,) * len(places), rearm_s, 0.01, settle_s=settle_s),)


BAR = bar_of(10.0, 94.0, 130.0)


def reasons(setting):
    return [loss.reason for loss in setting.losses]


def test_a_note_between_beats_is_told_with_the_move_its_pieces_and_the_tempo_that_would_keep_it():
    """At 60 in 4/4: a quaver between beats 0.2 s before its neighbour. 60 ms of ringing and 200 of moving are 260; of the moving 20 are
    settling. It fits once 0.2 s have become 0.26: at 76.9 % of the tempo."""
    made = tune((61, "1"), (60, "4/5"), (61, "1/5"), (60, "2"), tempo=60.0, bars=1)
    (reason,) = reasons(fit(made, BAR, "Bar", STAY))
    assert reason == (
        "P1 to P0, 84 mm: there are 200 ms, and it needs 260 ms (60 to ring, 180 to travel, 20 to settle); "
        "the weaker of the two: between beats, shorter, not the first or last note; it would fit at 76.9 % of the written tempo"
    )


def test_the_tempo_told_is_the_one_at_which_the_note_comes_back():
    """The judge is the fit itself, asked for a tempo a little faster and a little slower than the one that was told."""
    made = tune((61, "1"), (60, "4/5"), (61, "1/5"), (60, "2"), tempo=60.0, bars=1)
    told = 100 * 0.2 / 0.26
    kept = [fit(made, BAR, "Bar", replace(STAY, tempo=f"{told + by:.2f}%")).notes_kept for by in (0.5, -0.5)]
    assert kept == [3, 4]


def test_a_tempo_slower_than_any_that_is_tried_is_said_to_be_no_help():
    made = tune((61, "1"), (60, "9/10"), (61, "1/10"), (60, "2"), tempo=60.0, bars=1)
    (reason,) = reasons(fit(made, BAR, "Bar", STAY))
    assert reason.endswith("; it would not fit even at 40 % of the written tempo, the slowest that is tried")  # 0.1 / 0.26 is 38 %


def test_a_note_caught_between_two_is_held_against_both():
    """0.15 s to either side of it, 0.26 needed; its neighbours are 0.3 s apart. 0.15 / 0.26 is 57.7 %."""
    made = tune((61, "3/20"), (60, "3/20"), (62, "3"), tempo=60.0, bars=1)
    (reason,) = reasons(fit(made, BAR, "Bar", STAY))
    assert reason.endswith("; weaker than either neighbour: not the first or last note; it would fit at 57.7 % of the written tempo")


def test_two_notes_alike_are_said_to_be_alike():
    """Both between beats, short, and turns of the line; 0.2 s apart, with time enough around them."""
    made = tune((61, "1"), (62, "13/10"), (60, "1/5"), (62, "1/2"), (61, "1"), tempo=60.0, bars=1)
    (reason,) = reasons(fit(made, BAR, "Bar", STAY))
    assert "; both weigh alike and one had to go; " in reason


def found(made, voices, options, slowdown=1.0, alike=()):
    """An arrangement of our own choice."""
    parts = Parts(made, voices, NO_FOLDING, Manner(alike=alike))
    return parts, Found(0, slowdown, Choice(0.0, tuple(options), proven=True), Choice(0.0, (), proven=True), 0.0, proven=True)


def test_a_note_that_is_left_out_as_in_another_time_through_says_so():
    """Bar 1 is played twice; its C is left out both times, though only the first time its neighbour is too near."""
    made = tune((61, "39/10"), (60, "1/10"), (61, "39/10"), (60, "1/10"), (62, "4"), tempo=60.0)
    bars = tuple(Bar(Fraction(4 * n), Fraction(4), number, 4, 4, time) for n, (number, time) in enumerate([(1, 1), (1, 2), (2, 1)]))
    made = replace(made, bars=bars)
    stand, away = Option(0, 1, 0.0), Option(0, 1, 0.0)
    parts, arranged = found(made, BAR, [stand, None, away, None, None], alike=((1, 3),))
    first, second, _ = (loss for loss in Explainer(parts, arranged, 0.0).losses())
    assert first.reason.startswith("P0 to P1, 84 mm: there are 100 ms")
    assert second.reason == "arranged alike with bar 1 beat 4.9, where the same comes again"


def test_notes_cut_short_and_slid_into_are_told_with_their_times():
    """0.5 s apart at half the tempo, 0.2 s of moving: the bar leaves after 0.3 of 0.5 s, where 0.4 were wished for. The pick needs
    0.6 s to strike again."""
    made = tune((60, "1/4"), (61, "1/4"), (62, "3"), tempo=60.0, bars=1)
    parts, arranged = found(made, bar_of(10.0, 94.0, 130.0, rearm_s=0.6), [Option(0, 0, 0.0), Option(0, 1, 0.0, slid=True), None], 2.0)
    explainer = Explainer(parts, arranged, 0.0)
    explainer._events = tuple(event._replace(hold_s=0.2) for event in explainer._events)
    losses = explainer.losses()
    assert [(loss.kind, loss.written, loss.played, loss.reason) for loss in losses[:2]] == [
        ("note-cut", "C4", "C4", "leaves after 0.30 s of 0.50 s: P0 to P1, 84 mm"),
        ("note-slid", "C#4", "C#4", "slid into, not struck: there are 500 ms, and it needs 600 ms to strike again"),
    ]
    assert [row.what for row in gather(losses)] == ["note slid into", "note left out", "note cut short"]


def test_the_move_that_holds_the_tempo_is_named_with_what_it_needs():
    """A quarter at 240 is 250 ms, a move needs 260: everything is slowed to 250 / 260, 96.2 % of the tempo."""
    made = tune((60, "1"), (61, "1"), (60, "1"), (60, "1"), tempo=240.0, bars=1)
    setting = fit(made, BAR, "Bar")
    assert setting.tempo_factor == pytest.approx(250 / 260)
    assert setting.why[0] == (
        "Tempo: 96.2 % of the written one, held by P0 to P1, 84 mm (into bar 1 beat 2), which needs 260 ms "
        "(60 to ring, 180 to travel, 20 to settle) and has just that, as does 1 more: faster, one of its notes would have to go."
    )


def test_a_tempo_that_lets_a_note_ring_is_told_so():
    """A bar that takes 0.2 s; notes of 0.3 s should ring half of it: 0.15 * s + 0.2 = 0.3 * s at s = 4 / 3, three quarters of the tempo."""
    made = tune((60, "1"), (61, "1"), (62, "1"), (61, "1"), tempo=200.0, bars=1)
    setting = fit(made, BAR, "Bar", Wishes(transpose=0, taste=Taste(cut=1.0, least_share=0.5)))
    assert setting.tempo_factor == pytest.approx(0.75)
    assert setting.why[0] == (
        "Tempo: 75 % of the written one, held by P0 to P1, 84 mm (into bar 1 beat 2): faster, the note before would be cut short, "
        "as would 2 more."
    )


@pytest.mark.parametrize(
    "wishes, tempo, key",
    [
        (
            Wishes(tempo="80%", transpose=0),
            "Tempo: 80 % of the written one, as asked for (--tempo 80%).",
            "Key: as written, as asked for (--transpose 0).",
        ),
        (Wishes(tempo="30"), "Tempo: 50 % of the written one, as asked for (--tempo 30).", None),
        (Wishes(prefer="tempo"), "Tempo: as written, as asked for (--prefer tempo).", None),
        (Wishes(prefer="key"), None, "Key: as written, as asked for (--prefer key)."),
        (Wishes(transpose=1), None, "Key: moved 1 semitone higher, as asked for (--transpose 1)."),
        (Wishes(), "Tempo: as written; the tightest move is P0 to P1, 84 mm (into bar 1 beat 2), with 740 ms to spare.", None),
    ],
)
def test_what_was_asked_for_and_what_is_as_written_is_said(wishes, tempo, key):
    setting = fit(tune((60, "1"), (61, "1"), tempo=60.0, bars=1), BAR, "Bar", wishes)
    assert tempo in (None, setting.why[0])
    assert key in (None, setting.why[1])


def test_a_key_is_told_with_what_the_written_one_has_no_place_for():
    """D4 and Eb4 are a tone above the bar's C, C# and D: of the written D, Eb and E only D has its place."""
    setting = fit(tune((62, "1"), (63, "1"), (64, "2"), tempo=60.0, bars=1, sharps=-3), BAR, "Bar")
    assert setting.transpose_semitones == -2
    assert setting.why[1] == ("Key: moved 2 semitones lower, where every note has its place; as written 2 notes have no voice (Eb4, E4).")


@pytest.mark.parametrize("name", MACHINE_NAMES)
def test_no_reason_shows_a_bare_weight_or_an_empty_place(name):
    made = tune(*[(62 + 5 * n % 19, "1/2") for n in range(24)], chords=[(0, "G"), (4, "F")], tempo=300.0, bars=3)
    setting = fit(made, ensemble(name).voices, name)
    assert len(setting.why) == 2
    for text in [*reasons(setting), *setting.why]:
        assert "None" not in text
        assert "inf" not in text
        assert "  " not in text


# A scale up and down in quavers, 4/4: 0 1 2 3 ... Indices of notes; what a musician would say of the first beside the others.
SCALE = tune(*[(60 + step, "1/2") for step in (0, 2, 4, 5, 7, 7, 5, 4, 2, 4, 5, 4)], (60, "2"), tempo=60.0, bars=2, sharps=0)


@pytest.mark.parametrize(
    "index, others, words",
    [
        (1, [2], "the weaker of the two: between beats, in passing"),
        (5, [4], "the weaker of the two: between beats, the same note again, beside the peak of a phrase"),
        (2, [8], "the weaker of the two: off the first beat"),
        (7, [12], "the weaker of the two: between beats, shorter, in passing"),
        (3, [2, 4], "weaker than either neighbour: between beats, in passing"),
        (12, [11], "without it more of the notes around it are kept, or ring longer"),
        (2, [1, 3], "without it more of the notes around it are kept, or ring longer"),
        (2, [2], "both weigh alike and one had to go"),
        (2, [2, 0], "it weighs no more than either neighbour"),
        (4, [2, 6], "it weighs less than its two neighbours together"),
    ],
)
def test_the_place_of_a_note_is_told_in_a_musicians_words(index, others, words):
    assert Standing(Parts(SCALE, BAR, Taste())).judged(index, others) == words


def test_what_lies_under_the_melody_and_small_notes_need_no_other_reason():
    made = replace(SCALE, notes=(TuneNote(Fraction(0), Fraction(1), 48), *SCALE.notes))
    assert Standing(Parts(made, BAR, Taste())).judged(0, [1]) == "the weaker of the two: under the melody"
    small = replace(SCALE, notes=(replace(SCALE.notes[0], ornamental=True), *SCALE.notes[1:]))
    assert Standing(Parts(small, BAR, Taste())).judged(0, [1]) == "a small note gives way"
