"""The lines of a tune before they are read: macros played out, symbol lines written into the music (ABC 2.1 sections 9 and 4.15)."""

from __future__ import annotations

from collections.abc import Sequence

from jackrail.tune.score.written import Notes

from .macros import Macros
from .symbol_lines import SymbolLines
from .text import field_of, uncommented


def prepared(lines: Sequence[tuple[int, str]], notes: Notes) -> Sequence[tuple[int, str]]:
    """`lines`, each with its number, without m: and s: fields. Raises BadInput when macros write too much."""
    if not any(line.startswith(("m:", "s:")) for _, line in lines):
        return lines
    macros, out = Macros(notes), SymbolLines(notes)
    in_body = in_text = False
    for number, line in lines:
        if line.startswith(("%%begintext", "%%endtext")):
            in_text = line.startswith("%%begintext")
        field = None if in_text or line.startswith("%") else field_of(line, in_body=in_body)
        if in_text or line.startswith("%") or (field is None and not in_body):
            out.add(number, line)
        elif field is None:
            out.music(number, macros.expand(uncommented(line), f"line {number}"))
        elif field[1] == "m":
            macros.define(uncommented(field[2]), f"line {number}")
        elif field[1] == "s" and in_body:
            out.symbols(number, uncommented(field[2]))
        else:
            in_body = in_body or field[1] == "K"
            if field[1] == "V" and in_body:
                out.voice(uncommented(field[2]))
            out.add(number, line)
    return out.written()
