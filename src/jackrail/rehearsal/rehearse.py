"""The rehearsal: the very image that is flashed runs on the emulated chip, wired to the plant, and what it plays is heard.

The host greets the board, has it find home, has it play, and waits until it stops, as a person would. Nothing here knows
what was planned but the expected performance that the heard one is compared with.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from jackrail.board.image import assemble, built_firmware
from jackrail.board.link_format import Verb
from jackrail.board.messages import Info
from jackrail.board.reasons import State
from jackrail.faults import BadInput, Fault
from jackrail.machine.board import pin_number
from jackrail.performance import Performance, compare
from jackrail.roll.roll import Roll, stream_records, unpack_roll

from .driver import Driver, Noise
from .heard import heard_performance, told
from .mishaps import Mishap
from .model import Piece, Rehearsal
from .plant import Configuration, configure
from .rig import CLOCK_HZ, ChipTrouble, Rig
from .watch import astray, notices, rail_traces, slips, unsafe

_BOOT_S = 0.1
_AFTER_S = 0.6
"""How long is looked on after play stopped: a brake ramp, a plunger's way home."""
_ANSWER_S = 0.5
_PATIENCE_S = 20.0
"""More than the tune's length until the board must have stopped."""
_MID_SONG = 1 / 3


def rehearse(piece: Piece, mishaps: Sequence[Mishap] = (), *, stream: bool = False) -> Rehearsal:
    """Run an image on the emulated board and the machine's plant, with mishaps. stream: the tune comes over the line.

    Raises RigMissing when the emulator's packages are missing, BadInput for blocks that make no image or a mishap that cannot
    befall this machine.
    """
    image = assemble(built_firmware(), piece.machine_block, [piece.roll_block], piece.machine.board)
    spoiled = piece
    for mishap in mishaps:
        spoiled = mishap.spoil(spoiled) if mishap.spoil else spoiled
    roll = _to_stream(spoiled, piece) if stream or any(mishap.streamed for mishap in mishaps) else None
    flash = replace(image, machine_block=spoiled.machine_block, rolls=(spoiled.roll_block,)).flash
    configuration = configure(piece.machine)
    latch = piece.machine.board.pins.get("shift.latch")
    with Rig(flash, configuration, latch_pin=pin_number(latch) if latch else None) as rig:
        driver = Driver(rig, Noise(max((mishap.noise for mishap in mishaps), default=0.0)))
        trouble = ""
        try:
            _run(driver, piece, mishaps, roll)
        except ChipTrouble as told_by_chip:
            trouble = str(told_by_chip)
        rehearsal = _judge(driver, piece, configuration, trouble)
    return replace(rehearsal, injected=tuple(mishap.name for mishap in mishaps), digest=image.digest)


def _to_stream(spoiled: Piece, piece: Piece) -> Roll:
    """The roll that goes over the line: nothing in flash can be wrong with it."""
    try:
        return unpack_roll(spoiled.roll_block, piece.machine_block)
    except BadInput:
        if spoiled.roll_block == piece.roll_block:
            raise
        text = "a streamed tune does not lie in flash, so its roll cannot be damaged there"
        raise BadInput(Fault("option", text, "--fault", "damaged-roll", hint="leave out what streams it")) from None


def _run(driver: Driver, piece: Piece, mishaps: Sequence[Mishap], roll: Roll | None) -> None:
    """Power on, find home, play, look on for a while. roll: to be streamed, None for the one in flash."""
    for mishap in mishaps:
        if mishap.before:
            mishap.before(driver, piece.machine)
    driver.rig.run(_BOOT_S)
    if driver.greet() and driver.home():
        if roll is not None:
            driver.session.stream(roll.machine_id, roll.queue.horizon_ms, stream_records(roll))
        else:
            driver.session.do(Verb.PLAY, 1)
        _play(driver, piece, mishaps)
    driver.until(lambda: False, _AFTER_S)


def _play(driver: Driver, piece: Piece, mishaps: Sequence[Mishap]) -> None:
    """Until the board has stopped, with the mishaps of mid song."""
    length_s = piece.expected.end_s
    if not driver.until(lambda: driver.zero_cycle is not None or _refused(driver), _PATIENCE_S) or _refused(driver):
        return
    began_s = driver.now_s
    if any(mishap.during for mishap in mishaps):
        driver.until(lambda: driver.now_s >= began_s + length_s * _MID_SONG, length_s)
        for mishap in mishaps:
            if mishap.during:
                mishap.during(driver, piece.machine)
    driver.until(lambda: driver.state != State.PLAYING, length_s + _PATIENCE_S)


def _refused(driver: Driver) -> bool:
    """Whether it was told to play and did not."""
    return not driver.session.busy and driver.state != State.PLAYING and driver.zero_cycle is None


def _judge(driver: Driver, piece: Piece, configuration: Configuration, trouble: str) -> Rehearsal:
    """What the run showed. trouble: what ended the emulated chip, "" for nothing; then the board cannot be asked any more."""
    machine, expected = piece.machine, piece.expected
    rig, zero, end_cycle = driver.rig, driver.zero_cycle, driver.rig.cycle
    heard = Performance((), (), expected.end_s)
    if zero is not None:
        # also what sounds behind the expected end: it would be extra
        until_s = max(expected.end_s, (end_cycle - zero) / CLOCK_HZ)
        heard = heard_performance(machine, told(rig.plant.events(), rig.plant.places(), configuration, zero), until_s)
    edges, inputs, marks = rig.edges(), rig.inputs(), rig.marks()
    final = None if trouble else _ask(driver)
    return Rehearsal(
        heard=heard,
        comparison=compare(expected, heard),
        reason=None if final is None else final.reason,
        notices=tuple(notices(driver, piece.numbering)),
        unsafe=(*unsafe(edges, machine, end_cycle), *astray(driver, machine, piece.numbering)),
        status=driver.status,
        rails=tuple(rail_traces(rig.plant.samples(), machine, configuration, zero or 0)),
        edges=edges,
        inputs=inputs,
        marks=marks,
        zero_cycle=zero,
        ran_s=end_cycle / CLOCK_HZ,
        stack_free_b=rig.stack_free_b,
        injected=(),
        digest="",
        trouble=trouble,
        slips=tuple(slips(rig.plant.events(), configuration, zero or 0)),
    )


def _ask(driver: Driver) -> Info | None:
    """What the board says of itself in the end, also when the host had gone or the board was reset."""
    driver.silent = False
    if not driver.greet():
        return None
    driver.session.ask()
    driver.until(lambda: not driver.session.busy, _ANSWER_S)
    return driver.infos[-1]
