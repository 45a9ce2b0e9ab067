"""A joint ready for service: what its load cases run on, and how its fasteners yield and creep."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field

from headjoint.cases.condensed.reduced_joint import Equilibrium, ReducedJoint
from headjoint.cases.models.condensed import LineState, Model
from headjoint.cases.service.fastener_law import FastenerLaw, flow_of, lengths_of
from headjoint.model.base.arrays import FloatArray
from headjoint.model.joint import Joint
from headjoint.model.load_case import LoadCase


@dataclass(frozen=True)
class ServiceModel:
    """What the service of a joint runs on; the same for one fastener, a bore cell and the closed-form chain."""

    base: Model = field(repr=False)
    law: FastenerLaw = field(repr=False)

    @property
    def joint(self) -> Joint:
        """The joint, or one stud's share of a cell."""
        return self.base.joint

    @property
    def reduced(self) -> ReducedJoint:
        """The condensed joint."""
        return self.base.reduced

    def factors(self, case: LoadCase) -> dict[str, float]:
        """Return the factor of every unit load in a load case."""
        return self.base.factors(case)

    def lift(self, case: LoadCase) -> float:
        """Return the force (N) by which the gas of a case lifts the modelled head."""
        return self.base.lift(case)

    def lines(self, equilibrium: Equilibrium) -> tuple[LineState, ...]:
        """Return what every sealing line bears."""
        return self.base.lines(equilibrium)

    @property
    def fasteners(self) -> int:
        """Number of fasteners."""
        return len(self.reduced.overlaps)

    def mean(self, force: FloatArray) -> float:
        """Return the mean over all fasteners of their forces (f,) N, halves counted as such."""
        return self.reduced.mean(force)

    def under(self, case: LoadCase) -> ServiceModel:
        """Return the model in the temperature field of a load case, if it has one: fasteners soften by it, too."""
        field = self.base.field_of(case)
        if field is None:
            return self
        law = dataclasses.replace(self.law, compliance=self.law.compliance + field.softening)
        return ServiceModel(self.base.under(case), law)

    def with_reduced(self, reduced: ReducedJoint) -> ServiceModel:
        """Return the same with another stiffness."""
        return dataclasses.replace(self, base=dataclasses.replace(self.base, reduced=reduced))  # type: ignore[type-var]


def service_of(base: Model) -> ServiceModel:
    """Return the service model of a condensed joint; InputError where its fasteners' flow is not known."""
    joint = base.joint
    fastener = joint.fastener
    modulus = fastener.material.E.at(joint.assembly_temperature)
    law = FastenerLaw(lengths_of(joint), flow_of(joint), fastener.relaxation, modulus, base.reduced.series_compliance)
    return ServiceModel(base, law)
