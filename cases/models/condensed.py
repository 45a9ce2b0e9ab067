"""What a load history runs on: one fastener's joint, a bore cell, or the closed-form chain, each condensed."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Protocol, Self

import numpy as np
import scipy.sparse as sp

from headjoint.cases.condensed.cell_condensation import CellModel, gas_name
from headjoint.cases.condensed.cell_interfaces import InterfacePoints
from headjoint.cases.condensed.condensation import GAS
from headjoint.cases.condensed.interface_laws import PointGroup
from headjoint.cases.condensed.reduced_joint import Equilibrium, ReducedJoint
from headjoint.model.base.arrays import FloatArray
from headjoint.model.cell import Cell
from headjoint.model.formulas import load_introduction
from headjoint.model.formulas.resilience import clamped_resilience, fastener_resilience, total
from headjoint.model.formulas.sealing import Seal, lacking, seal_need
from headjoint.model.formulas.tightened import Tightened
from headjoint.model.joint import Joint
from headjoint.model.load_case import LoadCase


@dataclass(frozen=True)
class LineState:
    """A sealing line in one state, along its angle (k,) deg from the x axis.

    pressure MPa, line load N/mm, closure mm, all (k,). fired : whether gas reaches it. width : of the bead, mm.
    """

    bore: int
    fired: bool
    width: float
    angle: FloatArray = field(repr=False)
    pressure: FloatArray = field(repr=False)
    line_load: FloatArray = field(repr=False)
    closure: FloatArray = field(repr=False)


def seal_of(lines: Sequence[LineState]) -> Seal:
    """Return the least pressure and line load of the lines that gas reaches."""
    fired = [line for line in lines if line.fired]
    return Seal(min(float(line.pressure.min()) for line in fired), min(float(line.line_load.min()) for line in fired))


def line_lacking(joint: Joint, lines: Sequence[LineState], gas_pressure: float) -> float:
    """Return by how much (MPa) the worst of all lines falls short of its need at a gas pressure (MPa)."""
    return max(
        lacking(seal_need(joint, gas_pressure if line.fired else 0.0), line.pressure, line.line_load, line.width)
        for line in lines
    )


def stroke_of(with_gas: Sequence[LineState], without: Sequence[LineState]) -> float:
    """Return how far (mm) the sealing lines that gas reaches open at most between a state without gas and with it."""
    pairs = zip(with_gas, without, strict=True)
    return max(float((rest.closure - fired.closure).max()) for fired, rest in pairs if fired.fired)


def pressed(reduced: ReducedJoint, *equilibria: Equilibrium) -> dict[str, float]:
    """Return the greatest pressure (MPa) on every gasket zone, by its name, in any of the equilibria."""
    return {
        group.name: max(float(one.pressure[group.points].max()) for one in equilibria)
        for group in reduced.groups
        if group.kind == "gasket"
    }


def heat_name(case: str) -> str:
    """Return the name of the unit load that the temperature field of a load case makes."""
    return f"heat in {case}"


@dataclass(frozen=True)
class UnderHeat:
    """A condensed joint in a temperature field of its own.

    reduced : as stiff as the field leaves it, with its own load and gas for unit loads. softening : (f,) mm/N that the
    fasteners' own stiffness loses. rest : what a duty leads to from what a tightening gives, without gas and aged (a
    `cases.service.steps.Reached`); None where the field is no instant of a duty.
    """

    reduced: ReducedJoint = field(repr=False)
    softening: FloatArray
    rest: Callable[[Tightened], Any] | None = field(default=None, repr=False)


class Model(Protocol):
    """A condensed joint with all that load cases need to know of it.

    joint : data of the joint, or of one stud's share of a cell. passes : tightening nut after nut, share of the preload
    and the fasteners' numbers in order; empty where all are tightened at once. snug : share of the preload that all
    have before the passes.
    """

    @property
    def joint(self) -> Joint: ...  # noqa: D102
    @property
    def reduced(self) -> ReducedJoint: ...  # noqa: D102
    @property
    def passes(self) -> Sequence[tuple[float, Sequence[int]]]: ...  # noqa: D102
    @property
    def snug(self) -> float: ...  # noqa: D102

    def factors(self, case: LoadCase, gas_factor: float = 1.0) -> dict[str, float]:
        """Return the factor of every unit load in a load case; `gas_factor` scales combustion only."""
        ...

    def lift(self, case: LoadCase) -> float:
        """Return the force (N) by which the gas of a case lifts the modelled head."""
        ...

    def lines(self, equilibrium: Equilibrium) -> tuple[LineState, ...]:
        """Return what every sealing line bears."""
        ...

    def field_of(self, case: LoadCase) -> UnderHeat | None:
        """Return the temperature field of a load case, None where each part has one temperature."""
        ...

    def under(self, case: LoadCase) -> Self:
        """Return the model with stiffness and loads of the temperature field of a load case, if it has one."""
        ...


def free_strains(joint: Joint, case: LoadCase) -> dict[str, float]:
    """Return the free thermal strain of each part relative to assembly, dimensionless."""
    reference = joint.assembly_temperature
    strains = {}
    for part, temperature in case.temperatures.items():
        if part == "gasket" or (part == "washer" and joint.washer is None):
            continue
        strains[part] = joint.part_material(part).free_strain(temperature, reference)
    return strains


def load_factors(joint: Joint, case: LoadCase, gas_factor: float = 1.0) -> dict[str, float]:
    """Return the factor of every unit load on one fastener's joint in a load case."""
    return {**free_strains(joint, case), GAS: case.gas_force * gas_factor}


