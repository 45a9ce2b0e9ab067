"""Requirements that one stud cannot show: an engine on a coarse mesh, taken down by its allowance, shows them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from headjoint.model.base.figure import Figure, Text, factor, said
from headjoint.model.formulas.estimate import LARGEST_MARGIN
from headjoint.postproc.verdict import model_seen
from headjoint.postproc.verdict.requirement import Candidate, CoarseFigure, Criterion, Judged, Requirement, fixed
from headjoint.postproc.verdict.sealing import LINE_LOAD, SEALING, SEPARATION, STROKE

SEALS = tuple(one.key for one in (SEALING, LINE_LOAD, STROKE, SEPARATION))
MEASURED = "the engine on a coarse mesh, less the allowance for such a mesh (`headjoint guide trust` has it)"


def _on_a_coarse_mesh(key: str) -> Callable[[Judged], Iterable[Candidate]]:
    """Return what takes a coarse mesh's figures of one of the two requirements by how often their need is met."""

    def candidates(judged: Judged) -> Iterable[Candidate]:
        for one in _own(judged.coarse, key):
            value = None if one.allowed.value is None else one.allowed.in_hand
            yield Candidate(
                one.allowed.where, value, said("{}; {}", _beside(one), one.allowed.detail), one.found.remedy
            )

    return candidates


def undecided(coarse: Sequence[CoarseFigure]) -> dict[str, str]:
    """Return which of the two requirements a coarse mesh cannot judge, and why: the need lies within its allowance."""
    found = {}
    for key in (BETWEEN_STUDS.key, BENT_HEAD.key):
        own = _own(coarse, key)
        close = [one for one in own if _too_close(one)]
        if close and all(one.allowed.holds or _too_close(one) for one in own):
            figures = "; ".join(_beside(one).written() for one in close)
            found[key] = f"too close for a coarse mesh: {figures}; {model_seen.WHOLE}"
    return found


def _too_close(one: CoarseFigure) -> bool:
    """Say whether a need is met or not by no more than the allowance: with it added instead, it would be met."""
    if one.allowed.value is None or one.allowed.holds:
        return False
    return one.found.value is None or 2.0 * one.found.value - one.allowed.value >= one.found.needed


def _own(coarse: Sequence[CoarseFigure], key: str) -> list[CoarseFigure]:
    return [one for one in coarse if (one.found.key in SEALS) is (key == BETWEEN_STUDS.key)]


def _beside(one: CoarseFigure) -> Text:
    """Say a figure's factor on a coarse mesh, less its allowance, and needed."""
    return said(
        "{} {} on a coarse mesh, {} less its allowance, {} needed",
        one.found.name,
        _told(one.found),
        _told(one.allowed),
        factor(one.found.needed),
    )


def _told(one: Criterion) -> Figure | str:
    return f"more than {LARGEST_MARGIN:g}" if one.value is None else factor(one.value, one.digits)


BETWEEN_STUDS = Requirement(
    key=model_seen.BETWEEN_STUDS,
    title="sealing between the studs",
    end="least",
    needed=fixed(1.0),
    source=f"a model of the bore judges it by the requirements above, all round; one stud beside {MEASURED}",
    candidates=_on_a_coarse_mesh(model_seen.BETWEEN_STUDS),
    deciding=True,
    colour="#86a8cc",
    axis="",
)
BENT_HEAD = Requirement(
    key="bent_head",
    title="clamp and stress where the head bends",
    end=None,
    needed=fixed(1.0),
    source=f"the other requirements, of one stud beside {MEASURED}",
    candidates=_on_a_coarse_mesh("bent_head"),
    deciding=True,
    colour="#b9cbe0",
    axis="",
)
