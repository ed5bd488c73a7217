"""What the reader told, in the light of what was asked for: no sentence may speak of something that is not done."""

from __future__ import annotations

import re
from dataclasses import replace

from jackrail.tune.model import Tune

from .harmony import with_harmony
from .wishes import Wishes

_KEPT_APART = re.compile(r"kept apart,? [^(]*\(--ornaments\)")
_ORNAMENTS = {
    ("all", False): "tried, as asked for (--ornaments all)",
    ("all", True): "tried, as asked for (--ornaments all)",
    ("graces", False): "kept apart; of them only grace notes are tried, as asked for (--ornaments graces)",
    ("graces", True): "kept apart; of them only grace notes and slides are tried, as asked for (--ornaments graces, --slides written)",
    ("none", True): "kept apart; of them only slides are tried, as asked for (--slides written)",
}
"""What is done with ornaments, by `Wishes.ornaments` and whether written slides are wished for."""
_TOLD = "chords are told from"
_LEFT_OUT = {"written": "the chords written in the file", "estimated": "the chords told from the accompaniment"}


def as_asked(tune: Tune, wishes: Wishes) -> Tune:
    """`tune` with only such chords as are wished for, its warnings and remarks put right, and a remark where chords are left out."""
    heard = with_harmony(tune, wishes.harmony)
    left_out = heard is not tune

    def put_right(sentence: str) -> str:
        done = _ORNAMENTS.get((wishes.ornaments, wishes.slides == "written"))
        if done is not None:
            sentence = _KEPT_APART.sub(done, sentence)
        return sentence.replace(_TOLD, "chords could be told from") if left_out else sentence

    said = f"{_LEFT_OUT.get(tune.harmony, 'the chords')} are left out, as asked for (--harmony {wishes.harmony})"
    remarks = (*map(put_right, tune.remarks), *([said] if left_out else []))
    return replace(heard, warnings=tuple(map(put_right, tune.warnings)), remarks=remarks)
