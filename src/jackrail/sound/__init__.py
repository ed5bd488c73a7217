"""Sound: a performance made audible, so that a tune is heard before anything moves. See `render` and `write_wav`."""

from .mix import render
from .wav import write_wav

__all__ = ["render", "write_wav"]
