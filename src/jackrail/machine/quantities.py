"""The annotated types of the machine file: texts with units and pitch names, read and range-checked where they stand."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, GetCoreSchemaHandler, GetJsonSchemaHandler, StringConstraints
from pydantic_core import PydanticCustomError, core_schema

from jackrail.faults import BadInput, Fault, shown
from jackrail.pitch import parse_chord, parse_pitch
from jackrail.units import KINDS, parse_quantity

UNIT_KEY = "unit"
"""Where the JSON Schema of a quantity keeps its unit while it is made; `json_schema` writes defaults with it."""


class Strict(BaseModel):
    """Base of every part of a machine: frozen, unknown keys refused, written by the short name (the alias)."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=False)


def custom_error(fault: Fault) -> PydanticCustomError:
    """A fault as a pydantic error, so that it is gathered with all others; `load` turns it back."""
    context: dict[str, Any] = {"value": fault.value, "limit": fault.limit, "hint": fault.hint, "what": fault.what}
    return PydanticCustomError(f"jackrail-{fault.code}", "{what}", context)


_SLIPS = (1e3, 1e-3, 25.4, 1 / 25.4, 10, 0.1)
"""By how much a value is off when its unit was taken for another: milli, inch and millimetre, centimetre."""


@dataclass(frozen=True)
class Quantity:
    """A text such as "610 mm" read into the kind's inside unit, allowed from `least` to `most` of that unit."""

    kind: str
    least: float
    most: float

    def read(self, raw: object) -> float:
        """The value in the inside unit. Raises a pydantic error carrying our fault."""
        kind = KINDS[self.kind]
        if not isinstance(raw, str):
            hint = f"a {kind.name} is a text with its unit, like {kind.example!r}"
            raise custom_error(Fault("quantity", f"should be a {kind.name} in quotes", value=shown(raw), hint=hint))
        try:
            value = parse_quantity(raw, self.kind)
        except BadInput as bad:
            raise custom_error(bad.faults[0]) from None
        if not self.least <= value <= self.most:
            limit = f"{self.least:g} to {self.most:g} {kind.unit}"
            hint = "check the unit" if any(self.least <= value * slip <= self.most for slip in _SLIPS) else ""
            raise custom_error(Fault("range", f"this {kind.name} is out of range", value=shown(raw), limit=limit, hint=hint))
        return value

    def __get_pydantic_core_schema__(self, source: object, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        kind = KINDS[self.kind]
        text = f"{kind.name} with its unit, {self.least:g} to {self.most:g} {kind.unit}"
        return {"type": "string", "description": text, "examples": [kind.example], UNIT_KEY: kind.unit}


@dataclass(frozen=True)
class _Text:
    """A text checked by a reader that raises BadInput; kept as written."""

    reader: Any
    description: str
    example: str

    def read(self, raw: object) -> str:
        if not isinstance(raw, str):
            raise custom_error(Fault("type", f"should be {self.description} in quotes", value=shown(raw), hint=f"like {self.example!r}"))
        try:
            self.reader(raw)
        except BadInput as bad:
            raise custom_error(bad.faults[0]) from None
        return raw.strip()

    def __get_pydantic_core_schema__(self, source: object, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return {"type": "string", "description": self.description, "examples": [self.example]}


Id = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9_]{0,31}$")]
PitchText = Annotated[str, _Text(parse_pitch, "a pitch", "F#4")]
ChordText = Annotated[str, _Text(parse_chord, "a chord symbol", "Am")]

# Ranges are those of machines of this kind; they exist to catch slips of unit, not to judge a design.
ScaleLengthMm = Annotated[float, Quantity("length", 50, 3000)]
GaugeMm = Annotated[float, Quantity("length", 0.1, 3)]
PositionMm = Annotated[float, Quantity("length", 0, 3000)]
SwayMm = Annotated[float, Quantity("length", 0, 20)]
TravelPerTurnMm = Annotated[float, Quantity("travel per turn", 0.2, 500)]
SpeedMmS = Annotated[float, Quantity("speed", 1, 5000)]
AccelerationMmS2 = Annotated[float, Quantity("acceleration", 10, 100_000)]
TurnSpeed = Annotated[float, Quantity("rotation speed", 0.05, 100)]
TurnAcceleration = Annotated[float, Quantity("rotation acceleration", 0.1, 10_000)]
AngleTurn = Annotated[float, Quantity("angle", 0.0, 1.0)]
ShortTimeS = Annotated[float, Quantity("time", 0.0, 2.0)]
RingTimeS = Annotated[float, Quantity("time", 0.02, 60.0)]
OnTimeS = Annotated[float, Quantity("time", 0.002, 3600)]
PulseS = Annotated[float, Quantity("time", 0.002, 16.0)]  # shorter than the longest wait of a roll, 16.7 s
VoltageV = Annotated[float, Quantity("voltage", 1, 60)]
CurrentA = Annotated[float, Quantity("current", 0.001, 100)]
ResistanceOhm = Annotated[float, Quantity("resistance", 0.05, 5000)]
InductanceH = Annotated[float, Quantity("inductance", 1e-6, 10)]
TorqueNm = Annotated[float, Quantity("torque", 0.001, 50)]
ReferenceHz = Annotated[float, Quantity("frequency", 380, 480)]
ClockHz = Annotated[float, Quantity("frequency", 1e6, 20e6)]
FlashB = Annotated[float, Quantity("memory", 1024, 262144)]
BootLoaderB = Annotated[float, Quantity("memory", 0, 8192)]
SramB = Annotated[float, Quantity("memory", 256, 65536)]
