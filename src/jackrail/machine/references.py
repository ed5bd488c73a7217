"""Faults of names: what refers to nothing, what is declared or used twice; with the faults of pins.

Works on the plain TOML tables, so that these faults are told together with all faults of shape, in one go.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import Any

from jackrail.faults import Fault, nearest

from .pins import pin_faults

Table = dict[str, Any]
Use = tuple[str, str, str]
"""Path of a reference, the name it gives, the kind of thing it must name."""

_DECLARED = {
    "string": ("instrument", "strings"),
    "sounder": ("instrument", "sounders"),
    "motor": ("mechanism", "motors"),
    "relay": ("mechanism", "relays"),
    "coil": ("mechanism", "coils"),
    "switch": ("mechanism", "switches"),
    "voice": ("mechanism", "voices"),
    "rail": ("supply", "rails"),
}
# Where voices and devices name others: key path below the table -> kind of thing.
_VOICE_USES = {
    "string": "string",
    "strings": "string",
    "sounds": "string or sounder",
    "coil": "coil",
    "carriage.motor": "motor",
    "carriage.home_switch": "switch",
    "carriage.detent_switch": "switch",
    "pluck.motor": "motor",
    "pluck.coil": "coil",
    "pluck.index_switch": "switch",
    "fingers.coil": "coil",
}
_DEVICE_USES = {
    "motors": {"rail": "rail"},
    "relays": {"rail": "rail"},
    "coils": {"rail": "rail", "relay": "relay"},
    "voices": _VOICE_USES,
}
# A thing that can serve only one master. One index switch may serve several picks that turn in step.
_EXCLUSIVE = ("coil", "motor", "switch")


def reference_faults(raw: Table) -> list[Fault]:
    """All faults of names in a machine file given as plain tables. Tolerates any shape."""
    declared = {kind: _ids(raw, *path) for kind, path in _DECLARED.items()}
    known = {kind: set(ids) for kind, ids in declared.items()}
    known["string or sounder"] = known["string"] | known["sounder"]
    uses = list(_uses(raw))
    faults = [_repeated(kind, ident) for kind, ids in declared.items() for ident, n in Counter(ids).items() if n > 1]
    faults += [
        Fault("twice", f"the name {name!r} is given to a string and to a sounder", "instrument", hint="rename one")
        for name in sorted(known["string"] & known["sounder"])
    ]
    faults += [
        Fault("reference", f"there is no {kind} of this name", path, repr(name), hint=_known_hint(name, known[kind], kind))
        for path, name, kind in uses
        if name not in known[kind]
    ]
    faults += [
        Fault("twice", f"the name {name!r} is given to a coil and to a switch", "mechanism", hint="rename one: each needs a pin")
        for name in sorted(known["coil"] & known["switch"])
    ]
    faults += _shared(uses)
    faults += _strings_of_two(uses)
    faults += pin_faults(_table(raw, "board").get("pins"), declared)
    return faults


def _table(raw: object, key: str) -> Table:
    value = raw.get(key) if isinstance(raw, dict) else None
    return value if isinstance(value, dict) else {}


def _rows(raw: Table, section: str, key: str) -> list[Table]:
    rows = _table(raw, section).get(key)
    return [row for row in rows if isinstance(row, dict)] if isinstance(rows, list) else []


def _ids(raw: Table, section: str, key: str) -> list[str]:
    return [row["id"] for row in _rows(raw, section, key) if isinstance(row.get("id"), str)]


def _uses(raw: Table) -> Iterator[Use]:
    for key, wanted in _DEVICE_USES.items():
        for index, row in enumerate(_rows(raw, "mechanism", key)):
            for path, kind in wanted.items():
                yield from _at(row, path, f"mechanism.{key}[{index}]", kind)
    for index, row in enumerate(_rows(raw, "supply", "rails")):
        yield from _at(row, "from", f"supply.rails[{index}]", "rail")
    yield from _at(_table(raw, "board"), "rail", "board", "rail")
    yield from _at(_table(raw, "board"), "play_button", "board", "switch")


def _at(row: object, path: str, place: str, kind: str) -> Iterator[Use]:
    """The texts found below `row` at a dotted path; lists on the way are walked."""
    if isinstance(row, list):
        for index, item in enumerate(row):
            yield from _at(item, path, f"{place}[{index}]", kind)
    elif not path:
        if isinstance(row, str):
            yield place, row, kind
    elif isinstance(row, dict):
        key, _, rest = path.partition(".")
        if key in row:
            yield from _at(row[key], rest, f"{place}.{key}", kind)


def _repeated(kind: str, ident: str) -> Fault:
    section, key = _DECLARED[kind]
    return Fault("twice", f"the {kind} {ident!r} is declared more than once", f"{section}.{key}", hint="give each its own id")


def _known_hint(name: str, known: set[str], kind: str) -> str:
    return nearest(name, sorted(known)) if known else f"no {kind} is declared"


def _shared(uses: list[Use]) -> list[Fault]:
    faults = []
    for kind in _EXCLUSIVE:
        places: dict[str, list[str]] = {}
        for path, name, used_kind in uses:
            if used_kind == kind and not path.endswith(".index_switch"):
                places.setdefault(name, []).append(path)
        faults += [
            Fault("twice", f"the {kind} {name!r} is used by more than one part", where[1], hint=f"also used at {where[0]}")
            for name, where in places.items()
            if len(where) > 1
        ]
    return faults


def _strings_of_two(uses: list[Use]) -> list[Fault]:
    """A string under a bar or fingers must be that voice's alone; several chord bars may lie over one string."""
    faults: list[Fault] = []
    places: dict[str, list[str]] = {}
    for path, name, kind in uses:
        if kind in ("string", "string or sounder"):
            places.setdefault(name, []).append(path)
    for name, where in places.items():
        owners = [path for path in where if path.endswith(".string")]
        others = [path for path in where if path not in owners[:1]]
        if owners and others:
            hint = f"{owners[0]} sets the pitch of this string: give the other voice a string of its own"
            faults.append(Fault("twice", f"the string {name!r} is under two mechanisms", others[0], hint=hint))
        bars = Counter(path.partition(".strings[")[0] for path in where if ".strings[" in path)
        faults += [Fault("twice", f"the string {name!r} is listed {n} times", f"{bar}.strings") for bar, n in bars.items() if n > 1]
    return faults
