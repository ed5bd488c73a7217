"""Key profiles against published values: authorities/music.toml."""

from statistics import correlation

import pytest

from jackrail.tune.inference.key import MAJOR_PROFILE, MINOR_PROFILE
from workshop import authority

VALUES = authority("music")
OURS = {"major": MAJOR_PROFILE, "minor": MINOR_PROFILE}


@pytest.mark.parametrize("mode", OURS)
def test_k01_the_shares_are_those_published_and_make_up_the_whole(mode):
    row = VALUES["K01"]
    assert OURS[mode] == pytest.approx(row[mode], abs=row["tolerance"])
    assert sum(OURS[mode]) == pytest.approx(1, abs=0.005)  # each is rounded to a thousandth


@pytest.mark.parametrize("mode", OURS)
def test_k02_they_go_with_what_listeners_find_fitting(mode):
    row = VALUES["K02"]
    assert correlation(OURS[mode], row[mode]) >= row["least_correlation"][mode]
