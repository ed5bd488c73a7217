"""Older ways to write chords, decorations and line breaks, put into today's (ABC 2.1 sections 6.1.1, 10.2 and 12.1)."""

from __future__ import annotations

import re
from collections.abc import Container

from jackrail.tune.score.written import Notes

from .decorations import is_known

_PASSED = r'"[^"]*"?|\[[A-Za-z]:[^\]]*\]'  # texts and inline fields stay as they are
_PLUS = re.compile(rf"{_PASSED}|!\+!|\+(?P<inside>[^+\s|\":\[\]!]{{1,60}})\+")
_BANG = re.compile(rf"{_PASSED}|!(?P<inside>[^+\s|\":\[\]!]{{1,30}})!|(?P<bang>!)")
_UNCLOSED = re.compile(rf"{_PASSED}|![^\s!|\":\[\]]{{1,30}}!|!(?P<odd>[A-Za-z.]{{3,20}}:\w{{1,9}})!|!(?P<name>[A-Za-z][A-Za-z.]{{2,29}})")
_READABLE = frozenset("ABCDEFGabcdefgXYZxyz")
_NOTES = re.compile(r"(?:[\^_=]{0,2}[A-Ga-g][,']*[\d/]*-?)+")


class Dialect:
    """What + and ! delimit in a tune. plus: + stands around decorations, ! alone breaks a line."""

    def __init__(self, notes: Notes) -> None:
        self.notes = notes
        self.plus = False

    def instruct(self, words: list[str]) -> None:
        """An I: field that has to do with it; others are passed by."""
        if words[0] == "decoration" and words[1:]:
            self.plus = words[1] == "+"
        elif (words[0] == "linebreak" and "!" in words[1:]) or [word.lower() for word in words[:2]] == ["continueall", "true"]:
            self.plus = True

    def modern(self, line: str, place: str) -> str:
        """`line` with [ ] around chords and ! ! around decorations, column by column where it was."""
        if self.plus:
            line = _BANG.sub(lambda match: self._bang(match, place), line) if "!" in line else line
            return _PLUS.sub(lambda match: f"!{match['inside']}!" if match["inside"] else match[0], line)
        return _PLUS.sub(lambda match: self._plus(match, place), line) if "+" in line else line

    def _bang(self, match: re.Match[str], place: str) -> str:
        inside = match["inside"]
        if inside is not None and is_known(inside):
            self.notes.count("a decoration between ! signs, where + is to stand (I:decoration +), is left out", place)
            return " " * len(match[0])
        return match[0].replace("!", " ") if inside is not None or match["bang"] else match[0]

    def _plus(self, match: re.Match[str], place: str) -> str:
        inside = match["inside"]
        if inside is None:
            return match[0]
        if is_known(inside):
            self.notes.count(f"+{inside}+ is read as the decoration !{inside}!", place, remark=True)
            return f"!{inside}!"
        if _NOTES.fullmatch(inside):
            self.notes.count("chords between + signs are read as if [ ] stood around them (ABC 2.1 section 12.1.3)", place, remark=True)
            return f"[{inside}]"
        return match[0]


def without_unclosed(line: str, number: int, shorthands: Container[str], notes: Notes) -> str:
    """`line` with blanks for each name after a ! that none closes. A ! alone is a line break, so the name must be no music."""

    def blank(match: re.Match[str]) -> str:
        name, place = match["name"], f"line {number} column {match.start() + 1}"
        if match["odd"]:
            notes.count(f"the decoration {match['odd']!r} is not known and is left out", place)
            return " " * len(match[0])
        if name is None or all(sign in _READABLE or sign in shorthands for sign in name):
            return match[0]
        notes.count(f"the ! before {name!r} is not closed by another: {name!r} is left out", place)
        return " " * len(match[0])

    return _UNCLOSED.sub(blank, line)
