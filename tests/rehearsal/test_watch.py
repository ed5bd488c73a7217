"""News of the board as words: a device is named only where docs/SPEC-link.md says that `where` is one."""

from types import SimpleNamespace

import pytest

from jackrail.board.link_format import News
from jackrail.board.messages import Happening
from jackrail.board.reasons import REASONS
from jackrail.rehearsal.watch import notices
from jackrail.roll.machine_block import Numbering

NUMBERING = Numbering(axes=("carriage", "pick"), coils=("bar_g", "bar_d", "bar_c"), stops=())
CODE = {reason.word: reason.code for reason in REASONS}
NAMED = {"index missed": "pick", "detent missed": "pick", "home never closed": "pick", "busy": "pick", "coil on too long": "bar_d"}


def told(kind, reason="none", where=1):
    driver = SimpleNamespace(happenings=[Happening(kind, CODE[reason], where, 1500)], infos=[], losses=[], zero_cycle=1)
    (notice,) = notices(driver, NUMBERING)
    return notice


@pytest.mark.parametrize("reason", ["finished", "starved", "bad record", "beyond limits", "roll damaged", *NAMED])
def test_a_stop_names_its_device_and_no_other(reason):
    notice = told(News.STOPPED, reason)
    assert (notice.what, notice.device, notice.at_s) == (f"stopped: {reason}", NAMED.get(reason, ""), 1.5)


@pytest.mark.parametrize("kind, device", [(News.INDEX_MISSED, "pick"), (News.DETENT_MISSED, "pick"), (News.PLAYING, ""), (News.HOMED, "")])
def test_news_of_a_switch_names_its_axis(kind, device):
    assert told(kind).device == device


def test_a_number_that_the_machine_has_not_names_nothing():
    assert told(News.STOPPED, "index missed", where=9).device == ""
