"""A service at the ends of the scatter of its tightening."""

from __future__ import annotations

import dataclasses

from headjoint.cases.service.model import ServiceModel
from headjoint.cases.service.run import Service
from headjoint.cases.service.tightened import found_by, left_with, strengthened
from headjoint.model.formulas.tightened import Tightened
from headjoint.model.service import Retorque, Step, Tighten


def tightenings_of(service: Service) -> dict[int, Tightened]:
    """Return what every tightening of a service gives, by the number of its step; none that breaks a fastener."""
    found = {}
    for record in service.records:
        step = service.steps[record.step]
        if isinstance(step, Tighten) and record.turning is not None:
            found[record.step] = found_by(service.model, step, record.turning.reached, record.memory)
    return found


def at_scatter(nominal: Service, factor: float) -> tuple[ServiceModel, tuple[Step, ...]]:
    """Return model and steps of a service whose every tightening gives `factor` of what it gives in the nominal one.

    So scatter is told to load cases, too: below yield it is the tool's, past yield on purpose that of the fasteners'
    strength. A torque on tight nuts is scaled, for nobody knows beforehand what it gives.
    """
    ends = {number: one.at(factor) for number, one in tightenings_of(nominal).items()}
    past_yield = next((one for one in ends.values() if one.past_yield), None)
    model = nominal.model if past_yield is None else strengthened(nominal.model, past_yield)

    def scattered(number: int, step: Step) -> Step:
        if isinstance(step, Tighten) and number in ends:
            return left_with(step, ends[number])
        if isinstance(step, Retorque) and step.torque is not None:
            return dataclasses.replace(step, torque=factor * step.torque)
        return step

    return model, tuple(scattered(number, step) for number, step in enumerate(nominal.steps))
