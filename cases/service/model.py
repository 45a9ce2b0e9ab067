"""A joint ready for service: condensed, with its laws; the same for one fastener, a bore cell and the estimate."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import scipy.sparse as sp

from headjoint.cases.condensed.cell_condensation import CellModel
from headjoint.cases.condensed.condensation import GAS
from headjoint.cases.condensed.interface_laws import PointGroup
from headjoint.cases.condensed.reduced_joint import Equilibrium, ReducedJoint
from headjoint.cases.load_cases.bore_cell import cell_load_factors
from headjoint.cases.load_cases.load_history import free_strains, load_factors
from headjoint.cases.service.fastener_law import FastenerLaw, flow_of, lengths_of
from headjoint.model.base.arrays import FloatArray
from headjoint.model.formulas import load_introduction
from headjoint.model.formulas.resilience import clamped_resilience, fastener_resilience, total
from headjoint.model.joint import Joint
from headjoint.model.load_case import LoadCase


@dataclass(frozen=True)
class ServiceModel:
    """What the service of a joint runs on.

    factors : unit-load factors of a load case. lift : force (N) by which its gas lifts the modelled head. sealing :
    least contact pressure (MPa) on the sealing line.
    """

    joint: Joint
    reduced: ReducedJoint = field(repr=False)
    law: FastenerLaw = field(repr=False)
    factors: Callable[[LoadCase], dict[str, float]] = field(repr=False)
    lift: Callable[[LoadCase], float] = field(repr=False)
    sealing: Callable[[Equilibrium], float] = field(repr=False)

    @property
    def fasteners(self) -> int:
        """Number of fasteners."""
        return len(self.reduced.overlaps)

    def mean(self, force: FloatArray) -> float:
        """Return the mean over all fasteners of their forces (f,) N, halves counted as such."""
        share = self.reduced.share
        return float(force @ share / share.sum())


def _law(joint: Joint, compliance: FloatArray) -> FastenerLaw:
    fastener = joint.fastener
    modulus = fastener.material.E.at(joint.assembly_temperature)
    return FastenerLaw(lengths_of(joint), flow_of(joint), fastener.relaxation, modulus, compliance)


def service_of_joint(joint: Joint, reduced: ReducedJoint) -> ServiceModel:
    """Return the service model of one fastener's condensed joint; InputError where its flow is not known."""
    zone = joint.gasket.sealing_zone
    at = reduced.group(zone.name).points
    order = at[np.argsort(reduced.radius[at], kind="stable")]

    def sealing(equilibrium: Equilibrium) -> float:
        line = zone.sealing_diameter / 2.0
        return float(np.interp(line, reduced.radius[order], equilibrium.pressure[order]))

    return ServiceModel(
        joint,
        reduced,
        _law(joint, reduced.series_compliance),
        lambda case: load_factors(joint, case),
        lambda case: case.gas_force,
        sealing,
    )


def service_of_cell(model: CellModel, reduced: ReducedJoint) -> ServiceModel:
    """Return the service model of a condensed bore cell; InputError where its fasteners' flow is not known."""
    cell = model.cell
    lines = [line for line in model.points.lines if line.bore in cell.fired]

    def sealing(equilibrium: Equilibrium) -> float:
        return min(float(equilibrium.pressure[line.at].min()) for line in lines)

    return ServiceModel(
        cell.joint,
        reduced,
        _law(cell.joint, reduced.series_compliance),
        lambda case: cell_load_factors(cell, case),
        lambda case: model.lift(case.gas_pressure),
        sealing,
    )


def service_of_estimate(joint: Joint) -> ServiceModel:
    """Return the closed-form chain of a joint (`model.estimate`) as a service model.

    Two unknowns, gasket closure c and overlap u of fastener and clamped parts, F = (u - c + g + n delta_P F_A)/delta
    with delta = delta_S + delta_P less the thread teeth, which stay in series; one point per gasket zone.
    """
    series = joint.fastener.series_compliance
    delta_P = total(clamped_resilience(joint))
    delta = total(fastener_resilience(joint)) + delta_P - series
    n, _ = load_introduction.factor(joint)
    zones = joint.gasket.zones
    spread = np.array([1.0, -1.0]) / delta  # what a growth g adds to the loads of c and u

    lengths = {"head": joint.head.height, "block": joint.block.counterbore_depth}
    if joint.washer is not None:
        lengths["washer"] = joint.washer.thickness
    lengths["fastener"] = -(sum(lengths.values()) + joint.gasket.thickness)
    loads = {part: length * spread for part, length in lengths.items()}
    loads[GAS] = n * delta_P * spread - np.array([1.0, 0.0])
    reduced = ReducedJoint(
        K=np.array([[1.0, -1.0], [-1.0, 1.0]]) / delta,
        loads=loads,
        B=sp.csr_matrix(np.column_stack([np.ones(len(zones)), np.zeros(len(zones))])),
        weight=np.array([zone.area for zone in zones]),
        radius=np.array([(zone.inner_diameter + zone.outer_diameter) / 4.0 for zone in zones]),
        groups=tuple(
            PointGroup(zone.name, "gasket", np.array([index]), zone.law, zone.step) for index, zone in enumerate(zones)
        ),
        overlaps=np.array([1]),
        series_compliance=np.array([series]),
    )
    sealing = next(index for index, zone in enumerate(zones) if zone.sealing)
    return ServiceModel(
        joint,
        reduced,
        _law(joint, reduced.series_compliance),
        lambda case: {**free_strains(joint, case), GAS: case.gas_force},
        lambda case: case.gas_force,
        lambda equilibrium: float(equilibrium.pressure[sealing]),
    )
