"""What the reader told, in the light of what was asked for: no sentence may speak of something that is not done."""

from __future__ import annotations

import re
from dataclasses import replace

from jackrail.tune.model import Tune

from .harmony import with_harmony
from .wishes import Wishes

_KEPT_APART = re.compile(r"kept apart,? [^(]*\(--ornaments\)")
_ORNAMENTS = {
    "all": "tried, as asked for (--ornaments all)",
    "graces": "kept apart; of them only grace notes are tried, as asked for (--ornaments graces)",
}
_TOLD = "chords are told from"
_LEFT_OUT = {"written": "the chords written in the file", "estimated": "the chords told from the accompaniment"}


def as_asked(tune: Tune, wishes: Wishes) -> Tune:
    """`tune` with only such chords as are wished for, its warnings and remarks put right, and a remark where chords are left out."""
    heard = with_harmony(tune, wishes.harmony)
    left_out = heard is not tune

    def put_right(sentence: str) -> str:
        if wishes.ornaments in _ORNAMENTS:
            sentence = _KEPT_APART.sub(_ORNAMENTS[wishes.ornaments], sentence)
        return sentence.replace(_TOLD, "chords could be told from") if left_out else sentence

    said = f"{_LEFT_OUT.get(tune.harmony, 'the chords')} are left out, as asked for (--harmony {wishes.harmony})"
    remarks = (*map(put_right, tune.remarks), *([said] if left_out else []))
    return replace(heard, warnings=tuple(map(put_right, tune.warnings)), remarks=remarks)
