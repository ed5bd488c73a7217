"""Write the tables of docs/SPEC-roll.md from the format table. `--check` only compares, for the test."""

import re
import sys
from pathlib import Path

from jackrail.roll.format import OP_MEANINGS, RECORDS

SPEC = Path(__file__).parent.parent / "docs" / "SPEC-roll.md"
TYPES = {"B": "u8", "H": "u16", "I": "u32", "i": "s32"}
SIZES = {"B": 1, "H": 2, "I": 4, "i": 4}


def record_tables() -> str:
    """One table for each record, with byte offsets."""
    parts = []
    for record in RECORDS:
        rows, offset = [], 0
        for field in record.fields:
            rows.append(f"| {offset} | {TYPES[field.code]} | {field.name} | {field.meaning} |")
            offset += SIZES[field.code]
        parts.append("\n".join([f"### {record.name} ({offset} bytes)", "", "| byte | type | name | meaning |", "|---|---|---|---|", *rows]))
    return "\n\n".join(parts)


def cue_table() -> str:
    """The operations of a cue."""
    rows = [f"| {op.value} | {op.name} | {argument} | {meaning} |" for op, (argument, meaning) in OP_MEANINGS.items()]
    return "\n".join(["| operation | name | argument | meaning |", "|---|---|---|---|", *rows])


def with_tables(text: str) -> str:
    """The document with both tables filled in."""
    for mark, table in (("tables", record_tables()), ("cues", cue_table())):
        text = re.sub(rf"(<!-- {mark} -->\n).*?(<!-- /{mark} -->)", lambda m, t=table: f"{m[1]}\n{t}\n\n{m[2]}", text, flags=re.DOTALL)
    return text


if __name__ == "__main__":
    before = SPEC.read_text(encoding="utf-8")
    after = with_tables(before)
    if "--check" in sys.argv:
        sys.exit(0 if after == before else "docs/SPEC-roll.md does not agree with the format table: run make spec")
    SPEC.write_text(after, encoding="utf-8")
