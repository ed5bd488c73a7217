"""The flash image: firmware, machine block and rolls in one, as it is rehearsed and as it is flashed."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from importlib import resources
from pathlib import Path

from jackrail.faults import BadInput, Fault
from jackrail.machine.board import Board
from jackrail.roll.format import HEADER, MACHINE_BLOCK_AT, MACHINE_HEAD, MACHINE_KIND, MAGIC, ROLL_HEAD, ROLL_KIND, unwrap

from .hex_file import read_hex, write_hex
from .memory import blocks_end

_ERASED = b"\xff"
_FIRMWARE = "firmware.hex"


@dataclass(frozen=True)
class Image:
    """What the flash holds. firmware: from address 0; rolls: behind the machine block, tune 1 first."""

    firmware: bytes
    machine_block: bytes
    rolls: tuple[bytes, ...]

    @property
    def flash(self) -> bytes:
        """All bytes from address 0 to the end of the last roll, 0xFF between firmware and machine block."""
        return self.firmware.ljust(MACHINE_BLOCK_AT, _ERASED) + self.machine_block + b"".join(self.rolls)

    @property
    def digest(self) -> str:
        """SHA-256 of `flash`, in hexadecimal: equal digests are equal images."""
        return hashlib.sha256(self.flash).hexdigest()

    def to_hex(self) -> str:
        """The image as the text of an Intel HEX file."""
        return write_hex({0: self.firmware, MACHINE_BLOCK_AT: self.machine_block + b"".join(self.rolls)})


def built_firmware() -> bytes:
    """The firmware that comes with this program. Raises BadInput when it was left out."""
    source = resources.files("jackrail.board") / _FIRMWARE
    if not source.is_file():
        raise BadInput(Fault("file", "the firmware is missing from this installation", _FIRMWARE, hint="run make firmware"))
    return read_hex(source.read_text(encoding="ascii"))


def assemble(firmware: bytes, machine_block: bytes, rolls: Sequence[bytes], board: Board) -> Image:
    """An image of parts that fit; 0xFF at the end of the firmware is erased flash and left out.

    Raises BadInput with every part that is damaged, too long or for another machine.
    """
    firmware = firmware.rstrip(_ERASED)
    faults = [*_firmware_faults(firmware), *_block_faults(machine_block, rolls), *_room_faults(machine_block, rolls, board)]
    if faults:
        raise BadInput(faults)
    return Image(firmware, machine_block, tuple(rolls))


def take_apart(flash: bytes) -> Image:
    """The parts of what a flash holds, each checked. Raises BadInput when a block is missing, damaged or for another machine."""
    machine_block = _block_at(flash, MACHINE_BLOCK_AT)
    rolls, at = [], MACHINE_BLOCK_AT + len(machine_block)
    while flash[at : at + len(MAGIC)] == MAGIC:
        rolls.append(_block_at(flash, at))
        at += len(rolls[-1])
    if faults := _block_faults(machine_block, rolls):
        raise BadInput(faults)
    return Image(flash[:MACHINE_BLOCK_AT].rstrip(_ERASED), machine_block, tuple(rolls))


def read_image(path: Path) -> Image:
    """The image in an Intel HEX file. Raises BadInput when the file cannot be read or holds no image."""
    try:
        return take_apart(read_hex(path.read_text(encoding="ascii")))
    except OSError as error:
        raise BadInput(Fault("file", f"cannot be read: {error.strerror}", str(path))) from None
    except UnicodeDecodeError:
        raise BadInput(Fault("format", "is not an Intel HEX file", str(path))) from None
    except BadInput as bad:
        raise bad.at(str(path)) from None


def _block_at(flash: bytes, at: int) -> bytes:
    """The block that begins at an address, by the length in its header; cut short where the flash ends."""
    values, payload_at = HEADER.unpack(flash, at)
    return flash[at : payload_at + values["length"]]


def _firmware_faults(firmware: bytes) -> list[Fault]:
    over = len(firmware) - MACHINE_BLOCK_AT
    if over <= 0:
        return []
    text = f"does not fit before the machine block: {over} bytes over"
    return [Fault("range", text, "firmware", f"{len(firmware)} bytes", f"{MACHINE_BLOCK_AT} bytes")]


def _block_faults(machine_block: bytes, rolls: Sequence[bytes]) -> list[Fault]:
    """Blocks that are damaged, and rolls for a machine other than the block's."""
    faults: list[Fault] = []
    machine_id = None
    try:
        machine_id = MACHINE_HEAD.unpack(unwrap(machine_block, MACHINE_KIND), 0)[0]["machine_id"]
    except BadInput as bad:
        faults += bad.at("machine block").faults
    for number, roll in enumerate(rolls, 1):
        try:
            found = ROLL_HEAD.unpack(unwrap(roll, ROLL_KIND), 0)[0]["machine_id"]
        except BadInput as bad:
            faults += bad.at(f"tune {number}").faults
        else:
            if machine_id not in (None, found):
                text = "is packed for another machine"
                faults.append(Fault("block", text, f"tune {number}", f"{found:08X}", f"{machine_id:08X}", "pack it for this machine"))
    return faults


def _room_faults(machine_block: bytes, rolls: Sequence[bytes], board: Board) -> list[Fault]:
    """Each block that goes beyond the room for all of them, with its bytes that do."""
    room = blocks_end(board) - MACHINE_BLOCK_AT
    faults, used = [], 0
    for number, block in enumerate((machine_block, *rolls)):
        used += len(block)
        over = min(len(block), used - room)
        if over > 0:
            text, where = f"does not fit in the flash: {over} bytes over", f"tune {number}" if number else "machine block"
            hint = "flash fewer tunes, play fewer repeats, or stream it"
            faults.append(Fault("range", text, where, f"{len(block)} bytes", f"{len(block) - over} bytes left", hint))
    return faults
