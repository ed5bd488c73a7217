"""Speed of the emulated board: emulated time over real time, and the set-up of a run. 1.0 or less is good, as in jobs.py."""

import shutil
import subprocess
import tempfile
import time
from pathlib import Path

from jackrail.rehearsal.build import build
from jackrail.rehearsal.missing import RigMissing
from jackrail.rehearsal.rig import CLOCK_HZ, Chip

QUIRKS = Path(__file__).parent.parent / "tests" / "rehearsal" / "quirks"
PROGRAMS = {"asleep, woken 2,000 times a second": ("asleep", 60.0), "busy": ("busy", 4.0)}


def image(name: str) -> bytes:
    """The flash image of one program of the tests' core quirks."""
    with tempfile.TemporaryDirectory() as folder:
        elf, flat = Path(folder) / "it.elf", Path(folder) / "it.bin"
        source = ["-Os", f"-I{QUIRKS}", f"-DQUIRK={name}", str(QUIRKS / "core.c")]
        subprocess.run(["avr-gcc", "-mmcu=atmega328p", "-DF_CPU=16000000UL", *source, "-o", str(elf)], check=True)
        subprocess.run(["avr-objcopy", "-O", "binary", str(elf), str(flat)], check=True)
        return flat.read_bytes()


def faster_than_real(flash: bytes, seconds: float) -> float:
    """Emulated over real time; the best of three runs, since other work only ever slows."""
    best = 0.0
    for _ in range(3):
        with Chip(flash) as chip:
            begun = time.perf_counter()
            chip.run(seconds)
            best = max(best, chip.cycle / CLOCK_HZ / (time.perf_counter() - begun))
    return best


def set_up_s(flash: bytes, runs: int) -> float:
    """Real time to make and free a chip."""
    begun = time.perf_counter()
    for _ in range(runs):
        with Chip(flash):
            pass
    return (time.perf_counter() - begun) / runs


def main() -> None:
    try:
        build()
    except RigMissing as error:
        print(f"left out: {error}")
        return
    if shutil.which("avr-gcc") is None:
        print("left out: needs gcc-avr and avr-libc")
        return
    for what, (name, least) in PROGRAMS.items():
        times = faster_than_real(image(name), 4.0)
        print(f"{'emulated ' + what:48} {times:9.1f} x   of {least:9.1f} x    ratio {least / times:5.2f}")
    took_ms = 1000 * set_up_s(image("busy"), 200)
    print(f"{'a chip made and freed':48} {took_ms:9.3f} ms  of {2.0:9.3f} ms   ratio {took_ms / 2:5.2f}")


if __name__ == "__main__":
    main()
