"""The shipped machines, and the JSON Schema of the machine file held against what the loader takes."""

import re
import tomllib

import pytest

from jackrail.machine.machine import json_schema
from workshop import MACHINES, ROOT, ensemble, machine, machine_text

BAD = ROOT / "tests" / "machine" / "cases" / "bad"
TYPES = {"string": str, "integer": int, "number": (int, float), "array": list, "object": dict, "null": type(None)}


@pytest.mark.parametrize("path", MACHINES, ids=lambda path: path.stem)
def test_every_shipped_machine_loads_and_moves(path):
    made = ensemble(path.stem)
    assert machine(path.stem).name
    assert len(made.voices) == len(machine(path.stem).mechanism.voices) > 0


@pytest.mark.parametrize("path", MACHINES, ids=lambda path: path.stem)
def test_every_shipped_machine_warns_of_heat_and_mains(path):
    text = path.read_text(encoding="utf-8").lower()
    assert "caution" in text
    assert "hot" in text
    assert "licensed" in text


def test_quantities_are_held_in_the_inside_units():
    lute = machine("twin_lute")
    assert lute.instrument.string("high").scale_length_mm == pytest.approx(609.6)  # 24 in
    assert lute.mechanism.voices[0].pluck.speed_turn_s == pytest.approx(6.0)  # 360 rpm
    assert lute.mechanism.coil("press_high_2").max_on_s == 8.0
    assert lute.board.flash_b == 32768  # 32 KiB


def test_defaults_are_those_of_the_usual_board():
    plain = tomllib.loads(machine_text("tower_chimes"))
    board = {key: value for key, value in plain["board"].items() if key in ("rail", "pins")}
    made = type(machine("tower_chimes")).model_validate({**plain, "board": board})
    assert made.board == machine("tower_chimes").board


def errors(value, schema, root, path="$"):
    """What JSON Schema (draft 2020-12) holds against a value: the keywords that our schema uses, and no others."""
    known = {"$schema", "$defs", "$ref", "title", "description", "default", "examples", "discriminator", "type", "properties", "required"}
    known |= {"additionalProperties", "items", "prefixItems", "minItems", "maxItems", "anyOf", "oneOf", "const", "enum", "pattern"}
    known |= {"minimum", "maximum", "exclusiveMinimum", "minLength", "maxLength"}
    assert set(schema) <= known, f"the checker does not know {set(schema) - known}"
    if "$ref" in schema:
        yield from errors(value, root["$defs"][schema["$ref"].rsplit("/", 1)[1]], root, path)
    for several, fits in (("anyOf", lambda n: n >= 1), ("oneOf", lambda n: n == 1)):
        if several in schema and not fits(sum(not [*errors(value, option, root, path)] for option in schema[several])):
            yield path, several
    if "const" in schema and value != schema["const"]:
        yield path, "const"
    if "enum" in schema and value not in schema["enum"]:
        yield path, "enum"
    kind = schema.get("type")
    if kind is not None and (not isinstance(value, TYPES[kind]) or (isinstance(value, bool) and kind != "boolean")):
        yield path, "type"
        return
    yield from inside(value, schema, root, path)


def inside(value, schema, root, path):
    if isinstance(value, dict):
        properties = schema.get("properties", {})
        yield from ((path, f"required {key}") for key in schema.get("required", ()) if key not in value)
        for key, item in value.items():
            rule = properties.get(key, schema.get("additionalProperties", {}))
            if rule is False:
                yield path, f"unknown {key}"
            else:
                yield from errors(item, rule, root, f"{path}.{key}")
    elif isinstance(value, list):
        rules = schema.get("prefixItems", [])
        for index, item in enumerate(value):
            yield from errors(item, rules[index] if index < len(rules) else schema.get("items", {}), root, f"{path}[{index}]")
        if not schema.get("minItems", 0) <= len(value) <= schema.get("maxItems", len(value)):
            yield path, "length"
    elif isinstance(value, str):
        if not re.search(schema.get("pattern", ""), value) or not schema.get("minLength", 0) <= len(value) <= schema.get("maxLength", 1e9):
            yield path, "text"
    elif isinstance(value, int | float) and (
        value < schema.get("minimum", value) or value > schema.get("maximum", value) or value <= schema.get("exclusiveMinimum", value - 1)
    ):
        yield path, "size"


@pytest.mark.parametrize("path", MACHINES, ids=lambda path: path.stem)
def test_the_schema_accepts_every_machine_that_the_loader_accepts(path):
    assert [*errors(tomllib.loads(path.read_text(encoding="utf-8")), json_schema(), json_schema())] == []


@pytest.mark.parametrize("name", ["shape", "values", "empty"])
def test_the_schema_refuses_files_of_a_wrong_shape(name):
    raw = tomllib.loads((BAD / f"{name}.toml").read_text(encoding="utf-8"))
    assert [*errors(raw, json_schema(), json_schema())]


def test_the_schema_names_the_same_unknown_and_missing_keys_as_the_loader():
    raw = tomllib.loads(machine_text("quay_zither", ('speed = "450 mm/s"', 'sped = "450 mm/s"'), ('name = "Quay zither"', 'title = "Q"')))
    found = {what for _, what in errors(raw, json_schema(), json_schema())}
    assert {"required name", "unknown title", "oneOf"} <= found


def test_every_quantity_of_the_schema_shows_an_example_with_a_unit():
    for part in json_schema()["$defs"].values():
        for key, rule in part.get("properties", {}).items():
            if "with its unit" in rule.get("description", ""):
                assert rule["examples"], key
                assert " " in rule["examples"][0]
