"""Names and sentences out of a tune's file, made fit to print anywhere."""

from __future__ import annotations

MOST_CHARACTERS = 200


def one_line(text: str, most: int = MOST_CHARACTERS) -> str:
    """`text` as one line of at most `most` characters: single blanks, nothing that steers a screen, no half characters.

    Half characters (surrogates) come from file names that are not in the encoding of the system.
    """
    kept = "".join(sign if sign.isprintable() else " " if sign.isspace() else "" for sign in text[: 20 * most])
    line = " ".join(kept.split())
    return line if len(line) <= most else line[: most - 1].rstrip() + "…"
