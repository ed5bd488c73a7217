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
        return str(error)
    return ""


needs_rehearsal = pytest.mark.skipif(bool(missing()), reason=missing() or "all there")
