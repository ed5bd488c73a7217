"""The order of the stages: a stage imports only earlier ones, no module is in a knot, heavy libraries wait until needed."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

from workshop import ROOT

SOURCE = ROOT / "src" / "jackrail"
# Stages of one line stand beside each other and do not import each other, except in the first: the nouns of all.
ORDER = [
    ["units", "faults", "findings", "pitch"],
    ["machine", "tune", "performance"],
    ["motion"],
    ["setting"],
    ["cues"],
    ["roll"],
    ["board"],
    ["rehearsal"],
    ["sound", "checks", "advise"],
    ["work"],
    ["report"],
    ["api"],
    ["cli"],
]
# Inside tune/: what all share, what writers and guessers share, the readers (which do not know each other), the door.
TUNE_ORDER = [
    ["one_line", "choice", "model", "loudness"],
    ["chord_names", "part_names", "score", "inference"],
    ["abc", "musicxml", "midi", "embellish"],
    ["read"],
]
TUNE_RANK = {part: rank for rank, parts in enumerate(TUNE_ORDER) for part in parts}
RANK = {stage: rank for rank, stages in enumerate(ORDER) for stage in stages}
HEAVY = ["pydantic", "numpy", "mido", "soundfile", "jinja2", "scipy", "verovio"]
MODULES = sorted(SOURCE.rglob("*.py"))


def module_name(path: Path) -> str:
    parts = ("jackrail", *path.relative_to(SOURCE).with_suffix("").parts)
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


NAMES = {module_name(path) for path in MODULES}


def stage(module: str) -> str:
    return module.split(".")[1] if "." in module else ""


def imports_of(path: Path, *, lazy: bool) -> set[str]:
    """The modules of ours that a module imports; with lazy also those imported inside functions."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    nodes = list(ast.walk(tree) if lazy else top_level(tree))
    package = module_name(path).split(".") if path.name == "__init__.py" else module_name(path).split(".")[:-1]
    found: set[str] = set()
    for node in nodes:
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            start = package[: len(package) - node.level + 1] if node.level else []
            base = ".".join([*start, *([node.module] if node.module else [])])
            found |= {f"{base}.{alias.name}" if f"{base}.{alias.name}" in NAMES else base for alias in node.names}
    return {name for name in found if name.split(".")[0] == "jackrail"}


def top_level(node: ast.AST):
    """All nodes that run when a module is imported: function bodies do not, nor imports for types alone."""
    for child in ast.iter_child_nodes(node):
        for_types = isinstance(child, ast.If) and ast.unparse(child.test) == "TYPE_CHECKING"
        if not for_types and not isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda):
            yield child
            yield from top_level(child)


def test_every_module_belongs_to_a_stage_of_the_order():
    assert {stage(name) for name in NAMES} - {"", "__main__"} <= set(RANK)


def test_the_walk_sees_relative_and_absolute_imports():
    assert "jackrail.motion.axis" in imports_of(SOURCE / "motion" / "voice.py", lazy=False)
    assert "jackrail.machine.geometry" in imports_of(SOURCE / "motion" / "voice.py", lazy=False)


@pytest.mark.parametrize("path", MODULES, ids=module_name)
def test_a_stage_imports_only_earlier_stages(path):
    here = stage(module_name(path))
    if here in ("", "__main__"):
        return
    for name in imports_of(path, lazy=True):
        there = stage(name)
        if there in ("", here):
            continue
        beside = RANK[here] == RANK[there] == 0
        assert RANK[there] < RANK[here] or beside, f"{module_name(path)} imports {name}: {there} does not come before {here}"


@pytest.mark.parametrize("path", sorted((SOURCE / "tune").rglob("*.py")), ids=module_name)
def test_inside_tune_readers_know_what_they_share_and_not_each_other(path):
    parts = module_name(path).split(".")
    if len(parts) < 3:
        return
    for name in imports_of(path, lazy=True):
        there = name.split(".")[2] if name.startswith("jackrail.tune.") else parts[2]
        beside = TUNE_RANK[there] == TUNE_RANK[parts[2]] < 2
        assert there == parts[2] or TUNE_RANK[there] < TUNE_RANK[parts[2]] or beside, f"{module_name(path)} imports {name}"


def test_no_module_is_in_a_knot_of_imports():
    graph = {module_name(path): sorted(imports_of(path, lazy=True) & NAMES) for path in MODULES}
    done: set[str] = set()

    def walk(name: str, way: tuple[str, ...]) -> None:
        assert name not in way, f"a knot of imports: {' -> '.join((*way[way.index(name) :], name))}"
        if name not in done:
            for other in graph[name]:
                if not name.startswith(other + "."):  # a package is begun before what is inside it
                    walk(other, (*way, name))
            done.add(name)

    for name in graph:
        walk(name, ())


@pytest.mark.parametrize("path", sorted((SOURCE / "sound").glob("*.py")), ids=module_name)
def test_sound_knows_performances_but_not_how_they_came_about(path):
    assert not {stage(name) for name in imports_of(path, lazy=True)} & {"setting", "cues", "roll", "motion", "board", "checks"}


def loaded_by(*arguments: str) -> set[str]:
    """The heavy libraries loaded once the interpreter has run with these arguments."""
    code = "import sys, runpy, contextlib, io\n"
    code += f"sys.argv = ['jackrail', *{list(arguments)!r}]\n"
    if arguments:
        code += "with contextlib.redirect_stdout(io.StringIO()), contextlib.suppress(SystemExit):\n"
        code += "    from jackrail.cli import main; main()\n"
    else:
        code += "import jackrail\n"
    code += f"print('loaded:', *[name for name in {HEAVY!r} if name in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return set(done.stdout.splitlines()[-1].split()[1:])


def test_importing_jackrail_loads_no_heavy_library():
    assert loaded_by() == set()


@pytest.mark.skipif(not any(name.startswith("jackrail.cli") for name in NAMES), reason="there is no command line yet")
def test_asking_for_help_loads_no_heavy_library():
    assert loaded_by("--help") == set()
