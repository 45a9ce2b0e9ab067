"""The one exception a user's mistake raises, and the suggestion of a nearest valid name."""

from __future__ import annotations

from collections.abc import Iterable


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
        place = ": ".join(part for part in (self.file, self.field) if part)
        shown = f" (got {self.value!r})" if self.value is not None else ""
        return f"{place}: {self.problem}{shown}" if place else f"{self.problem}{shown}"


class SolveError(JointError):
    """A solve did not converge or failed its own equilibrium check; no figure may be taken from it."""


def nearest(name: str, names: Iterable[str], *, limit: int = 1) -> list[str]:
    """Return up to `limit` valid names that look most like `name` (rapidfuzz ratio), best first."""
    from rapidfuzz import process

    candidates = list(names)
    lowered = {candidate.lower(): candidate for candidate in candidates}
    found = process.extract(name.lower(), list(lowered), limit=limit, score_cutoff=60)
    return [lowered[match[0]] for match in found]


def unknown_name(kind: str, name: str, names: Iterable[str], *, field: str = "") -> InputError:
    """Build the error for a name that is in no library: lists the nearest and, if few, all valid ones."""
    valid = sorted(names)
    near = nearest(name, valid, limit=3)
    hint = f"; nearest: {', '.join(near)}" if near else ""
    every = f"; known: {', '.join(valid)}" if len(valid) <= 12 and not near else ""
    return InputError(f"unknown {kind}{hint}{every}", field=field, value=name)


class MeshError(JointError):
    """A mesh cannot be built, or came out unusable."""
