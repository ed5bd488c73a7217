"""The machine file read into a `Machine`: four subjects and a name."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field

from jackrail.faults import Fault, shown

from .board import Board, Supply
from .instrument import Instrument
from .mechanism import Mechanism
from .quantities import UNIT_KEY, Strict, custom_error


def _one_line(name: str) -> str:
    if not name.isprintable():
        raise custom_error(Fault("type", "holds a line break or another control character", value=shown(name), hint="write one line"))
    return name


class Machine(Strict):
    """A whole machine. Each later stage is handed only the subject it needs. format: version of the file format."""

    format: Literal[1]
    name: Annotated[str, AfterValidator(_one_line)] = Field(min_length=1, max_length=80)
    notes: str = ""
    instrument: Instrument
    mechanism: Mechanism
    board: Board
    supply: Supply


def json_schema() -> dict[str, Any]:
    """JSON Schema of the machine file (draft 2020-12), for editors that complete TOML."""
    schema = _with_default_texts(Machine.model_json_schema(by_alias=True))
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema, "title": "jackrail machine file"}


def _with_default_texts(schema: Any) -> Any:  # noqa: ANN401 - any part of a JSON value
    """The schema with the default of each quantity as a maker would write it: "4 s", not 4.0."""
    if isinstance(schema, list):
        return [_with_default_texts(part) for part in schema]
    if not isinstance(schema, dict):
        return schema
    parts = {key: _with_default_texts(value) for key, value in schema.items() if key != UNIT_KEY}
    if UNIT_KEY in schema and "default" in schema:
        parts["default"] = f"{schema['default']:g} {schema[UNIT_KEY]}"
    return parts
