"""Size and upkeep: small modules, small functions, nothing left for later."""

import ast
import re

import pytest

from workshop import ROOT

SOURCES = sorted((ROOT / "src").rglob("*.py"))
MOST_LINES = 400
MOST_FUNCTION_LINES = 60


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(ROOT / "src")))
def test_modules_and_functions_stay_small(path):
    text = path.read_text(encoding="utf-8")
    assert len(text.splitlines()) <= MOST_LINES
    long = {
        f"{node.name} at line {node.lineno}": node.end_lineno - node.lineno + 1
        for node in ast.walk(ast.parse(text))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and node.end_lineno - node.lineno + 1 > MOST_FUNCTION_LINES
    }
    assert not long


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(ROOT / "src")))
def test_nothing_is_left_for_later(path):
    assert not re.findall(r"\b(?:TODO|FIXME|XXX|HACK)\b", path.read_text(encoding="utf-8"))


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(ROOT / "src")))
def test_every_module_says_what_it_is(path):
    assert ast.get_docstring(ast.parse(path.read_text(encoding="utf-8")))
