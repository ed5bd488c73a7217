"""The exact choice on real tunes against two other solvers, each given the rules of docs/fitting.md in a way of its own.

HiGHS gets whole tunes as flows: each voice goes from one note it sounds to the next. CP-SAT gets the first notes of tunes as
pairs that hinder each other. Only `Event`, `Option` and `Voice` are shared; how costs add up and what hinders what is written here
afresh. The tunes are those of the corpus inside the music21 package, read where they lie.
"""

from functools import cache
from pathlib import Path

import music21
import numpy as np
import pytest
from ortools.sat.python import cp_model
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_matrix

from jackrail.advise.changes import changes_of
from jackrail.setting.fit import arrange
from jackrail.setting.parts import Manner, Parts
from jackrail.setting.repeats import alike_groups
from jackrail.setting.solver import Prepared
from jackrail.setting.taste import Taste
from jackrail.setting.wishes import Wishes
from jackrail.tune.read import read_tune
from workshop import ensemble, machine

CORPUS = Path(music21.__file__).parent / "corpus"
REELS = sorted((CORPUS / "ryansMammoth").glob("*.abc"))
RING_S = Taste().least_ring_s
SCALE = 1_000_000
pytestmark = pytest.mark.slow


@cache
def voices_of(name):
    """The melody voices of a machine: the zither, the harp's three strings, or the zither with a second string."""
    if name == "two strings":
        change = next(change for change in changes_of(machine("quay_zither")) if change.name.endswith("open G4"))
        return tuple(voice for voice in change.voices if voice.part == "melody")
    return tuple(voice for voice in ensemble(name).voices if voice.part == "melody")


def by_cp_sat(events, voices, slowdown):
    """The least cost of sounding events, one voice one note at a time."""
    model = cp_model.CpModel()
    ways = [[model.new_bool_var(f"{n} by {option.voice}:{option.place}") for option in event.options] for n, event in enumerate(events)]
    terms = []
    for event, chosen in zip(events, ways, strict=True):
        model.add_at_most_one(chosen)
        terms.append(round(SCALE * event.lost))
        terms += [round(SCALE * (option.cost - event.lost)) * one for option, one in zip(event.options, chosen, strict=True)]
    for v, voice in enumerate(voices):
        own = [
            (n, option.place, one)
            for n, event in enumerate(events)
            for option, one in zip(event.options, ways[n], strict=True)
            if option.voice == v
        ]
        terms += hindered(model, events, own, voice, slowdown)
    model.minimize(sum(terms))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 2
    solver.parameters.max_time_in_seconds = 100
    assert solver.solve(model) == cp_model.OPTIMAL
    return solver.objective_value / SCALE


def hindered(model, events, own, voice, slowdown):
    """Pairs of one voice that cannot both sound, and what it costs that a note is cut short by the very next one."""
    longest_s = max(voice.rearm_s, RING_S + max(map(max, voice.move_s)))
    cuts = {n: model.new_bool_var(f"{n} cut on {voice.id}") for n, _, _ in own}
    for a, (n, p, one) in enumerate(own):
        for m, q, other in own[a + 1 :]:
            gap_s = (events[m].onset_s - events[n].onset_s) * slowdown
            if m == n or gap_s >= longest_s + events[n].hold_s * slowdown:
                continue
            travel_s = voice.move_s[p][q]
            need_s = voice.rearm_s if p == q else max(voice.rearm_s, RING_S + travel_s)
            if gap_s < need_s - 1e-9:
                model.add_at_most_one(one, other)
            elif p != q and gap_s - travel_s < events[n].hold_s * slowdown - 1e-9:
                between = [way for k, _, way in own if n < k < m]
                model.add(cuts[n] + sum(between) >= one + other - 1)
    return [round(SCALE * events[n].cut) * cut for n, cut in cuts.items()]


class Flow:
    """An integer programme of arcs: rows are equations or at-most-ones over arcs."""

    def __init__(self):
        self.costs, self.rows = [], {}

    def arc(self, cost, *rows):
        for row, sign in rows:
            self.rows.setdefault(row, []).append((len(self.costs), sign))
        self.costs.append(cost)
        return len(self.costs) - 1

    def least(self, equal, at_most_one):
        """Least cost. equal: right-hand sides of the equations by row, 0 where not given."""
        names = list(self.rows)
        entries = [(r, c, sign) for r, name in enumerate(names) for c, sign in self.rows[name]]
        down, across, what = zip(*entries, strict=True)
        matrix = csr_matrix((what, (down, across)), shape=(len(names), len(self.costs)))
        upper = [1.0 if name in at_most_one else equal.get(name, 0.0) for name in names]
        lower = [-np.inf if name in at_most_one else equal.get(name, 0.0) for name in names]
        found = milp(
            np.array(self.costs),
            integrality=np.ones(len(self.costs)),
            bounds=Bounds(0, 1),
            constraints=LinearConstraint(matrix, lower, upper),
            options={"mip_rel_gap": 0.0, "time_limit": 100},
        )
        assert found.status == 0
        return found.fun


def by_highs(events, voices, slowdown, groups=()):
    """The least cost, with each voice a unit that flows through the notes it sounds, or waits between them where it is free."""
    flow, last = Flow(), len(events)
    enters = {}
    for v, voice in enumerate(voices):
        for n in range(last):
            flow.arc(0.0, (("hub", v, n), -1), (("hub", v, n + 1), 1))
        for n, event in enumerate(events):
            for o, option in enumerate(event.options):
                if option.voice != v:
                    continue
                enters[n, o] = [flow.arc(option.cost - event.lost, (("hub", v, n), -1), (("at", n, o), 1), (("once", n), 1))]
                free = onward(flow, events, voice, v, n, o, slowdown, enters)
                flow.arc(0.0, (("at", n, o), -1), (("hub", v, free), 1))
    for g, group in enumerate(groups):
        alike(flow, events, g, group, enters)
    equal = {("hub", v, 0): -1.0 for v in range(len(voices))} | {("hub", v, last): 1.0 for v in range(len(voices))}
    once = {("once", n) for n in range(last)}
    return flow.least(equal, once) + sum(event.lost for event in events)


