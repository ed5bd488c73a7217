"""Reading a machine file: every fault at once, each with its path, value, limit and likely slip."""

from __future__ import annotations

import tomllib
from pathlib import Path
from types import UnionType
from typing import Any, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from jackrail.faults import FAULT_CODES, BadInput, Fault, nearest

from .board import Supply
from .fitness import fitness_faults
from .instrument import Instrument
from .machine import Machine
from .mechanism import Mechanism
from .references import reference_faults

LARGEST_FILE_B = 1_000_000
_UNION_TAGS = {"travelling_stop", "fretted_string", "hammer", "chord_bar", "turning_pick", "kicked_pick"}

# What pydantic finds, in the words of a TOML file.
_SHAPES = {
    "tuple_type": "should be a list, in [ ]",
    "dict_type": "should be a table of key = value",
    "model_type": "should be a table of key = value",
    "model_attributes_type": "should be a table of key = value",
    "string_type": "should be a text in quotes",
    "int_type": "should be a whole number",
    "int_from_float": "should be a whole number",
    "int_parsing": "should be a whole number without quotes",
    "float_type": "should be a number",
    "float_parsing": "should be a number without quotes",
    "bool_type": "should be true or false",
    "bool_parsing": "should be true or false, without quotes",
}
_LIMITS = {"ge": "at least", "gt": "more than", "le": "at most", "lt": "less than", "min_length": "at least", "max_length": "at most"}


def load_machine(path: Path) -> Machine:
    """The machine written in a TOML file. Raises BadInput with every fault of the file, the file name before each."""
    try:
        return parse_machine(_read_text(path))
    except BadInput as bad:
        raise bad.at(path.name) from None


def _read_text(path: Path) -> str:
    try:
        with path.open("rb") as file:
            data = file.read(LARGEST_FILE_B + 1)
        if len(data) > LARGEST_FILE_B:
            raise BadInput(Fault("file", "is too large for a machine file", limit=f"{LARGEST_FILE_B} bytes"))
        return data.decode("utf-8")
    except OSError as error:
        raise BadInput(Fault("file", f"cannot be read: {error.strerror}", hint=f"check the path {path}")) from None
    except UnicodeDecodeError as error:
        raise BadInput(Fault("syntax", f"is not UTF-8 text at byte {error.start}", hint="save the file as UTF-8")) from None


def parse_machine(text: str) -> Machine:
    """The machine written in a TOML text. Raises BadInput with every fault."""
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise BadInput(Fault("syntax", f"is not TOML: {error}", hint="texts stand in quotes, a list in [ ]")) from None
    faults: list[Fault] = []
    machine: Machine | None = None
    try:
        machine = Machine.model_validate(raw)
    except ValidationError as error:
        faults += [_fault(details) for details in _real(error.errors(include_url=False))]
    faults += reference_faults(raw)
    instrument, mechanism = _part(Instrument, raw, "instrument"), _part(Mechanism, raw, "mechanism")
    if isinstance(instrument, Instrument) and isinstance(mechanism, Mechanism):
        faults += fitness_faults(instrument, mechanism)
    supply = _part(Supply, raw, "supply")
    if isinstance(supply, Supply):
        faults += _rail_faults(supply)
    if faults or machine is None:
        raise BadInput(faults)
    return machine


def _part(model: type[BaseModel], raw: dict[str, Any], key: str) -> BaseModel | None:
    """One subject alone, or None when it has faults of its own (told already)."""
    try:
        return model.model_validate(raw.get(key))
    except ValidationError:
        return None


def _rail_faults(supply: Supply) -> list[Fault]:
    sources = {rail.id: rail.source for rail in supply.rails}
    faults = []
    for index, rail in enumerate(supply.rails):
        seen, at = {rail.id}, rail.source
        while at in sources and at not in seen:
            seen.add(at)
            at = sources[at]
        if at in seen:
            faults.append(
                Fault(
                    "reference",
                    "a rail is made from itself",
                    f"supply.rails[{index}].from",
                    repr(rail.source),
                    hint="name the rail it is fed by",
                )
            )
    return faults


def _real(errors: list[ErrorDetails]) -> list[ErrorDetails]:
    """The errors without "too short" for a list whose entries are there but have faults of their own."""
    return [e for e in errors if e["type"] != "too_short" or not e["input"]]


def _fault(details: ErrorDetails) -> Fault:  # noqa: PLR0911 - one line for each kind of error
    """One pydantic error as a fault of ours."""
    where = _path(details["loc"])
    kind, context, value = details["type"], details.get("ctx", {}), repr(details["input"])
    code = kind.removeprefix("jackrail-")
    if code in FAULT_CODES and code != kind:
        return Fault(code, context["what"], where, context["value"], context["limit"], context["hint"])
    key = str(details["loc"][-1])
    if kind == "missing":
        return Fault("missing", "a required key is missing", where)
    if kind == "extra_forbidden":
        return Fault("unknown-key", "there is no such key", where, hint=nearest(key, _keys_at(details["loc"][:-1])))
    if kind in ("literal_error", "union_tag_invalid"):
        return _choice_fault(where, value, context)
    if kind == "union_tag_not_found":
        return Fault("missing", "a required key is missing", f"{where}.kind")
    if kind == "string_pattern_mismatch":
        return Fault("type", "is no id", where, value, hint="an id starts with a small letter and has small letters, digits and _ only")
    shown = value if len(value) <= 60 else value[:57] + "..."
    if kind in _SHAPES:
        return Fault("type", _SHAPES[kind], where, shown)
    limits = [f"{words} {context[key]}" for key, words in _LIMITS.items() if key in context]
    if limits:
        return Fault("range", "is out of range", where, shown, " and ".join(limits))
    return Fault("type", details["msg"][:1].lower() + details["msg"][1:], where, shown)


def _choice_fault(where: str, value: str, context: dict[str, Any]) -> Fault:
    expected = str(context.get("expected") or context.get("expected_tags"))
    words = [word.strip("' ") for word in expected.replace(" or ", ", ").split(",")]
    if "tag" in context:
        where, value = f"{where}.kind", repr(context["tag"])
    return Fault("choice", "is not one of the words allowed", where, value, expected, nearest(value.strip("'"), words))


def _path(loc: tuple[int | str, ...]) -> str:
    """A pydantic location as the maker would write it: mechanism.voices[0].carriage.speed."""
    text = ""
    for part in loc:
        if isinstance(part, int):
            text += f"[{part}]"
        elif part not in _UNION_TAGS:
            text += f".{part}" if text else part
    return text


def _keys_at(loc: tuple[int | str, ...]) -> list[str]:
    """The keys known to the part of the machine at a location."""
    models: list[type[BaseModel]] = [Machine]
    for part in loc:
        if isinstance(part, int):
            continue
        if part in _UNION_TAGS:
            models = [model for model in models if part in get_args(model.model_fields["kind"].annotation)]
            continue
        fields = [f for model in models for n, f in model.model_fields.items() if (f.alias or n) == part]
        models = [model for field in fields for model in _models_in(field.annotation)]
    return [field.alias or name for model in models for name, field in model.model_fields.items()]


def _models_in(annotation: object) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    if get_origin(annotation) in (tuple, Union, UnionType) or get_args(annotation):
        return [model for argument in get_args(annotation) for model in _models_in(argument)]
    return []
