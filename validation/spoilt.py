"""Ways to spoil a text at random, as slips of the hand, other programs and ill will do."""

from __future__ import annotations

import random
import re
from collections.abc import Callable

NUMBERS = (
    "0", "-1", "-0.0", "1e300", "1e-300", "1e400", "nan", "inf", "-inf", "9" * 400, "0x10", "1_000", "1e", "", "true",
    "[]", "{}", "[1, 2]", '"1 mm"', '"-5 MPa"', '"1e9 N.m"', '"300 kelvin"', "1979-05-27", "2", "1000", "0.001",
)  # fmt: skip
UNITS = (
    "mm", "m", "in", "MPa", "bar", "psi", "degC", "K", "N.m", "lbf.ft", "kN", "um", "%", "deg", "s", "mm2", "furlong",
)  # fmt: skip
INSERTED = (
    "\0", "\u202e", "\x1b[31m", "é", "😀", "\ufeff", '"', "'", "[", "]", "{", "=", "#", ",", ";", "\t", "\r", "\\u0000",
)  # fmt: skip
ENCODINGS = ("utf-8",) * 30 + ("utf-8-sig", "utf-16", "latin-1", "cp1252")
LINES = re.compile(r"(?<=\n)")
NUMBER = re.compile(r"-?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?")
UNIT = re.compile(r"(?<=\d )[A-Za-z%][A-Za-z0-9./%^]*")


def _number(text: str, chance: random.Random) -> str:
    return _at_one(NUMBER, text, chance, lambda found: chance.choice(NUMBERS))


def _scaled(text: str, chance: random.Random) -> str:
    factor = 10.0 ** chance.choice((-6, -3, -1, 1, 3, 6))
    return _at_one(NUMBER, text, chance, lambda found: repr(float(found) * factor))


def _unit(text: str, chance: random.Random) -> str:
    return _at_one(UNIT, text, chance, lambda found: chance.choice(UNITS))


def _at_one(pattern: re.Pattern[str], text: str, chance: random.Random, new: Callable[[str], str]) -> str:
    places = list(pattern.finditer(text))
    if not places:
        return text
    found = chance.choice(places)
    return text[: found.start()] + new(found[0]) + text[found.end() :]


def _of_lines(change: Callable[[list[str], int, random.Random], None]) -> Callable[[str, random.Random], str]:
    def spoil(text: str, chance: random.Random) -> str:
        lines = LINES.split(text)
        change(lines, chance.randrange(len(lines)), chance)
        return "".join(lines)

    return spoil


def _moved(lines: list[str], at: int, chance: random.Random) -> None:
    lines.insert(chance.randrange(len(lines)), lines.pop(at))


def _inserted(text: str, chance: random.Random) -> str:
    at = chance.randrange(len(text) + 1)
    return text[:at] + chance.choice(INSERTED) + text[at:]


def _removed(text: str, chance: random.Random) -> str:
    at = chance.randrange(len(text) + 1)
    return text[:at] + text[at + chance.choice((1, 1, 1, 5, 40)) :]


def _cut(text: str, chance: random.Random) -> str:
    return text[: chance.randrange(len(text) + 1)]


WAYS: tuple[Callable[[str, random.Random], str], ...] = (
    _number, _number, _number, _scaled, _scaled, _unit, _inserted, _removed, _cut, _of_lines(_moved),
    _of_lines(lambda lines, at, chance: lines.insert(at, lines[at])),
    _of_lines(lambda lines, at, chance: lines.pop(at)),
    _of_lines(lambda lines, at, chance: lines.insert(at, chance.choice(lines) * 3)),
)  # fmt: skip


def spoil(text: str, chance: random.Random) -> bytes:
    """Return a text spoilt in one or a few ways, encoded as some editor might."""
    for _ in range(chance.choice((1, 1, 1, 2, 3, 6))):
        text = chance.choice(WAYS)(text, chance)
    if chance.random() < 0.03:
        text = text.replace("\n", chance.choice(("\r\n", "\r", "\u2028")))
    return text.encode(chance.choice(ENCODINGS), errors="replace")
