"""Write what derives from the link's table: tables of docs/SPEC-link.md, firmware/link_format.h. `--check` only compares."""

import re
import sys
from collections.abc import Iterator
from pathlib import Path

from jackrail.board import link_format as link
from jackrail.board.reasons import REASONS, STATE_MEANINGS, State
from jackrail.roll.format import Field, Record

ROOT = Path(__file__).parent.parent
SPEC = ROOT / "docs" / "SPEC-link.md"
HEADER = ROOT / "firmware" / "link_format.h"
TYPES = {"B": ("u8", 1), "H": ("u16", 2), "h": ("s16", 2), "I": ("u32", 4), "i": ("s32", 4)}


def with_offsets(record: Record) -> Iterator[tuple[int, Field]]:
    """Each field with the byte it begins at."""
    offset = 0
    for field in record.fields:
        yield offset, field
        offset += TYPES[field.code][1]


def macro_name(words: str) -> str:
    """Words as the name of a macro."""
    return re.sub(r"\W+", "_", words).upper()


def macros() -> Iterator[str]:
    """Every line of the header's numbers, in order, with an empty line between groups."""
    for name in (
        "LINK_VERSION",
        "LONGEST_PAYLOAD",
        "LONGEST_FRAME",
        "LONGEST_CODED",
        "LINK_LOST_MS",
        "ERRORS_BEFORE_OTHER_BAUD",
        "MOST_AXES",
    ):
        yield f"#define {name} {getattr(link, name)}"
    yield f"#define LINK_BAUD {link.BAUD}UL /* double speed (U2X) at 16 MHz */"
    yield f"#define LINK_UBRR {link.BAUD_UBRR}"
    yield f"#define LINK_FALLBACK_BAUD {link.FALLBACK_BAUD}UL"
    yield f"#define LINK_FALLBACK_UBRR {link.FALLBACK_UBRR}"
    for prefix, kinds in (("FRAME", link.Frame), ("VERB", link.Verb), ("STATE", State), ("NEWS", link.News)):
        yield ""
        yield from (f"#define {prefix}_{kind.name} {f'0x{kind:02X}' if prefix == 'FRAME' else kind.value}" for kind in kinds)
    yield ""
    yield from (f"#define REASON_{macro_name(reason.word)} {reason.code}" for reason in REASONS)
    for record in (*(record for record, _ in link.VERBS.values()), *link.PAYLOADS):
        yield ""
        name = macro_name(record.name)
        yield from (f"#define {name}_{field.name.upper()} {offset}" for offset, field in with_offsets(record))
        yield f"#define {name}_SIZE {record.layout.size}"


def word_list(name: str, words: list[tuple[int, str]]) -> str:
    """A list for the preprocessor: WORD(code, "word") for each."""
    width = max(len(f'  WORD({code}, "{word}")') for code, word in words)
    lines = [f'  WORD({code}, "{word}")'.ljust(width) for code, word in words]
    return f"#define {name}(WORD) \\\n" + " \\\n".join(lines).rstrip() + "\n"


def header() -> str:
    """firmware/link_format.h: numbers of the link as macros, words as lists."""
    top = (
        "/* The serial link in numbers. Written by `make spec` from src/jackrail/board/link_format.py and reasons.py: change it there.\n"
        " * <FRAME>_<FIELD> is the byte of a field in the payload, <FRAME>_SIZE its bytes (STATUS_SIZE: up to the positions). */\n"
        "#ifndef LINK_FORMAT_H\n#define LINK_FORMAT_H\n\n"
    )
    reasons = word_list("REASON_WORDS", [(reason.code, reason.word) for reason in REASONS])
    states = word_list("STATE_WORDS", [(state, state.name.lower().replace("_", " ")) for state in State])
    return top + "\n".join(macros()) + "\n\n/* Words printed to people, by code. */\n" + reasons + "\n" + states + "\n#endif\n"


def payload_table(record: Record) -> str:
    """One payload, byte by byte."""
    rows = [f"| {offset} | {TYPES[field.code][0]} | {field.name} | {field.meaning} |" for offset, field in with_offsets(record)]
    return "\n".join(
        [f"### {record.name} ({record.layout.size} bytes)", "", "| byte | type | name | meaning |", "|---|---|---|---|", *rows]
    )


def tables() -> dict[str, str]:
    """The tables of the document by the name of their mark."""
    frames = [
        f"| 0x{kind:02X} | {kind.name} | {'host' if kind < 0x80 else 'board'} | {meaning} |"
        for kind, meaning in link.FRAME_MEANINGS.items()
    ]
    verbs = [
        f"| {verb.value} | {verb.name} | {', '.join(f'{field.name} {TYPES[field.code][0]}' for field in record.fields[1:])} | {meaning} |"
        for verb, (record, meaning) in link.VERBS.items()
    ]
    news = [f"| {kind.value} | {kind.name} | {meaning} |" for kind, meaning in link.NEWS_MEANINGS.items()]
    states = [f"| {state.value} | {state.name.lower().replace('_', ' ')} | {meaning} |" for state, meaning in STATE_MEANINGS.items()]
    reasons = [f"| {reason.code} | {reason.word} | {reason.meaning} | {reason.advice} |" for reason in REASONS]
    commands = [
        f"| `{f'{word} {arguments}'.strip()}` | {meaning} | {'yes' if moves else 'no'} |"
        for word, (arguments, meaning, moves) in link.COMMANDS.items()
    ]
    return {
        "frames": "\n".join(["| type | name | from | meaning |", "|---|---|---|---|", *frames]),
        "verbs": "\n".join(["| verb | name | arguments | meaning |", "|---|---|---|---|", *verbs]),
        "payloads": "\n\n".join(payload_table(record) for record in link.PAYLOADS),
        "news": "\n".join(["| kind | name | meaning |", "|---|---|---|", *news]),
        "states": "\n".join(["| state | word | meaning |", "|---|---|---|", *states]),
        "reasons": "\n".join(["| reason | word | meaning | what to do |", "|---|---|---|---|", *reasons]),
        "commands": "\n".join(["| command | what it does | moves or strikes something |", "|---|---|---|", *commands]),
    }


def document(text: str) -> str:
    """The document with all its tables filled in."""
    for mark, table in tables().items():
        text = re.sub(rf"(<!-- {mark} -->\n).*?(<!-- /{mark} -->)", lambda m, t=table: f"{m[1]}\n{t}\n\n{m[2]}", text, flags=re.DOTALL)
    return text


if __name__ == "__main__":
    wanted = {HEADER: header()}
    if SPEC.exists():
        wanted[SPEC] = document(SPEC.read_text(encoding="utf-8"))
    if "--check" in sys.argv:
        stale = [str(path.relative_to(ROOT)) for path, text in wanted.items() if path.read_text(encoding="utf-8") != text]
        sys.exit(f"not as the link's table says: {', '.join(stale)}: run make spec" if stale else 0)
    for path, text in wanted.items():
        path.write_text(text, encoding="utf-8", newline="\n")
