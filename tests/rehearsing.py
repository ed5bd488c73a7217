"""Whether rehearsals can run here, for the tests that need them."""

from functools import cache

import pytest

from jackrail.rehearsal.build import build
from jackrail.rehearsal.missing import RigMissing


@cache
def missing():
    """Why nothing can be rehearsed here; empty when it can."""
    try:
        build()
    except RigMissing as error:
        if "not installed" not in str(error):
            raise  # all is there, so the rig's own sources are at fault: no reason to skip
        return str(error)
    return ""


needs_rehearsal = pytest.mark.skipif(bool(missing()), reason=missing() or "all there")
