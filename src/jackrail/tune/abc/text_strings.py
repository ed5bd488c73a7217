"""Text strings of ABC: character sets and ways to write letters with accents (ABC 2.1 sections 3.1.17 and 8.2)."""

from __future__ import annotations

import html
import re
import unicodedata

# The sign after a backslash -> the combining mark it stands for.
_MARKS = {
    "`": "\u0300", "'": "\u0301", "^": "\u0302", "~": "\u0303", '"': "\u0308", "c": "\u0327", ",": "\u0327", "a": "\u030a", "A": "\u030a",
    "o": "\u030a", "u": "\u0306", "v": "\u030c", "H": "\u030b",
}  # fmt: skip
_WHOLE = {"/O": "Ø", "/o": "ø", "ss": "ß", "AE": "Æ", "ae": "æ", "OE": "Œ", "oe": "œ", "\\": "\\", "%": "%", "&": "&"}
_CODES = re.compile(
    r"\\u(?P<short>[0-9a-fA-F]{4})|\\U(?P<long>[0-9a-fA-F]{8})|&(?P<entity>[A-Za-z]{2,8});"
    r"|\\(?P<whole>/[Oo]|ss|AE|ae|OE|oe|[\\%&])|\\(?P<mark>[`'^~\",cuvHoaA])(?P<letter>[A-Za-z])|(?P<font>\$[0-4])"
)
_CHARSET = re.compile(rb"^(?:%%|I:)[ \t]*abc-charset[ \t]+([\w-]{1,20})", re.MULTILINE)
_CHARSETS = {"utf-8": "utf-8", "us-ascii": "ascii"} | {f"iso-8859-{number}": f"iso8859-{number}" for number in range(1, 11)}
_HEAD = 65_536


def declared_charset(data: bytes) -> str | None:
    """The codec of the character set a file states (I:abc-charset or %%abc-charset), None without one that the standard knows."""
    found = _CHARSET.search(data[:_HEAD])
    return _CHARSETS.get(found[1].decode("ascii", "replace").lower()) if found else None


def plain(text: str) -> str:
    """A text string with its accents as letters, however they are written; marks that change the font are taken off."""
    return _CODES.sub(_letter, text) if any(sign in text for sign in "\\&$") else text


def _letter(match: re.Match[str]) -> str:
    code = match["short"] or match["long"]
    if code:
        number = int(code, 16)
        return chr(number) if number < 0x110000 and not 0xD800 <= number < 0xE000 else ""
    if match["entity"]:
        return html.unescape(match[0])
    if match["font"]:
        return ""
    if match["whole"]:
        return _WHOLE[match["whole"]]
    letter = unicodedata.normalize("NFC", match["letter"] + _MARKS[match["mark"]])
    return letter if len(letter) == 1 else match["letter"]
