"""The plant judges plans, so it must not know them: what it is made of imports none."""

import ast

import pytest

from workshop import ROOT

FOLDER = ROOT / "src" / "jackrail" / "rehearsal"
MAY = ("jackrail.machine", "jackrail.pitch", "jackrail.units", "jackrail.performance")
OWN = {"plant", "plant_run"}
RIG_C = {path.stem: path.read_text(encoding="utf-8") for path in sorted((FOLDER / "rig").glob("*.c"))}
CHIP_C = {name for name, text in RIG_C.items() if '#include "inside.h"' in text}
PLANT_C = sorted(set(RIG_C) - CHIP_C - {"rig"})
"""All that is neither the chip nor the joint of the two."""


@pytest.mark.parametrize("name", ["plant", "plant_run", "heard"])
def test_the_plant_knows_the_machine_and_nothing_of_what_is_played_on_it(name):
    tree = ast.parse((FOLDER / f"{name}.py").read_text(encoding="utf-8"))
    imports = [node for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)]
    plain = [alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names]
    assert any(node.level == 0 and (node.module or "").startswith("jackrail.machine") for node in imports) or name == "plant_run"
    for node in imports:
        if node.level:
            assert node.module in OWN
        elif (node.module or "").startswith("jackrail"):
            assert (node.module or "").startswith(MAY)
    assert not [module for module in plain if module.startswith("jackrail")]


@pytest.mark.parametrize("part", PLANT_C)
def test_the_plant_in_c_knows_no_emulator(part):
    lines = RIG_C[part].splitlines()
    ours = {line.split('"')[1] for line in lines if line.startswith('#include "')}
    others = {line.split("<")[1].split(">")[0] for line in lines if line.startswith("#include <")}
    assert ours <= {"plant.h", "parts.h"}
    assert others <= {"math.h", "stdint.h", "stdlib.h", "string.h"}


def test_the_plant_in_c_is_all_looked_at():
    assert {"coil", "motor", "plant", "supply", "switch", "watch"} <= set(PLANT_C)
