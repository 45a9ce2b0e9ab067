"""What answers say of their mesh errors as a whole; each stands beside its figure."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable
from typing import Any, TypeVar

from headjoint.cases.models.from_mesh import TriedAndFailed, or_why_not
from headjoint.model.formulas.mesh_error import DOUBLED, ORDER, Companion, companion
from headjoint.postproc.verdict.model_seen import ModelSeen
from headjoint.postproc.verdict.requirement import Judged

# a choice, no source: a little over twice the 7 % by which a default cell's least sealing pressure was found off an
# independent solution
ASSUMED = 0.15  # of a factor

S = TypeVar("S")
F = TypeVar("F")


def compared(coarse: S | None, figures: Callable[[S], F], unbounded: str) -> tuple[F | None, str]:
    """Return the figures of the coarser mesh and why there are none: a finished solve is not thrown away for them."""
    if coarse is None:
        return None, unbounded
    found, why_not = or_why_not(lambda: figures(coarse))
    return found, why_not or unbounded


def doubted(judged: Judged, unbounded: str) -> Judged:
    """Return what is judged with the mesh error that is assumed where the comparison failed: the safe side."""
    return dataclasses.replace(judged, unsure=ASSUMED if isinstance(unbounded, TriedAndFailed) else 0.0)


def mesh_error_words(unbounded: str, *, solid: bool) -> str:
    """Say where mesh errors come from, of a model in three dimensions or not, or why no figure is bounded."""
    why_not = _why_not(unbounded)
    if why_not:
        return why_not
    beside = companion(solid)
    return (
        f"mesh errors (+-) are estimates, no bounds: from a second mesh of {_ratio(beside)} times the element size, by "
        f"an order of {ORDER:g} and a safety factor of {beside.safety:g}, all states of a figure looked at; what is "
        "met by less than its mesh error is not judged; figures without one are not bounded"
    )


def _ratio(beside: Companion) -> str:
    """Write how much larger elements are: of a cell its elements say that, and but nearly."""
    return f"{beside.ratio:g}" if beside.ratio == DOUBLED.ratio else f"some {beside.ratio:.1f}"


def _why_not(unbounded: str) -> str:
    if isinstance(unbounded, TriedAndFailed):
        return (
            f"error of the mesh not judged: {unbounded}; what is met by less than {100.0 * ASSUMED:.0f} % is not judged"
        )
    if unbounded:
        return f"mesh errors are not bounded: {unbounded}"
    return ""


def factor_error_words(unbounded: str) -> str:
    """Say the same where factors of requirements alone have a mesh error."""
    return _why_not(unbounded) or (
        "mesh errors (+-) of factors are estimates, no bounds, from all of it on a coarser mesh; what is met by less "
        "than its mesh error is not judged; other figures are those of one mesh"
    )


def study_error_words(unbounded: Iterable[str]) -> str:
    """Say of factors over need, of many designs, what their mesh errors do; why some have none."""
    why = list(dict.fromkeys(one for one in unbounded if one))
    text = (
        "Factors over need are less their mesh error (`headjoint guide trust`), so that nothing holds here that "
        "`headjoint solve` does not judge."
    )
    return text if not why else f"{text} Not bounded for some designs: {'; '.join(why)}."


def mesh_error_part(unbounded: str, *seen: ModelSeen | None) -> dict[str, Any]:
    """Return the same for documents, of the models that judge; where they differ, no number is that of all."""
    kinds = {one is not None and one.solid for one in seen}
    told: dict[str, float | None] = {"order": ORDER, "safety_factor": None, "ratio": None}
    if len(kinds) == 1:
        beside = companion(kinds.pop())
        told |= {"safety_factor": beside.safety, "ratio": beside.ratio}
    return {"known": not unbounded, "why_not": unbounded, **told}
