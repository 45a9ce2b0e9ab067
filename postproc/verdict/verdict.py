"""The verdict: every requirement at its worst, and in one sentence what holds, what limits and by how much."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

from headjoint.model.base.figure import Text, factor, said
from headjoint.model.base.rich import Rich
from headjoint.model.formulas.estimate import LARGEST_MARGIN
from headjoint.postproc.verdict.change_first import change_first
from headjoint.postproc.verdict.model_seen import ODD, ModelSeen
from headjoint.postproc.verdict.requirement import Criterion, Judged, NotJudged
from headjoint.postproc.verdict.table import REQUIREMENTS

Judgement = Literal["holds", "does not hold", "not judged"]


@dataclass(frozen=True)
class Verdict(Rich):
    """Requirements at their worst, and those not judged; what is met by less than its mesh error is in both.

    fracture : what broke, in words; then nothing holds. seen : by which model they were judged, None where nothing was.
    change_first : what to change first where something fails, None where nothing does.
    """

    criteria: tuple[Criterion, ...] = ()
    not_judged: tuple[NotJudged, ...] = ()
    fracture: Text | None = None
    seen: ModelSeen | None = None
    change_first: Text | None = None

    @property
    def holds(self) -> bool | None:
        """Whether every requirement is met and nothing broke; None where what decides was not judged."""
        if self.fracture is not None or any(one.holds is False for one in self.criteria):
            return False
        return None if self.undecided or not self.criteria else True

    @property
    def model_line(self) -> str:
        """Which model judged, and what it does not see."""
        return "" if self.seen is None else self.seen.line

    @property
    def met(self) -> bool:
        """Whether every requirement that could be judged is met."""
        return self.fracture is None and bool(self.criteria) and all(one.holds for one in self.criteria)

    @property
    def judgement(self) -> Judgement:
        """The same in words."""
        return "not judged" if self.holds is None else "holds" if self.holds else "does not hold"

    @property
    def undecided(self) -> tuple[NotJudged, ...]:
        """Requirements that decide and that the model, or its mesh, cannot judge."""
        return tuple(one for one in self.not_judged if one.deciding)

    @property
    def limiting(self) -> Criterion | None:
        """The requirement with the least in hand, None where there is none."""
        return min(self.criteria, key=lambda one: one.in_hand) if self.criteria else None

    def criterion(self, key: str) -> Criterion | None:
        """Return a requirement by its key, None where it was not judged."""
        return next((one for one in self.criteria if one.key == key), None)

    @property
    def sentence(self) -> Text:
        """What holds, what limits and by how much."""
        if self.fracture is not None:
            return self.fracture
        if not self.criteria and not self.undecided:
            return said("nothing was required of this joint that its stated data can judge")
        failing = [one for one in self.criteria if one.holds is False]
        if failing:
            names = ", ".join(one.name for one in failing)
            return said(
                f"{len(failing)} of {len(self.criteria)} requirements fail: {{}}; worst: {{}}", names, _worst(failing)
            )
        met = [one for one in self.criteria if one.holds]
        if not self.undecided:
            return said(f"all {len(met)} requirements are met; closest to its limit: {{}}", _worst(met))
        names = ", ".join(one.name for one in self.undecided)
        cannot = "this mesh" if all(one.by_mesh for one in self.undecided) else "this model"
        if not met:
            return said("{} cannot judge {}", cannot, names)
        return said(
            f"{cannot} cannot judge {{}}; the other {len(met)} requirements are met, closest: {{}}", names, _worst(met)
        )

    def sentences(self, units: str) -> tuple[str, ...]:
        """Return what holds or limits, and below it what to change first where something fails."""
        first = () if self.change_first is None else (f"To change first: {self.change_first.written(units)}",)
        return (self.sentence.written(units), *first)

    def document(self) -> dict[str, Any]:
        """Return what documents say of it."""
        return {
            "criteria": [one.plain() | {"holds": one.holds} for one in self.criteria],
            "not_judged": [one.plain() for one in self.not_judged],
            "verdict": {
                "holds": self.holds,
                "sentence": self.sentence.written(),
                "change_first": None if self.change_first is None else self.change_first.written(),
            },
            "model": None if self.seen is None else {"title": self.seen.title, "unseen": self.seen.unseen},
        }


def _worst(criteria: Sequence[Criterion]) -> Text:
    """Say which of some requirements has least in hand, and what it has."""
    one = min(criteria, key=lambda one: one.in_hand)
    value = f"more than {LARGEST_MARGIN:g}" if one.value is None else factor(one.value, one.digits)
    return said("{}, {} against {} needed ({})", one.name, value, factor(one.needed), one.where)


def judge(judged: Judged, fracture: Text | None = None, coarse: Judged | None = None) -> Verdict:
    """Return every requirement at its worst state and tightening, or why it was not judged.

    coarse : what is judged, on a coarser mesh.
    """
    found = [one.judge(judged, coarse) for one in REQUIREMENTS.values()]
    criteria = tuple(one for one in found if isinstance(one, Criterion))
    first = None if fracture is not None else change_first(judged, REQUIREMENTS.values(), criteria)
    missing = [one.too_close if isinstance(one, Criterion) else one for one in found]
    not_judged = (*(one for one in missing if one is not None), *left_by_model(judged.seen))
    return Verdict(criteria, not_judged, fracture, judged.seen, first)


def left_by_model(seen: ModelSeen) -> tuple[NotJudged, ...]:
    """Return what decides and a model does not see, besides requirements that it cannot judge."""
    odd = NotJudged("row", "what is not alike along the row", ODD, deciding=True)
    cut = NotJudged("elements", "walls and jacket on elements this large", seen.cut, deciding=True)
    return (*([odd] if seen.odd else []), *([cut] if seen.cut else []))
