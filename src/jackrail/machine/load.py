"""Reading a machine file: every fault at once, each with its path, value, limit and likely slip."""

from __future__ import annotations

import tomllib
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Any, TypeVar

from pydantic import TypeAdapter, ValidationError

from jackrail.faults import BadInput, Fault

from .board import Rail
from .fitness import ValidParts, fitness_faults
from .instrument import String
from .machine import Machine
from .mechanism import Coil, Motor, Relay, VoicePart
from .references import reference_faults
from .shape import shape_faults

LARGEST_FILE_B = 1_000_000


def load_machine(path: Path) -> Machine:
    """The machine written in a TOML file. Raises BadInput with every fault of the file, the file's path before each."""
    try:
        text = _read_text(path)
    except BadInput as bad:
        raise bad.at(str(path)) from None
    try:
        return parse_machine(text)
    except BadInput as bad:
        ids = _ids(text)
        raise BadInput(replace(fault, where=_with_ids(fault.where, ids)).at(str(path)) for fault in bad.faults) from None


def _read_text(path: Path) -> str:
    try:
        with path.open("rb") as file:
            data = file.read(LARGEST_FILE_B + 1)
        if len(data) > LARGEST_FILE_B:
            raise BadInput(Fault("file", "is too large for a machine file", limit=f"{LARGEST_FILE_B} bytes"))
        return data.decode("utf-8-sig")
    except OSError as error:
        raise BadInput(Fault("file", f"cannot be read: {error.strerror}", hint="check the path")) from None
    except UnicodeDecodeError as error:
        raise BadInput(Fault("syntax", f"is not UTF-8 text at byte {error.start}", hint="save the file as UTF-8")) from None


def _ids(text: str) -> dict[str, str]:
    """The id of each row of each list of a file, by its path: {"mechanism.voices[2]": "bar_c"}."""
    try:
        raw = tomllib.loads(text)
    except (ValueError, RecursionError):
        return {}
    ids = {}
    for section, part in raw.items():
        for key, rows in part.items() if isinstance(part, dict) else ():
            for index, row in enumerate(rows if isinstance(rows, list) else ()):
                if isinstance(row, dict) and isinstance(row.get("id"), str):
                    ids[f"{section}.{key}[{index}]"] = row["id"]
    return ids


def _with_ids(where: str, ids: dict[str, str]) -> str:
    """A path with the id of its part behind it, since lists count from 0: mechanism.voices[2].pulse (bar_c)."""
    return next((f"{where} ({ident})" for path, ident in ids.items() if where == path or where.startswith(f"{path}.")), where)


def parse_machine(text: str) -> Machine:
    """The machine written in a TOML text. Raises BadInput with every fault."""
    raw = _toml(text)
    faults: list[Fault] = []
    machine: Machine | None = None
    try:
        machine = Machine.model_validate(raw)
    except ValidationError as error:
        faults += shape_faults(error)
    faults += reference_faults(raw)
    faults += fitness_faults(_valid_parts(raw))
    rails = _valid_rows(TypeAdapter(Rail), raw, "supply", "rails")
    faults += _rail_faults(rails)
    if faults or machine is None:
        raise BadInput(faults)
    return machine


def _toml(text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        hint = "texts stand in quotes, lists in [ ], decimals take a point; for inches inside quotes write in"
        if text.lstrip()[:2] in {"X:", "T:", "%a", "<?", "<s"}:
            hint = "is it a tune? MACHINE comes first, then TUNE"
        raise BadInput(Fault("syntax", f"is not TOML: {error}", hint=hint)) from None
    except (ValueError, RecursionError):
        raise BadInput(
            Fault("syntax", "is not TOML that can be read", hint="a number is far too long, or brackets are nested far too deep")
        ) from None


def _valid_parts(raw: dict[str, Any]) -> ValidParts:
    return ValidParts(
        strings={string.id: string for string in _valid_rows(TypeAdapter(String), raw, "instrument", "strings").values()},
        motors={motor.id: motor for motor in _valid_rows(TypeAdapter(Motor), raw, "mechanism", "motors").values()},
        relays={relay.id: relay for relay in _valid_rows(TypeAdapter(Relay), raw, "mechanism", "relays").values()},
        coils={coil.id: coil for coil in _valid_rows(TypeAdapter(Coil), raw, "mechanism", "coils").values()},
        voices=_valid_rows(TypeAdapter(VoicePart), raw, "mechanism", "voices"),
        pins=_valid_pins(raw),
    )


def _valid_pins(raw: dict[str, Any]) -> dict[str, str]:
    board = raw.get("board")
    pins = board.get("pins") if isinstance(board, dict) else None
    return {device: pin for device, pin in pins.items() if isinstance(pin, str)} if isinstance(pins, dict) else {}


T = TypeVar("T")


def _valid_rows(adapter: TypeAdapter[T], raw: dict[str, Any], section: str, key: str) -> dict[int, T]:
    """The rows of a list that are valid by themselves, by their index; faults of the others are told elsewhere."""
    part = raw.get(section)
    rows = part.get(key) if isinstance(part, dict) else None
    valid: dict[int, T] = {}
    for index, row in enumerate(rows if isinstance(rows, list) else ()):
        with suppress(ValidationError):
            valid[index] = adapter.validate_python(row)
    return valid


def _rail_faults(rails: dict[int, Rail]) -> list[Fault]:
    sources = {rail.id: rail.source for rail in rails.values()}
    faults = []
    for index, rail in rails.items():
        seen, at = {rail.id}, rail.source
        while at in sources and at not in seen:
            seen.add(at)
            at = sources[at]
        if at in seen:
            where, hint = f"supply.rails[{index}].from", "name the rail it is fed by"
            faults.append(Fault("reference", "a rail is made from itself", where, repr(rail.source), hint=hint))
    return faults
