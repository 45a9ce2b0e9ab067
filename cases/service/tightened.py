"""What a tightening gives, by every method on one path: from here load cases, warm-up, studies and estimate go on.

A torque and a stated preload are closed formulas. Where the elastic joint decides - an angle, a yield slope, a stretch,
a tensioner that is let go - the joint's own condensed model is tightened by the same steps as in a service.

A fastener that this takes past yield is past it on purpose; its load cases, like its service, go on yielding.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field

import numpy as np

from headjoint.cases.models.condensed import Model, chain_of
from headjoint.cases.service.fastener_law import FastenerLaw, Strains, at_rest
from headjoint.cases.service.memory import Memory, fresh
from headjoint.cases.service.model import ServiceModel, service_of
from headjoint.cases.service.steps import FractureError, Reached, embedded_by_heat, settle
from headjoint.cases.service.tightening import arms_of, let_go, tightened_on
from headjoint.model.base.arrays import FloatArray
from headjoint.model.base.errors import BrokenFastenerError
from headjoint.model.formulas.estimate import Estimate, estimate
from headjoint.model.formulas.tightened import Tightened, by_formula
from headjoint.model.joint import Joint
from headjoint.model.library.plasticity import PROOF_STRAIN
from headjoint.model.service import Tighten


def broken_fastener(model: ServiceModel, where: str, fracture: FractureError) -> BrokenFastenerError:
    """Return the error of a tightening that breaks a fastener, at once or, as `where` says, in what follows."""
    uniform = model.law.flow.uniform_elongation
    return BrokenFastenerError(
        f"this breaks a fastener{where}: its weakest length is pulled beyond its uniform elongation of "
        f"{100.0 * uniform:.3g} %; less of it, or a longer or more ductile fastener",
        field="tightening",
        value=model.joint.tightening.method,
        used=float(fracture.memory.plastic.max()) / uniform,
    )


def tightened(model: Model, past_yield: bool | None = None) -> Tightened:
    """Return what the tightening of a model gives, by the frictions and strengths of its joint.

    past_yield : whether it is meant to be past yield, where another joint says so for this one.

    Raises BrokenFastenerError where it breaks a fastener, InputError where its yield would have to be known and is not,
    SolveError where a step does not converge or balance.
    """
    joint, tight = model.joint, model.joint.tightening
    if tight.preload is not None:
        return by_formula(joint, tight.preload, len(model.reduced.overlaps))
    service = service_of(model)
    # as in a service, whose steps remember nothing of the solver
    model.reduced.solver.forget()
    try:
        reached, _ = tightened_on(service, fresh(service), tight.step)
    except FractureError as fracture:
        raise broken_fastener(service, " while it is tightened", fracture) from None
    found = found_by(service, tight.step, reached.force, reached.memory)
    if past_yield is not None:
        found = dataclasses.replace(found, past_yield=past_yield)
    return found.at(tight.share)


def found_by(model: ServiceModel, step: Tighten, forces: FloatArray, memory: Memory) -> Tightened:
    """Return what a step of a service has given: forces (f,) N, and what is remembered of it.

    Yield control is past yield on purpose, and so is whatever else reaches the proof strain.
    """
    strain = float(memory.plastic.max())
    return dataclasses.replace(
        by_formula(model.joint, model.mean(forces), model.fasteners),
        forces=forces,
        peak=float(forces.max()) if step.pull is None else step.pull,
        strain=strain,
        uniform=model.law.flow.uniform_elongation,
        past_yield=step.gradient is not None or strain >= PROOF_STRAIN,
    )


def strengthened(model: ServiceModel, found: Tightened) -> ServiceModel:
    """Return a model with fasteners as strong as a tightening takes them to be."""
    if found.strength == 1.0:
        return model
    law = dataclasses.replace(model.law, flow=model.law.flow.times(found.strength))
    return dataclasses.replace(model, law=law)


def assembled(model: ServiceModel, found: Tightened) -> tuple[Reached, Reached]:
    """Return new parts tightened to what was found: the tool still on, and let go; `model` is `strengthened`.

    Raises SolveError where that does not converge or balance, FractureError where a fastener breaks.
    """
    step = left_with(model.joint.tightening.step, found)
    reached, _ = tightened_on(model, fresh(model), step)
    return reached, let_go(model, reached, arms_of(model, step), step.name)


def left_with(step: Tighten, found: Tightened) -> Tighten:
    """Return a step that leaves every fastener with the force that was found, a tensioner by its peak."""
    pull = None if step.pull is None else found.peak
    return dataclasses.replace(step, forces=tuple(float(force) for force in found.forces), pull=pull)


def cold_and_settled(model: ServiceModel, found: Tightened) -> Reached:
    """Return new parts tightened to what was found, all embedding done; a chain's one fastener stands for all."""
    return assembled_and_settled(model, found)[1]


def assembled_and_settled(model: ServiceModel, found: Tightened) -> tuple[Reached, Reached]:
    """Return the same while the tool is still on, and then."""
    if model.fasteners != len(found.forces):
        found = found.as_one()
    on, loose = assembled(model, found)
    return on, settle(model, embedded_by_heat(loose.memory), model.joint.load_cases[0], gas=False)


@dataclass(frozen=True)
class YieldingFastener:
    """The fastener of a closed-form chain past yield, with the torsion (1,) N.mm that is left in it."""

    law: FastenerLaw = field(repr=False)
    strains: Strains
    torsion: FloatArray

    @property
    def strain(self) -> float:
        """Plastic strain of its weakest length."""
        return float(self.strains.equivalent.max())

    def longer(self, force: float, temperature: float) -> float:
        """Return by how much (mm) it yields on under a force (N) at a temperature (degC)."""
        after = self.after(force, temperature)
        return float((self.law.permanent(after.strains) - self.law.permanent(self.strains))[0])

    def after(self, force: float, temperature: float) -> YieldingFastener:
        """Return it after it has borne a force (N) at a temperature (degC)."""
        strains = self.law.yielded(np.array([force]), self.strains, at_rest(self.torsion), temperature)
        return dataclasses.replace(self, strains=strains)


def closed_form(joint: Joint, found: Tightened) -> Estimate:
    """Return the closed-form answer of a joint tightened to what was found."""
    if not found.past_yield:
        return estimate(joint, found.preload)
    chain = strengthened(service_of(chain_of(joint)), found)
    _, loose = assembled(chain, found.as_one())
    return estimate(joint, found.preload, YieldingFastener(chain.law, loose.memory.strains, loose.memory.torsion))
