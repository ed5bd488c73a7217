"""Programs for the emulated chip, compiled for a test, and what they told."""

import shutil
import subprocess
import tempfile
from functools import cache
from pathlib import Path

import pytest

import rehearsing
from jackrail.rehearsal.rig import Chip

QUIRKS = Path(__file__).parent / "quirks"
MCU = ["-mmcu=atmega328p", "-DF_CPU=16000000UL"]


@cache
def missing():
    """Why the rig cannot be tried here; empty when it can."""
    if shutil.which("avr-gcc") is None or shutil.which("avr-objcopy") is None:
        return "needs gcc-avr and avr-libc"
    return rehearsing.missing()


needs_rig = pytest.mark.skipif(bool(missing()), reason=missing() or "all there")


@cache
def compiled(source, *flags, form="binary"):
    """The flash image of one C or assembler file of quirks/, or of a text."""
    with tempfile.TemporaryDirectory() as folder:
        elf, image = Path(folder) / "it.elf", Path(folder) / "it.image"
        path = QUIRKS / source
        if "\n" in source:
            path = Path(folder) / "it.S"
            path.write_text(source)
        warnings = ["-Wall", "-Wextra", "-Werror"]
        subprocess.run(["avr-gcc", *MCU, "-Os", *warnings, f"-I{QUIRKS}", *flags, str(path), "-o", str(elf)], check=True)
        subprocess.run(["avr-objcopy", "-O", form, str(elf), str(image)], check=True)
        return image.read_bytes()


def quirk(file, name, *flags):
    """The flash image of one quirk program."""
    return compiled(f"{file}.c", f"-DQUIRK={name}", *flags)


def run(file, name, *flags, cycles=20_000, **how):
    """A chip that has run a quirk program; close it."""
    chip = Chip(quirk(file, name, *flags), **how)
    chip.run(cycles=cycles)
    return chip


def told(chip, place=1):
    """Values written to GPIOR0, 1 or 2, in order."""
    marks = chip.marks()
    return marks["value"][marks["place"] == place].tolist()


def told_at(chip, place, value):
    """The cycle in which that value was written there first."""
    marks = chip.marks()
    return int(marks["cycle"][(marks["place"] == place) & (marks["value"] == value)][0])