def _round(width: float, pressure: float, line_load: float, closure: float) -> LineState:
    """Return a sealing line that is alike all round."""
    return LineState(0, True, width, np.zeros(1), np.array([pressure]), np.array([line_load]), np.array([closure]))


@dataclass(frozen=True)
class _InHeat:
    """What models share that load cases may give temperature fields.

    heat : those fields by the name of the load case. hot : whether the model is that of one of them.
    """

    heat: Mapping[str, UnderHeat] = field(default_factory=dict, repr=False, kw_only=True)
    hot: bool = field(default=False, kw_only=True)

    def field_of(self, case: LoadCase) -> UnderHeat | None:
        """Return the temperature field of a load case, None where each part has one temperature."""
        return None if case.heat is None else self.heat.get(case.name)

    def under(self, case: LoadCase) -> Self:
        """Return the model with stiffness and loads of the temperature field of a load case, if it has one."""
        own = self.field_of(case)
        if own is None:
            return self
        return dataclasses.replace(self, reduced=own.reduced, heat={}, hot=True)  # type: ignore[call-arg]


@dataclass(frozen=True)
class _Alone(_InHeat):
    """What every model of one fastener shares: it is turned once, and gas lifts its head by the case's own force."""

    joint: Joint = field(repr=False)
    reduced: ReducedJoint = field(repr=False)
    passes = ()
    snug = 1.0

    def factors(self, case: LoadCase, gas_factor: float = 1.0) -> dict[str, float]:
        """Return the factor of every unit load in a load case."""
        if self.hot or self.field_of(case) is not None:
            return {heat_name(case.name): 1.0, GAS: case.gas_force * gas_factor}
        return load_factors(self.joint, case, gas_factor)

    def lift(self, case: LoadCase) -> float:
        """Return the force (N) of the gas on the head."""
        return case.gas_force


@dataclass(frozen=True)
class OneFastener(_Alone):
    """One fastener's joint, condensed."""

    def lines(self, equilibrium: Equilibrium) -> tuple[LineState, ...]:
        """Return what the one sealing line bears: alike all round."""
        zone = self.joint.gasket.sealing_zone
        at = self.reduced.group(zone.name).points
        load = float(self.reduced.weight[at] @ equilibrium.pressure[at]) / zone.area * zone.line_width
        pressure, closure = self.at_sealing_line(equilibrium.pressure), self.at_sealing_line(equilibrium.closure)
        return (_round(zone.line_width, pressure, load, closure),)

    def at_sealing_line(self, values: np.ndarray) -> float:
        """Return values (g,) of interface points on the sealing line, which has a point of its own."""
        zone = self.joint.gasket.sealing_zone
        at = self.reduced.group(zone.name).points
        return float(values[at[np.abs(self.reduced.radius[at] - zone.sealing_diameter / 2.0).argmin()]])


