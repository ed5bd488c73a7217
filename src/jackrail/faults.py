"""Bad input: what is wrong with a file or an option, said once and in full.

A `Fault` is one thing wrong with what a person gave us. `BadInput` carries all faults of one input at once, so that a
maker edits the file once. Judgements on healthy input are not faults: see `findings`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches
from reprlib import Repr

_SHORT = Repr()
_SHORT.maxlevel, _SHORT.maxstring, _SHORT.maxother, _SHORT.maxlong = 2, 60, 60, 60

FAULT_CODES: dict[str, str] = {
    "quantity": "a text that should be a number with a unit cannot be read as one",
    "dimension": "a quantity is of the wrong kind, such as a time where a length belongs",
    "pitch": "a text that should be a pitch name such as G4 cannot be read as one",
    "chord": "a chord symbol cannot be read",
    "range": "a value lies outside what is possible",
    "missing": "a required key is absent",
    "unknown-key": "a key that no part of the format knows",
    "type": "a value of the wrong type, such as a number where a list belongs",
    "choice": "a word that is not one of those allowed",
    "reference": "a name that refers to nothing declared in the file",
    "twice": "a name, a pin or a device used more than once",
    "pins": "a device without its pin, or a pin that the chip or the role does not allow",
    "syntax": "the text is not well-formed in its own format",
    "file": "the file cannot be found, read or written",
    "format": "the file is not of a kind that is read here",
    "option": "an option of a command has a value that cannot be used",
    "tune": "the notation holds no tune that can be read",
    "block": "a packed block is damaged or is of another version",
}


@dataclass(frozen=True)
class Fault:
    """One thing wrong with an input.

    code: a key of `FAULT_CODES`. what: one sentence without a full stop. where: file, line or path inside the file.
    value, limit: as text, empty when they do not apply. hint: likely slip and what to do.
    """

    code: str
    what: str
    where: str = ""
    value: str = ""
    limit: str = ""
    hint: str = ""

    def __post_init__(self) -> None:
        if self.code not in FAULT_CODES:
            raise KeyError(f"no fault code {self.code!r}: add it to FAULT_CODES")

    def at(self, place: str) -> Fault:
        """The same fault with `place` set before its own path, for a caller that knows the file."""
        return replace(self, where=f"{place}: {self.where}" if self.where else place)

    def within(self, path: str) -> Fault:
        """The same fault with its path continued from `path`, for a caller that knows the part of the file."""
        return replace(self, where=f"{path}.{self.where}" if self.where else path)

    def __str__(self) -> str:
        parts = [f"{self.where}: {self.what}" if self.where else self.what]
        if self.value:
            parts.append(f"found {self.value}")
        if self.limit:
            parts.append(f"allowed {self.limit}")
        if self.hint:
            parts.append(self.hint)
        return "; ".join(parts)


class BadInput(Exception):  # noqa: N818 - it is said as "bad input", and is one
    """Raised for input that cannot be used. `faults` holds every fault found, at least one."""

    def __init__(self, faults: Fault | Iterable[Fault]) -> None:
        self.faults: tuple[Fault, ...] = (faults,) if isinstance(faults, Fault) else tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))

    def at(self, place: str) -> BadInput:
        """The same faults with `place` (usually a file name) set before each path."""
        return BadInput(fault.at(place) for fault in self.faults)


def shown(value: object) -> str:
    """A value as it was found, cut short: an input can hold anything, of any size and depth."""
    return _SHORT.repr(value)


def nearest(word: str, known: Sequence[str]) -> str:
    """A hint naming the known word nearest to `word`, or listing all of them when none is near."""
    match = get_close_matches(word, known, n=1, cutoff=0.6)
    if match:
        return f"did you mean {match[0]!r}?"
    return "known: " + ", ".join(sorted(known))
