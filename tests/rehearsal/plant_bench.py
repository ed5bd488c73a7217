"""A bench for the plant: built by itself, without the emulator, and driven edge by edge."""

import functools
import math
import re
import subprocess
import tempfile
from pathlib import Path

import cffi

from jackrail.rehearsal.plant import Configuration, configure
from jackrail.rehearsal.plant_run import AT_REST, KINDS, Plant
from workshop import ROOT, machine

RIG = ROOT / "src" / "jackrail" / "rehearsal" / "rig"
PARTS = ("coil", "motor", "plant", "plant_build", "record", "supply", "switch", "watch")
HZ = 16_000_000
STEP, DIRECTION, ENABLE, COIL, HOME = 9, 8, 12, 2, 14
FLAGS = ["-std=c99", "-O2", "-Wall", "-Wextra", "-Wconversion", "-Wshadow", "-pedantic", "-Werror", "-shared", "-fPIC"]


@functools.cache
def library():
    """cffi and the plant alone."""
    with tempfile.TemporaryDirectory() as folder:
        built = Path(folder) / "plant.so"
        subprocess.run(["cc", *FLAGS, "-o", str(built), *(str(RIG / f"{part}.c") for part in PARTS), "-lm"], check=True)
        ffi = cffi.FFI()
        ffi.cdef(re.sub(r"^#.*$", "", (RIG / "plant.h").read_text(encoding="utf-8"), flags=re.MULTILINE))
        return ffi, ffi.dlopen(str(built))


def rail(**changes):
    return {"voltage_v": 12.0, "source_ohm": 0.0, "from": -1, "efficiency": 0.8, "base_a": 0.0} | changes


def motor(**changes):
    """A motor of 0.4 N*m and 54 g*cm2 (check value G41) that turns itself only, without friction or load."""
    row = {"step_pin": STEP, "direction_pin": DIRECTION, "enable_pin": -1, "reversed": 0, "rail": 0, "steps_per_turn": 200}
    row |= {"microsteps": 8, "current_a": 1.7, "hold": 1.0, "resistance_ohm": 1.5, "inductance_h": 2.8e-3, "driver_minimum_v": 8.0}
    row |= {"holding_torque_nm": 0.4, "inertia_kgm2": 54e-7, "friction_nm": 0.0, "drag_nms": 0.0, "damping_nms": 2e-3, "load_nm": 0.0}
    row |= {"travel": 1.0, "start": 0.0, "low_end": -math.inf, "high_end": math.inf, "strike_at": -1.0, "carriage": -1}
    return row | changes


def coil(**changes):
    row = {"pin": COIL, "rail": 0, "resistance_ohm": 12.0, "pull_in_s": 0.009, "release_s": 0.015, "operate_s": 0.0, "let_go_s": 0.0}
    return row | {"relay_rail": -1, "relay_a": 0.0, "finger": 0, "carriage": -1} | changes


def switch(**changes):
    return {"pin": HOME, "closed_high": 0, "bounce_s": 0.0} | changes


def contact(low, high, **changes):
    return {"on_switch": 0, "motor": 0, "low": low, "high": high, "period": 0.0, "slack": 0.05} | changes


def bench(*, rails=None, motors=(), coils=(), switches=(), contacts=(), seed=1):
    """A plant of these rows; its devices are called by their numbers."""
    parts = {"rails": rails or [rail()], "motors": motors, "coils": coils, "switches": switches, "contacts": contacts}
    ids = {f"{kind[:-1] if kind != 'switches' else 'switch'}_ids": tuple(str(n) for n in range(len(parts[kind]))) for kind in parts}
    del ids["contact_ids"]
    return Plant(*library(), Configuration(**parts, clock_hz=HZ, seed=seed, **ids))


def plant_of(name, assumed=None):
    """The plant of an example machine."""
    return Plant(*library(), configure(machine(name), assumed))


def cycles(seconds):
    return round(seconds * HZ)


def step_at(plant, times_s, pin=STEP):
    """A step edge at each of these times."""
    for at_s in times_s:
        plant.edge(pin, 1, cycles(at_s))
        plant.edge(pin, 0, cycles(at_s) + 40)


def ramp(steps, speed, acceleration, start_s):
    """Times of the edges of a move rest to rest: step n is due when the exact trapezoid has covered n steps (G34)."""
    full = speed**2 / acceleration  # of both ramps together
    peak = min(speed, math.sqrt(steps * acceleration))
    half = min(full, steps) / 2
    total = 2 * peak / acceleration + max(0.0, steps - full) / speed
    times = []
    for n in range(1, steps + 1):
        if n <= half:
            times.append(math.sqrt(2 * n / acceleration))
        elif n <= steps - half:
            times.append(peak / acceleration + (n - half) / speed)
        else:
            times.append(total - math.sqrt(2 * (steps - n) / acceleration))
    return [start_s + at_s for at_s in times]


def rest(plant, at_s, longest_s=2.0):
    """On until nothing works any more; the time it took."""
    end = at_s + longest_s
    while plant.advance(cycles(at_s)) != AT_REST:
        at_s += 0.001
        assert at_s < end, "the plant does not come to rest"
    return at_s


def seen(plant, kind, device=0):
    """(time, value, extra) of every event of a kind at a device."""
    events = plant.events()
    mine = events[(events["kind"] == KINDS.index(kind)) & (events["device"] == device)]
    return [(cycle / HZ, value, extra) for cycle, _, _, value, extra in mine.tolist()]
