"""The one exception a user's mistake raises, and the suggestion of a nearest valid name."""

from __future__ import annotations

import re
from collections.abc import Iterable
from difflib import SequenceMatcher

LONGEST_VALUE, LONGEST_PLACE, LONGEST_MESSAGE = 80, 200, 1500  # characters
LONGEST_NAME = 100  # characters, beyond which nothing looks alike, and comparing takes long
NO_MEMORY = (
    "this needs more memory than there is; give larger [mesh] sizes, or take one stud of an engine (--model stud)"
)
LEAST_ALIKE = 0.6  # below which a name suggests nothing, but puzzles


class JointError(Exception):
    """Base of every error headjoint raises on purpose; its text is fit to show to a user."""


class InputError(JointError):
    """Something in a joint file, a table or an option cannot be used.

    Parameters
    ----------
    problem : what is wrong and what is allowed, one sentence.
    field : path of the field inside its file, for example ``gasket.zones[1].law``; empty when unknown.
    value : the offending value as the user wrote it.
    file : name of the file it came from; filled in by the reader.
    """

    def __init__(self, problem: str, *, field: str = "", value: object = None, file: str = "") -> None:
        super().__init__(problem)
        self.problem = problem
        self.field = field
        self.value = value
        self.file = file

    def __str__(self) -> str:
        place = ": ".join(_short(part, LONGEST_PLACE) for part in (self.file, self.field) if part)
        shown = f" (got {_shown(self.value)})" if self.value is not None else ""
        return _short(f"{place}: {self.problem}{shown}" if place else f"{self.problem}{shown}", LONGEST_MESSAGE)


class BrokenFastenerError(InputError):
    """What is asked breaks a fastener; used : its plastic strain over the one at which it necks."""

    def __init__(self, problem: str, *, field: str, value: object, used: float) -> None:
        super().__init__(problem, field=field, value=value)
        self.used = used


class SolveError(JointError):
    """A solve did not converge or failed its own equilibrium check; no figure may be taken from it."""


class MemoryShortError(SolveError):
    """A solve needs more memory than there is: a matter of the machine and of what else it does, not of the joint."""


def _shown(value: object) -> str:
    """Return a value as a message shows it, cut short."""
    try:
        return _short(repr(value), LONGEST_VALUE)
    except ValueError:  # an integer of more digits than Python writes out
        return "a number of very many digits"


def _short(text: str, most: int) -> str:
    """Return a text without characters that steer a terminal, cut in its middle where it is long."""
    text = "".join(one if one.isprintable() or one == "\n" else repr(one)[1:-1] for one in text[: 2 * most + 1])
    return text if len(text) <= most else f"{text[: most // 2]} ... {text[-most // 4 :]}"


def nearest(name: str, names: Iterable[str], *, limit: int = 1) -> list[str]:
    """Return up to `limit` valid names that look most like `name` in any case, best first."""
    if len(name) > LONGEST_NAME:
        return []
    alike = [(_likeness(name.lower(), valid.lower()), valid) for valid in names]
    best_first = sorted((pair for pair in alike if pair[0] >= LEAST_ALIKE), key=lambda pair: -pair[0])
    return [valid for _, valid in best_first[:limit]]


def _likeness(name: str, valid: str) -> float:
    """Return how alike two names are, 0 to 1: as they stand, their words in any order, or the one as part of the other.

    A part counts less than the whole, and the more so the less of the longer name it is.
    """
    shorter, longer = sorted((name, valid), key=len)
    whole = _share_in_common(shorter, longer)
    if len(shorter) < 2:  # a single letter is part of nearly every name
        return whole
    reordered = 0.95 * _share_in_common(_words_sorted(shorter), _words_sorted(longer))
    blocks = SequenceMatcher(None, shorter, longer, autojunk=False).get_matching_blocks()
    starts = {max(0, block.b - block.a) for block in blocks}
    part = max(_share_in_common(shorter, longer[start : start + len(shorter)]) for start in starts)
    return max(whole, reordered, (0.8 + 0.1 * len(shorter) / len(longer)) * part)


def _words_sorted(name: str) -> str:
    return " ".join(sorted(re.findall(r"\w+", name)))


def _share_in_common(one: str, other: str) -> float:
    return SequenceMatcher(None, one, other, autojunk=False).ratio()


def unknown_name(kind: str, name: str, names: Iterable[str], *, field: str = "") -> InputError:
    """Build the error for a name that is in no library: lists the nearest and, if few, all valid ones."""
    valid = sorted(names)
    near = nearest(name, valid, limit=3)
    hint = f"; nearest: {', '.join(near)}" if near else ""
    every = f"; known: {', '.join(valid)}" if len(valid) <= 12 and not near else ""
    return InputError(f"unknown {kind}{hint}{every}", field=field, value=name)


class MeshError(JointError):
    """A mesh cannot be built, or came out unusable."""


class TooManyElementsError(InputError, MeshError):
    """The stated sizes would make more elements than are worked with."""
