"""The rig's C sources, built on first use into the user's cache, and opened with cffi.

Raises `RigMissing` when the compiler or a library that this needs is not installed, or it cannot be built.
"""

import functools
import hashlib
import importlib.util
import os
import re
import shutil
import subprocess
import tempfile
from pathlib import Path
from typing import Any

from .missing import RigMissing

SOURCES = Path(__file__).parent / "rig"
FLAGS = ("-std=c99", "-O2", "-shared", "-fPIC")
LIBRARIES = ("-lsimavr", "-lm")
HEADERS = ("chip.h", "plant.h", "rig.h")


def cache_folder() -> Path:
    """The folder of what can be made again: the user's cache folder (XDG base directory specification)."""
    return Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "jackrail"


def c_sources() -> list[Path]:
    """All C files and headers of the rig, in a fixed order."""
    return sorted(SOURCES.glob("*.[ch]"))


def _missing() -> list[str]:
    """Debian packages that are not there."""
    lacking = [] if importlib.util.find_spec("cffi") else ["python3-cffi"]
    compiler = shutil.which("cc")
    if compiler is None:
        return [*lacking, "gcc", "libc6-dev", "libsimavr-dev"]
    with tempfile.TemporaryDirectory() as folder:
        program = "#include <stdint.h>\n#include <simavr/sim_avr.h>\nint main(void) { return avr_make_mcu_by_name(0) != 0; }\n"
        command = [compiler, "-x", "c", "-", "-o", f"{folder}/try", *LIBRARIES]
        done = subprocess.run(command, input=program, text=True, capture_output=True, check=False)  # noqa: S603 -- our own words
    return lacking if done.returncode == 0 else [*lacking, "libsimavr-dev"]


def build() -> Path:
    """The shared library of the rig, built when these sources were not built before.

    Raises:
        RigMissing: the compiler, libsimavr or cffi is not installed, or what is built cannot be written.
    """
    digest = hashlib.sha256(" ".join((*FLAGS, *LIBRARIES)).encode())
    for path in c_sources():
        digest.update(path.name.encode() + b"\0" + path.read_bytes())
    built = cache_folder() / f"rig-{digest.hexdigest()[:32]}.so"
    if built.exists() and importlib.util.find_spec("cffi"):
        return built
    if lacking := _missing():
        raise RigMissing(f"the rehearsal needs packages that are not installed: sudo apt-get install {' '.join(lacking)}")
    try:
        _compile(built)
    except OSError as error:
        raise RigMissing(f"the rehearsal's emulator cannot be built in {built.parent}: {error.strerror}") from None
    except subprocess.CalledProcessError:
        raise RigMissing("the rehearsal's emulator cannot be built: the compiler says why above") from None
    return built


def _compile(built: Path) -> None:
    """Build the library, whole or not at all, also when two build at once."""
    built.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=built.parent) as folder:
        fresh = Path(folder) / built.name
        files = [str(path) for path in c_sources() if path.suffix == ".c"]
        subprocess.run(["cc", *FLAGS, "-o", str(fresh), *files, *LIBRARIES], check=True)  # noqa: S603, S607 -- our own words
        fresh.replace(built)


def declarations() -> str:
    """What the headers declare, without what only a preprocessor understands."""
    text = "\n".join((SOURCES / name).read_text(encoding="utf-8") for name in HEADERS)
    return re.sub(r"^#.*$", "", text, flags=re.MULTILINE)


@functools.cache
def library() -> tuple[Any, Any]:
    """The cffi interface and the opened library: `ffi, lib`. Raises RigMissing as `build` does, or when it cannot be loaded."""
    path = build()
    import cffi  # noqa: PLC0415 -- only who rehearses needs it

    ffi = cffi.FFI()
    ffi.cdef(declarations())
    try:
        return ffi, ffi.dlopen(str(path))
    except OSError as error:  # libsimavr was taken away since
        raise RigMissing(f"the rehearsal's emulator cannot be loaded: {error}") from None