@dataclass(frozen=True)
class BoreCell(_InHeat):
    """A bore cell, condensed: no mesh, no matrix, small enough to send.

    gas_lift : upward force (N) on the head of 1 MPa in each bore.
    """

    cell: Cell = field(repr=False)
    reduced: ReducedJoint = field(repr=False)
    points: InterfacePoints = field(repr=False)
    gas_lift: dict[str, float]

    @property
    def joint(self) -> Joint:
        """One stud's share of the cell."""
        return self.cell.joint

    @property
    def passes(self) -> Sequence[tuple[float, Sequence[int]]]:
        """Tightening nut after nut."""
        return self.cell.order

    @property
    def snug(self) -> float:
        """Share of the preload before the passes."""
        return self.cell.snug

    def factors(self, case: LoadCase, gas_factor: float = 1.0) -> dict[str, float]:
        """Return the factor of every unit load: free strain of each part, and MPa in each fired bore."""
        joint = self.cell.joint
        gas = {gas_name(bore): case.gas_pressure * gas_factor for bore in self.cell.fired}
        if self.hot or self.field_of(case) is not None:
            return {heat_name(case.name): 1.0, **gas}
        factors = {}
        temperatures = case.temperatures | {"liner": case.temperatures["block"]}
        parts = ["fastener", "nut", "head", "block"]
        parts += ["washer"] if joint.washer is not None else []
        parts += ["liner"] if self.cell.liner is not None else []
        for part in parts:
            factors[part] = self.cell.part_material(part).free_strain(temperatures[part], joint.assembly_temperature)
        return {**factors, **gas}

    def lift(self, case: LoadCase) -> float:
        """Return the upward force (N) of the gas in the fired bores on the head."""
        return case.gas_pressure * sum(self.gas_lift[gas_name(bore)] for bore in self.cell.fired)

    def lines(self, equilibrium: Equilibrium) -> tuple[LineState, ...]:
        """Return what every sealing line bears along its angle."""
        zone = self.cell.sealing_zone
        width = zone.line_width
        return tuple(
            LineState(
                line.bore,
                line.bore in self.cell.fired,
                width,
                line.angle,
                equilibrium.pressure[line.at],
                equilibrium.pressure[line.across] @ line.across_weight,
                equilibrium.closure[line.at],
            )
            for line in self.points.lines
        )


def condensed_cell(assembled: CellModel, reduced: ReducedJoint) -> BoreCell:
    """Return an assembled and condensed cell without its mesh and matrix."""
    return BoreCell(assembled.cell, reduced, assembled.points, assembled.gas_lift)


@dataclass(frozen=True)
class Chain(_Alone):
    """The closed-form chain of springs of a joint (`model.formulas.estimate`), as a condensed joint.

    Two unknowns, gasket closure c and overlap u of fastener and clamped parts, F = (u - c + g + n delta_P F_A)/delta
    with delta = delta_S + delta_P less the thread teeth, which stay in series; one point per gasket zone.
    """

    def lines(self, equilibrium: Equilibrium) -> tuple[LineState, ...]:
        """Return what the sealing zone bears: one pressure."""
        zones = self.joint.gasket.zones
        at = next(index for index, zone in enumerate(zones) if zone.sealing)
        pressure, width = float(equilibrium.pressure[at]), zones[at].line_width
        return (_round(width, pressure, pressure * width, float(equilibrium.closure[at])),)


def chain_of(joint: Joint) -> Chain:
    """Return the closed-form chain of a joint."""
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
    return Chain(joint, reduced)
