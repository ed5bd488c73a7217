"""The machine file read into a `Machine`: four subjects and a name."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import Field

from .board import Board, Supply
from .instrument import Instrument
from .mechanism import Mechanism
from .quantities import Strict


class Machine(Strict):
    """A whole machine. Each later stage is handed only the subject it needs. format: version of the file format."""

    format: Literal[1]
    name: str = Field(min_length=1, max_length=80)
    notes: str = ""
    instrument: Instrument
    mechanism: Mechanism
    board: Board
    supply: Supply


def json_schema() -> dict[str, Any]:
    """JSON Schema of the machine file (draft 2020-12), for editors that complete TOML."""
    schema = Machine.model_json_schema(by_alias=True)
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema, "title": "jackrail machine file"}
