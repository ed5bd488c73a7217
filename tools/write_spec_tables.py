"""Write the tables of docs/SPEC-roll.md and firmware/format.h from the format table. `--check` only compares, for the test."""

import re
import sys
from pathlib import Path

from jackrail.machine.board import FIRST_SHIFT_PIN
from jackrail.roll import format as f

ROOT = Path(__file__).parent.parent
SPEC = ROOT / "docs" / "SPEC-roll.md"
HEADER = ROOT / "firmware" / "format.h"
TYPES = {"B": "u8", "H": "u16", "I": "u32", "i": "s32"}
SIZES = {"B": 1, "H": 2, "I": 4, "i": 4}


def record_tables() -> str:
    """One table for each record, with byte offsets."""
    parts = []
    for record in f.RECORDS:
        rows, offset = [], 0
        for field in record.fields:
            rows.append(f"| {offset} | {TYPES[field.code]} | {field.name} | {field.meaning} |")
            offset += SIZES[field.code]
        parts.append("\n".join([f"### {record.name} ({offset} bytes)", "", "| byte | type | name | meaning |", "|---|---|---|---|", *rows]))
    return "\n\n".join(parts)


def cue_table() -> str:
    """The operations of a roll's records."""
    rows = [f"| {op.value} | {op.name} | {argument} | {meaning} |" for op, (argument, meaning) in f.OP_MEANINGS.items()]
    return "\n".join(["| operation | name | argument | meaning |", "|---|---|---|---|", *rows])


def with_tables(text: str) -> str:
    """The document with both tables filled in."""
    for mark, table in (("tables", record_tables()), ("cues", cue_table())):
        text = re.sub(rf"(<!-- {mark} -->\n).*?(<!-- /{mark} -->)", lambda m, t=table: f"{m[1]}\n{t}\n\n{m[2]}", text, flags=re.DOTALL)
    return text


def constants() -> dict[str, str]:
    """Every number that the firmware must share with the packer, by its name in C."""
    named = {
        "FORMAT_VERSION": f.VERSION,
        "EXTENDED_ARGUMENT": f.EXTENDED_ARGUMENT,
        "EXPLICIT_WAIT": f.EXPLICIT_WAIT,
        "NO_PIN": f.NO_PIN,
        "NO_AXIS": f.NO_AXIS,
        "FIRST_SHIFT_PIN": FIRST_SHIFT_PIN,
        "NO_STRIKER": f.NO_STRIKER,
        "FIRST_STRIKER_COIL": f.FIRST_STRIKER_COIL,
        "QUEUE_COMMANDS": f.QUEUE_COMMANDS,
        "READ_AHEAD_MS": f.READ_AHEAD_MS,
    }
    places = {"MACHINE_BLOCK_AT": f.MACHINE_BLOCK_AT, "FLASH_END": f.FLASH_END}
    kinds = {"KIND_MACHINE": f.MACHINE_KIND, "KIND_ROLL": f.ROLL_KIND}
    families = {"OP": f.Op, "ROLE": f.Role, "POLICY": f.Policy}
    return {
        **{name: str(value) for name, value in named.items()},
        **{name: f"0x{value:04X}" for name, value in places.items()},
        **{name: f"'{chr(value)}'" for name, value in kinds.items()},
        **{f"{family}_{member.name}": str(member.value) for family, members in families.items() for member in members},
    }


def c_header() -> str:
    """firmware/format.h: the constants, then the byte offset of every field and the size of every record."""
    lines = ["/* Written by `make spec` from the format table: do not edit. docs/SPEC-roll.md says what each of these means. */"]
    lines += ["#ifndef FORMAT_H", "#define FORMAT_H", ""]
    lines += [f"#define {name} {value}" for name, value in constants().items()]
    for record in f.RECORDS:
        lines += ["", f"/* {record.name}: byte offsets */"]
        prefix, offset = record.name.upper().replace(" ", "_"), 0
        for field in record.fields:
            lines.append(f"#define {prefix}_{field.name.upper()} {offset} /* {TYPES[field.code]} */")
            offset += SIZES[field.code]
        lines.append(f"#define {prefix}_SIZE {offset}")
    return "\n".join([*lines, "", "#endif", ""])


if __name__ == "__main__":
    made = {SPEC: with_tables(SPEC.read_text(encoding="utf-8")), HEADER: c_header()}
    if "--check" in sys.argv:
        stale = [path.name for path, text in made.items() if not path.exists() or path.read_text(encoding="utf-8") != text]
        sys.exit(f"{', '.join(stale)}: not as the format table says, run make spec" if stale else 0)
    for path, text in made.items():
        path.write_text(text, encoding="utf-8")
