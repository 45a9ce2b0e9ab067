"""From a cell's histories to findings: sealing lines, head-room, spread of forces, scrub, bore shape."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from headjoint.cases.condensed.cell_condensation import CellRecovery
from headjoint.cases.condensed.cell_interfaces import InterfacePoints
from headjoint.cases.condensed.face_rows import face_watch
from headjoint.cases.condensed.load_vectors import gasket_growth
from headjoint.cases.condensed.reduced_joint import Equilibrium
from headjoint.cases.load_cases.head_room import sealed_factor
from headjoint.cases.load_cases.load_history import History, State
from headjoint.cases.load_cases.solved import SolvedCell
from headjoint.cases.models.condensed import BoreCell, LineState, seal_of, stroke_of
from headjoint.model.base.arrays import FloatArray
from headjoint.model.cell import Cell
from headjoint.model.formulas.sealing import Seal, SealNeed, lacking, seal_need
from headjoint.postproc.cell.shapes import BoreShape, bore_shapes
from headjoint.postproc.joint.lifted_faces import bearing_share


@dataclass(frozen=True)
class LineFindings:
    """A sealing line in one state: angle (deg from the x axis), pressure (MPa) and line load (N/mm) along it."""

    bore: int
    fired: bool
    angle: FloatArray = field(repr=False)
    pressure: FloatArray = field(repr=False)
    line_load: FloatArray = field(repr=False)
    need: SealNeed
    lacking: float

    @property
    def least(self) -> float:
        """Smallest pressure along the line, MPa."""
        return float(self.pressure.min())

    @property
    def least_at(self) -> float:
        """Angle of the smallest pressure, deg."""
        return float(self.angle[self.pressure.argmin()])

    @property
    def seal(self) -> Seal:
        """Smallest pressure and line load along the line."""
        return Seal(self.least, float(self.line_load.min()))


@dataclass(frozen=True)
class CellStateFindings:
    """One state of one history of a cell; forces N of whole fasteners, pressures MPa, lengths mm.

    worst : the sealing line that comes nearest to its need. sealing_without_gas : at the same temperatures, least
    pressure on the lines that gas reaches, None without gas. stroke : how far sealing lines open at most between gas
    and none. sealed_pressure : greatest gas pressure that every sealing line holds as required; None beyond
    `LARGEST_MARGIN` times the case's, or without gas. head_lift : how far the gasket's faces have moved apart since
    assembly, at most, and where. forces_without_gas : at the same temperatures. bearing_share : of the face under nut
    or washer, what presses at all, least of any fastener; None where it is tied.
    """

    name: str
    kind: str
    temperatures: dict[str, float]
    gas_pressure: float
    forces: FloatArray
    shares: FloatArray
    gasket_force: float
    lines: tuple[LineFindings, ...]
    sealing_without_gas: float | None
    stroke: float | None
    zones: tuple[tuple[str, float, float, float | None], ...]
    separation_factor: float | None
    sealed_pressure: float | None
    forces_without_gas: FloatArray | None
    head_lift: float
    head_lift_at: tuple[float, float]
    bearing_share: float | None
    balance: float
    residual: float
    iterations: int

    @property
    def worst(self) -> LineFindings:
        """The sealing line that comes nearest to its need, or lacks most of it."""
        return max(self.lines, key=lambda line: line.lacking)

    @property
    def mean_force(self) -> float:
        """Mean force of a fastener, N; one cut by symmetry counts by what the cell holds of it."""
        return float(self.forces @ self.shares / self.shares.sum())

    @property
    def force_spread(self) -> float:
        """Largest less smallest fastener force over their mean."""
        return float(np.ptp(self.forces) / max(self.mean_force, 1e-9))

    @property
    def force_amplitudes(self) -> FloatArray | None:
        """Force amplitude (f,) of every fastener between gas and no gas, N."""
        if self.forces_without_gas is None:
            return None
        found: FloatArray = np.abs(self.forces - self.forces_without_gas) / 2.0
        return found


@dataclass(frozen=True)
class CellFields:
    """What moves at the faces in one state.

    sliding : (2, k) of head over block at gasket nodes (k,), their places (2, k), mm, since assembly. shapes : bore
    shapes by depth.
    """

    name: str
    nodes: NDArray[np.int64] = field(repr=False)
    places: FloatArray = field(repr=False)
    sliding: FloatArray = field(repr=False)
    shapes: tuple[BoreShape, ...]

    @property
    def scrub(self) -> FloatArray:
        """Length of the sliding (k,), mm."""
        return np.hypot(*self.sliding)


@dataclass(frozen=True)
class FullField:
    """One state in the whole solid: displacement (n, 3) mm, stress (m, q, 6) MPa at the Gauss points."""

    name: str
    displacement: FloatArray = field(repr=False)
    stress: FloatArray = field(repr=False)


def cell_state_findings(
    history: History[BoreCell], without: Sequence[Equilibrium | None], *, margins: bool = True
) -> tuple[CellStateFindings, ...]:
    """Return the findings of every state that need no full fields; `margins` False skips the head-room.

    without : every state without its gas, as `without_gas` has it.
    """
    return tuple(_one_state(history, *pair, margins) for pair in zip(history.states, without, strict=True))


def line_findings(cell: Cell, line: LineState, gas_pressure: float) -> LineFindings:
    """Return one sealing line; unfired bores need only what every state asks for."""
    need = seal_need(cell.joint, gas_pressure if line.fired else 0.0)
    short = lacking(need, line.pressure, line.line_load, line.width)
    return LineFindings(line.bore, line.fired, line.angle, line.pressure, line.line_load, need, short)


def _one_state(history: History[BoreCell], state: State, trial: Equilibrium | None, margins: bool) -> CellStateFindings:
    if trial is None:
        return found_state(history, state)
    return found_state(history, state, trial, sealed_factor(history.model, state, trial) if margins else None)


def found_state(
    history: History[BoreCell], state: State, without: Equilibrium | None = None, factor: float | None = None
) -> CellStateFindings:
    """Return the findings of one state from its equilibrium without gas and its factor on gas pressure."""
    return beside_rest(history, state, _state_alone(history, state), without, factor)


def beside_rest(
    history: History[BoreCell],
    state: State,
    found: CellStateFindings,
    without: Equilibrium | None,
    factor: float | None,
) -> CellStateFindings:
    """Return the findings of a state alone with what its rest and its factor tell; arguments as of `found_state`."""
    told: dict[str, Any] = {}
    if without is not None:
        standing = history.model.lines(without)
        told = {
            "sealing_without_gas": seal_of(standing).pressure,
            "stroke": stroke_of(history.model.lines(state.equilibrium), standing),
            "forces_without_gas": without.force,
        }
    if factor is not None:
        told |= {"separation_factor": factor, "sealed_pressure": factor * state.case.gas_pressure}
    return dataclasses.replace(found, **told) if told else found


def _state_alone(history: History[BoreCell], state: State) -> CellStateFindings:
    reduced, equilibrium, cell = history.reduced, state.equilibrium, history.model.cell
    points = history.model.points
    at = reduced.gasket_points()
    pressure, lines = state.case.gas_pressure, history.model.lines(equilibrium)
    zones = []
    for index, zone in enumerate(cell.zones):
        own = points.zone == index
        p, weight = equilibrium.pressure[own], points.weight[own]
        mean = float(p @ weight / weight.sum()) if weight.any() else 0.0
        zones.append((zone.name, mean, float(p.max(initial=0.0)), zone.law.crush_pressure))
    # closure counts the gasket's growth, which moves no face
    first = history.states[0]
    growth = gasket_growth(cell.joint, state.case) - gasket_growth(cell.joint, first.case)
    opened = first.equilibrium.closure[at] - equilibrium.closure[at] + growth
    where = at[int(opened.argmax())]
    return CellStateFindings(
        name=state.name,
        kind=state.kind,
        temperatures=state.case.temperatures,
        gas_pressure=pressure,
        forces=state.force,
        shares=reduced.share,
        gasket_force=float(np.sum(reduced.weight[at] * equilibrium.pressure[at])),
        lines=tuple(line_findings(cell, line, pressure) for line in lines),
        sealing_without_gas=None,
        stroke=None,
        zones=tuple(zones),
        separation_factor=None,
        sealed_pressure=None,
        forces_without_gas=None,
        head_lift=max(0.0, float(opened.max())),
        head_lift_at=(float(points.places[0, where]), float(points.places[1, where])),
        bearing_share=_bearing_share(points, equilibrium.pressure),
        balance=state.balance,
        residual=equilibrium.residual,
        iterations=equilibrium.iterations,
    )


def _bearing_share(points: InterfacePoints, pressure: FloatArray) -> float | None:
    shares = [bearing_share(points.weight[own], pressure[own]) for own in points.under_fasteners]
    return min(shares, default=None)


def cell_fields(solved: SolvedCell, recovery: CellRecovery | None = None) -> tuple[CellFields, ...]:
    """Return what moves at the faces, state by state.

    recovery : of the full displacements, where the rows of faces were not condensed along.
    """
    history, watched = solved.nominal, solved.watched
    watch, rows = (face_watch(solved.assembled), None) if watched is None else (watched.watch, watched.faces)
    found = []
    first: FloatArray | None = None
    for state in history.states:
        q, factors = state.equilibrium.q, history.model.factors(state.case)
        if rows is not None:
            values = rows.at(q, factors)
        else:
            assert recovery is not None
            values = watch.on_all @ recovery.unknowns(q, factors)
        sliding, radial = watch.split(values)
        first = sliding if first is None else first
        shapes = bore_shapes(solved.cell, solved.assembled.mesh, watch.walls, radial)
        found.append(
            CellFields(state.name, watch.partners.nodes, watch.partners.places, sliding - first, tuple(shapes))
        )
    return tuple(found)


def recovery_of(solved: SolvedCell) -> CellRecovery:
    """Return what recovers full displacements: by factors that are still there, or by a factorisation."""
    factors = None if solved.watched is None else solved.watched.factors
    if factors is not None and factors.released:
        factors = None
    return CellRecovery(solved.assembled, refined=False, factors=factors)


def full_fields(solved: SolvedCell) -> tuple[FullField, ...]:
    """Return displacement and stress of every state, by a back-substitution each; factors left over are given back."""
    history = solved.nominal
    recovery = recovery_of(solved)
    found = []
    for state in history.states:
        q, factors = state.equilibrium.q, history.model.factors(state.case)
        displacement = recovery.displacement(q, factors)
        stress = recovery.stress(displacement, q[history.reduced.overlaps], factors)
        found.append(FullField(state.name, displacement.reshape(-1, 3), stress))
    recovery.release()
    return tuple(found)


def greatest_scrub_range(fields: tuple[CellFields, ...]) -> float:
    """Return the largest sliding (mm) between any two states at one place of the gasket."""
    largest = 0.0
    for index, first in enumerate(fields):
        for second in fields[index + 1 :]:
            largest = max(largest, float(np.hypot(*(first.sliding - second.sliding)).max()))
    return largest
