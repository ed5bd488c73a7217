"""Faults of shape: what pydantic finds in a machine file, told in the words of a TOML file."""

from __future__ import annotations

from difflib import get_close_matches
from types import UnionType
from typing import Any, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from jackrail.faults import FAULT_CODES, Fault, nearest, shown

from .machine import Machine

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


def shape_faults(error: ValidationError) -> list[Fault]:
    """Every error of a machine file's shape, but for "too short" of a list whose entries are there with faults of their own."""
    errors = error.errors(include_url=False)
    return [_fault(details) for details in errors if details["type"] != "too_short" or not details["input"]]


def _fault(details: ErrorDetails) -> Fault:  # noqa: PLR0911 - one line for each kind of error
    """One pydantic error as a fault of ours."""
    where = _path(details["loc"])
    kind, context, value = details["type"], details.get("ctx", {}), shown(details["input"])
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
    if kind in _SHAPES:
        return Fault("type", _SHAPES[kind], where, value)
    limits = [f"{words} {context[key]}" for key, words in _LIMITS.items() if key in context]
    if limits:
        hint = "write a share of 1: 0.8 for 80 %" if key in ("hold", "efficiency", "max_duty") else ""
        return Fault("range", "is out of range", where, value, " and ".join(limits), hint)
    return Fault("type", details["msg"][:1].lower() + details["msg"][1:], where, value)


def _choice_fault(where: str, value: str, context: dict[str, Any]) -> Fault:
    expected = str(context.get("expected") or context.get("expected_tags"))
    words = [word.strip("' ") for word in expected.replace(" or ", ", ").split(",")]
    if "tag" in context:
        where, value = f"{where}.kind", repr(context["tag"])
    near = get_close_matches(value.strip("'").lower(), words, n=1)
    return Fault("choice", "is not one of those allowed", where, value, expected, f"did you mean {near[0]!r}?" if near else "")


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
