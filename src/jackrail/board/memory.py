"""What the board's flash holds, and what is left for tunes."""

from __future__ import annotations

from dataclasses import dataclass

from jackrail.findings import Finding
from jackrail.machine.board import Board
from jackrail.roll.format import FLASH_END, MACHINE_BLOCK_AT

from .hex_file import LONGEST_B

_NEAR = 0.9


@dataclass(frozen=True)
class Memory:
    """Bytes of flash, by use. flash_b: no more than the chip has; boot_loader_b: all that is kept free at its end."""

    flash_b: int
    boot_loader_b: int
    firmware_b: int
    machine_block_b: int
    roll_b: int

    @property
    def used_b(self) -> int:
        """All that is taken."""
        return self.boot_loader_b + self.firmware_b + self.machine_block_b + self.roll_b

    @property
    def free_b(self) -> int:
        """What is left, negative when the roll does not fit."""
        return self.flash_b - self.used_b

    def to_json(self) -> dict[str, int]:
        """All numbers in bytes."""
        return {
            "flash_b": self.flash_b,
            "boot_loader_b": self.boot_loader_b,
            "firmware_b": self.firmware_b,
            "machine_block_b": self.machine_block_b,
            "roll_b": self.roll_b,
            "free_b": self.free_b,
        }


def blocks_end(board: Board) -> int:
    """Address behind the last byte of flash that blocks may take: before the boot loader, and where the firmware stops looking."""
    return min(FLASH_END, min(int(board.flash_b), LONGEST_B) - int(board.boot_loader_b))


def memory_of(board: Board, machine_block: bytes, roll_block: bytes) -> Memory:
    """How a machine block and a roll block fill a board's flash."""
    flash_b = min(int(board.flash_b), LONGEST_B)
    return Memory(flash_b, flash_b - blocks_end(board), MACHINE_BLOCK_AT, len(machine_block), len(roll_block))


def memory_findings(memory: Memory) -> list[Finding]:
    """An error when the roll does not fit, a warning when it nearly fills the flash."""
    room_b = memory.flash_b - memory.used_b + memory.roll_b
    advice = "play fewer repeats, or a shorter tune"
    if memory.free_b < 0:
        text = f"the roll of {memory.roll_b} bytes does not fit in the {room_b} bytes left for it"
        return [Finding("memory.full", "error", "board.flash", text, memory.roll_b, room_b, "B", advice)]
    if memory.roll_b > _NEAR * room_b:
        text = f"the roll of {memory.roll_b} bytes nearly fills the {room_b} bytes left for it"
        return [Finding("memory.near", "warning", "board.flash", text, memory.roll_b, room_b, "B", advice)]
    return []