def onward(flow, events, voice, v, n, o, slowdown, enters):  # noqa: PLR0917 - a state of a voice, and where its arcs go
    """Arcs from a note to each later one that is near; the first event at which the voice is free for anything, and nothing is cut."""
    event, place = events[n], events[n].options[o].place
    free_s = max(voice.rearm_s, RING_S + max(voice.move_s[place]), max(voice.move_s[place]) + event.hold_s * slowdown)
    for m in range(n + 1, len(events)):
        gap_s = (events[m].onset_s - event.onset_s) * slowdown
        if gap_s >= free_s:
            return m
        for q, option in enumerate(events[m].options):
            if option.voice != v:
                continue
            travel_s = voice.move_s[place][option.place]
            need_s = voice.rearm_s if place == option.place else max(voice.rearm_s, RING_S + travel_s)
            if gap_s >= need_s - 1e-9:
                cut = event.cut if place != option.place and gap_s - travel_s < event.hold_s * slowdown - 1e-9 else 0.0
                cost = option.cost - events[m].lost + cut
                arc = flow.arc(cost, (("at", n, o), -1), (("at", m, q), 1), (("once", m), 1))
                enters.setdefault(("near", m, q), []).append(arc)
    return len(events)


def alike(flow, events, g, group, enters):
    """Equal sums of what sounds by octaves, of the first member and each other."""

    def arcs(n, octaves):
        chosen = [o for o, option in enumerate(events[n].options) if option.octaves == octaves]
        return [arc for o in chosen for arc in [*enters[n, o], *enters.get(("near", n, o), ())]]

    for octaves in range(-2, 3):
        for other in group[1:]:
            row = ("alike", g, other, octaves)
            pairs = [(arc, 1) for arc in arcs(group[0], octaves)] + [(arc, -1) for arc in arcs(other, octaves)]
            if pairs:
                flow.rows[row] = pairs


def parts_of(made, name, groups=()):
    return Parts(made, voices_of(name), Taste(), Manner("downbeats", tuple(groups)))


@pytest.mark.parametrize("slowdown", [1.0, 1.37, 2.0])
@pytest.mark.parametrize("number", [3, 200, 611, 900])
@pytest.mark.parametrize("name", ["quay_zither", "twin_lute", "two strings", "slipway_harp"])
def test_highs_agrees_on_real_tunes(name, number, slowdown):
    parts = parts_of(read_tune(REELS[number]), name)
    events = parts.notes(0)
    choice = Prepared(events, parts.rules).at(slowdown)
    assert choice.proven
    assert choice.cost == pytest.approx(by_highs(events, voices_of(name), slowdown), abs=1e-6)


@pytest.mark.parametrize("name", ["quay_zither", "two strings", "slipway_harp"])
def test_cp_sat_agrees_on_the_beginnings_of_real_tunes(name):
    for number in (3, 200, 611, 900):
        parts = parts_of(read_tune(REELS[number]), name)
        events = parts.notes(0)[:24]
        for slowdown in (1.0, 1.6):
            choice = Prepared(events, parts.rules).at(slowdown)
            assert choice.cost == pytest.approx(by_cp_sat(events, voices_of(name), slowdown), abs=len(events) / SCALE)


@pytest.mark.parametrize("number", [42, 700])
@pytest.mark.parametrize("name", ["quay_zither", "two strings"])
def test_highs_finds_nothing_better_than_a_whole_fit(name, number):
    """The fit's key and tempo cost what HiGHS says, and no other key at no other tempo that was drawn costs less."""
    setting = arrange(read_tune(REELS[number]), voices_of(name), "", Wishes(repeats="free", harmony="none"))[1]
    assert setting.optimal
    parts = parts_of(read_tune(REELS[number]), name)
    assert setting.cost == pytest.approx(total(parts, name, setting.transpose_semitones, 1 / setting.tempo_factor), abs=1e-6)
    for transpose in parts.transpositions()[::5]:
        for slowdown in (1.0, 0.97 / setting.tempo_factor, 1.03 / setting.tempo_factor, 2.2):
            if 1.0 <= slowdown <= 2.5:
                assert total(parts, name, transpose, slowdown) >= setting.cost - 1e-6


def total(parts, name, transpose, slowdown, groups=()):
    """Notes by HiGHS, and the tempo and the key as docs/fitting.md prices them."""
    taste = Taste()
    tempo = taste.slower * (slowdown - 1) * sum(parts.weights)
    key = taste.semitone * abs(transpose) + (taste.new_key if transpose % 12 else 0.0)
    return by_highs(parts.notes(transpose), voices_of(name), slowdown, groups) + tempo + key


@pytest.mark.parametrize("number", [42, 700, 123])
def test_highs_agrees_where_what_comes_again_is_treated_alike(number):
    made = read_tune(REELS[number])
    setting = arrange(made, voices_of("quay_zither"), "", Wishes(harmony="none"))[1]
    groups = alike_groups(made)
    assert groups
    parts = parts_of(made, "quay_zither")
    assert setting.optimal
    assert setting.cost == pytest.approx(
        total(parts, "quay_zither", setting.transpose_semitones, 1 / setting.tempo_factor, groups), abs=1e-6
    )
