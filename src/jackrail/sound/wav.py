"""Samples to a WAV file that is either whole or not there."""

from __future__ import annotations

import os
from io import BytesIO
from pathlib import Path

import soundfile

from jackrail.faults import BadInput, Fault

from .track import Samples


def write_wav(path: str | os.PathLike[str], samples: Samples, sample_rate_hz: int) -> None:
    """Write samples, shape (n,), -1 to 1, as 16-bit PCM. An older file at `path` stays until the new one is complete.

    Raises BadInput with a "range" fault for samples beyond -1 to 1 (or none at all), "file" when it cannot be written.
    """
    target = Path(path)
    if not (samples.size and samples.min() >= -1 and samples.max() <= 1):
        raise BadInput(Fault("range", "the sound holds no samples or some that a WAV file cannot hold", limit="-1 to 1"))
    whole = BytesIO()  # so that a full disk is met by our own write and not inside the sound library
    soundfile.write(whole, samples, sample_rate_hz, format="WAV", subtype="PCM_16")
    unfinished = target.parent / f".{target.name}.{os.getpid()}.part"
    try:
        try:
            unfinished.write_bytes(whole.getvalue())
            unfinished.replace(target)
        finally:
            unfinished.unlink(missing_ok=True)
    except OSError as error:
        raise BadInput(Fault("file", "cannot be written", str(target), hint=error.strerror or "")) from error
