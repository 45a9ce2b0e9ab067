"""The verdict: every requirement at its worst, and in one sentence what holds, what limits and by how much."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from headjoint.model.base.figure import Text, factor, said
from headjoint.model.formulas.estimate import LARGEST_MARGIN
from headjoint.postproc.verdict.requirement import Criterion, Judged, Requirement


@dataclass(frozen=True)
class Verdict:
    """Requirements at their worst. fracture : what broke, in words; then nothing holds."""

    criteria: tuple[Criterion, ...] = ()
    fracture: Text | None = None

    @property
    def holds(self) -> bool:
        """Whether every requirement is met and nothing broke."""
        return self.fracture is None and all(one.holds for one in self.criteria)

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
        if self.limiting is None:
            return said("nothing was required of this joint that its stated data can judge")
        limiting, count = self.limiting, len(self.criteria)
        value = f"more than {LARGEST_MARGIN:g}" if limiting.value is None else factor(limiting.value)
        failing = [one.name for one in self.criteria if not one.holds]
        by = said("{}, {} against {} needed ({})", limiting.name, value, factor(limiting.needed), limiting.where)
        if not failing:
            return said(f"all {count} requirements are met; closest to its limit: {{}}", by)
        return said(f"{len(failing)} of {count} requirements fail: {{}}; worst: {{}}", ", ".join(failing), by)

    def document(self) -> dict[str, Any]:
        """Return what documents say of it."""
        return {
            "criteria": [one.plain() | {"holds": one.holds} for one in self.criteria],
            "verdict": {"holds": self.holds, "sentence": self.sentence.written()},
        }


def judge(judged: Judged, requirements: Iterable[Requirement], fracture: Text | None = None) -> Verdict:
    """Return every requirement that the stated data can judge, each at its worst state and tightening."""
    found = (one.judge(judged) for one in requirements)
    return Verdict(tuple(one for one in found if one is not None), fracture)
