"""The joint condensed to its interfaces, and the small dense Newton solve of one state.

Unknowns q: displacements normal to the interfaces on both faces, then one overlap per fastener. Everything
elastic is the dense matrix K; gasket and bearing faces act at interface points through their laws:

    R(q) = K q - F l + B' (w p(c)) - preload terms = 0,   c = B q + c0

K is positive semidefinite and p never falls with c, so R is the gradient of a convex energy: Newton with a
line search on that energy cannot cycle.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from headjoint.cases.condensed.gasket_creep import CreepStep, creeping_pressure
from headjoint.cases.condensed.interface_laws import PointGroup
from headjoint.cases.condensed.newton_step import SMALLEST_FOR_ITERATION, Tangent, TangentSolver, solve_symmetric
from headjoint.model.base.arrays import FloatArray
from headjoint.model.base.errors import SolveError

# Residuals are measured by the interface forces or the preload. Newton goes on until a step no longer helps, which
# is where rounding sets the floor: about 1e-13 for a tight joint, higher for one with very stiff or loose parts.
RESIDUAL_GOAL, RESIDUAL_LIMIT = 1e-13, 1e-9
ITERATED_GOAL = 1e-11  # of large joints, whose Newton steps are solved by iteration
MANY = 2000  # unknowns beyond which the goal falls with their number: what is left may add up in the balance
LARGEST_ITERATIONS = 80
SMALL_RELIEF = 1e-10  # mm, far below any closure, enough to tell unloading from loading
OPEN_STIFFNESS = 1e-3  # MPa/mm, regularisation of open points in the tangent only, so that a loose head has a direction


@dataclass(frozen=True)
class ReducedJoint:
    """Condensed stiffness, condensed unit loads and interface points.

    K : (n, n) N/mm. loads : name -> (n,) condensed unit load. B : (g, n) closure per unknown.
    weight : (g,) mm2. radius : (g,) mm. overlaps : numbers of the overlap unknowns.
    series_compliance : (fasteners,) mm/N in series with each. share : (fasteners,) 1 whole, 0.5 where a plane of
    symmetry halves it; forces are always those of whole fasteners.
    """

    K: FloatArray = field(repr=False)
    loads: dict[str, FloatArray] = field(repr=False)
    B: sp.csr_matrix = field(repr=False)
    weight: FloatArray = field(repr=False)
    radius: FloatArray = field(repr=False)
    groups: tuple[PointGroup, ...]
    overlaps: NDArray[np.int64]
    series_compliance: FloatArray
    share: FloatArray = field(default_factory=lambda: np.ones(1))
    solver: TangentSolver = field(default_factory=TangentSolver, repr=False, compare=False)

    @property
    def points(self) -> int:
        """Number of interface points."""
        return len(self.weight)

    def mean(self, values: FloatArray) -> float:
        """Return the mean of values (f,) over whole fasteners: one that a plane of symmetry halves counts half."""
        return float(values @ self.share / self.share.sum())

    def group(self, name: str) -> PointGroup:
        """Return the interface called `name`."""
        return next(group for group in self.groups if group.name == name)

    def gasket_points(self) -> NDArray[np.int64]:
        """Return the numbers of all gasket points."""
        return np.concatenate([group.points for group in self.groups if group.kind == "gasket"])


@dataclass(frozen=True)
class Demand:
    """What one solve is asked for.

    load : (n,) condensed load vector. growth : (g,) closure (mm) that gasket expansion adds.
    force : (fasteners,) prescribed fastener forces while tightening (N), nan where locked, or None.
    overlap : (fasteners,) locked total overlaps (mm), series compliance included, nan where tightened, or None.
    gasket_temperature : degC. reference_force : force (N) that residuals are measured by when interfaces carry less.
    creep : time over which the gasket creeps meanwhile, None for none.
    series : what is in series with the locked fasteners, from its length (fasteners,) in mm (locked overlap less that
    of the cut) to force (N) and stiffness (N/mm); None for the joint's series compliance.
    """

    load: FloatArray
    growth: FloatArray
    gasket_temperature: float
    reference_force: float
    force: FloatArray | None = None
    overlap: FloatArray | None = None
    creep: CreepStep | None = None
    series: Callable[[FloatArray], tuple[FloatArray, FloatArray]] | None = None


@dataclass(frozen=True)
class Equilibrium:
    """A converged state of the reduced joint."""

    q: FloatArray = field(repr=False)
    closure: FloatArray = field(repr=False)
    pressure: FloatArray = field(repr=False)
    slope: FloatArray = field(repr=False)
    force: FloatArray
    overlap: FloatArray
    iterations: int
    residual: float


def iterated_goal(unknowns: int) -> float:
    """Return the relative residual that ends iterated steps: what many unknowns leave may add up in the balance."""
    return ITERATED_GOAL * min(1.0, MANY / unknowns)


def solve(
    joint: ReducedJoint, demand: Demand, permanent_set: FloatArray, start: FloatArray | None = None
) -> Equilibrium:
    """Return the equilibrium under `demand` from a zone state of `permanent_set` (g,), which is not changed.

    Raises SolveError, naming the reached residual, when Newton does not converge.
    """
    load, fixed, fixed_value, springs = _with_fasteners(joint, demand)
    free = np.setdiff1d(np.arange(len(load)), fixed) if fixed.size else np.arange(len(load))
    q = np.zeros(len(load)) if start is None else start.copy()
    goal = RESIDUAL_GOAL if len(load) < SMALLEST_FOR_ITERATION else iterated_goal(len(load))
    q[fixed] = fixed_value

    added = demand.growth - _steps(joint)
    closure_to_force = joint.solver.transposed(joint.B)

    def trial_at(trial: FloatArray) -> _Trial:
        closure = joint.B @ trial + added
        p, slope = _pressures(joint, closure, permanent_set, demand.gasket_temperature, demand.creep)
        pull, spring = springs(trial[joint.overlaps])
        force = joint.K @ trial - load + closure_to_force @ (joint.weight * p)
        force[joint.overlaps] -= pull
        return _Trial(trial, closure, p, slope, spring, force)

    now = trial_at(q)
    history = []
    for iteration in range(1, LARGEST_ITERATIONS + 1):
        size_per_force = 1.0 / max(float(joint.weight @ now.pressure), demand.reference_force)
        size = float(np.abs(now.residual[free]).max()) * size_per_force
        history.append(size)
        stalled = len(history) > 1 and size > 0.1 * history[-2]
        if size < goal or (stalled and size < RESIDUAL_LIMIT):
            return _finished(joint, demand, now, iteration, size)
        step = np.zeros_like(q)
        spring = np.zeros_like(q)
        spring[joint.overlaps] = now.spring
        tangent = Tangent(joint.K, joint.B, closure_to_force, joint.weight * regularised(now.slope), spring, free)
        step[free] = -joint.solver.solve(tangent, now.residual[free], size)
        now = _line_search(trial_at, now, step)
    raise SolveError(
        f"the joint did not come to equilibrium in {LARGEST_ITERATIONS} Newton steps; relative residual "
        f"{history[-1]:.1e}, wanted {RESIDUAL_LIMIT:.0e}"
    )


@dataclass(frozen=True)
class _Trial:
    """Interface pressures, stiffness in series with the fasteners, and residual at a set of unknowns."""

    q: FloatArray
    closure: FloatArray
    pressure: FloatArray
    slope: FloatArray
    spring: FloatArray
    residual: FloatArray


def regularised(slope: FloatArray) -> FloatArray:
    """Return slopes of interface laws with a small one where a point is open: a loose head then has a direction."""
    return np.where(slope > 0.0, slope, OPEN_STIFFNESS)


def interface_stiffness(joint: ReducedJoint, slope: FloatArray) -> FloatArray:
    """Return the dense stiffness (n, n) in N/mm that interface slopes (g,) MPa/mm give."""
    return (joint.B.T @ joint.B.multiply((joint.weight * regularised(slope))[:, None])).toarray()


def _with_fasteners(
    joint: ReducedJoint, demand: Demand
) -> tuple[FloatArray, NDArray[np.int64], FloatArray, Callable[[FloatArray], tuple[FloatArray, FloatArray]]]:
    """Return load, fixed unknowns with their values, and the springs in series, as the demand wants them.

    The springs give pull (N) and stiffness (N/mm) on the overlap unknowns from overlaps of the cuts (mm).
    """
    load = demand.load.copy()
    nothing = np.full(len(joint.overlaps), np.nan)
    force = nothing if demand.force is None else demand.force
    overlap = nothing if demand.overlap is None else demand.overlap
    tightened = np.isfinite(force)
    if np.any(tightened == np.isfinite(overlap)):
        raise ValueError("every fastener is either tightened to a force or locked at an overlap")
    load[joint.overlaps[tightened]] += (joint.share * force)[tightened]
    # overlap of the cut + length of what is in series = locked total: a spring between the two
    soft = ~tightened & ((joint.series_compliance > 0.0) | (demand.series is not None))
    hard = ~tightened & ~soft
    stiffness = np.where(soft, 1.0 / np.where(joint.series_compliance > 0.0, joint.series_compliance, 1.0), 0.0)
    total = np.where(soft, overlap, 0.0)

    def springs(cut: FloatArray) -> tuple[FloatArray, FloatArray]:
        if demand.series is None:
            pull, slope = stiffness * (total - cut), stiffness
        else:
            pull, slope = demand.series(total - cut)
        return np.where(soft, joint.share * pull, 0.0), np.where(soft, joint.share * slope, 0.0)

    return load, joint.overlaps[hard], overlap[hard], springs


def _finished(joint: ReducedJoint, demand: Demand, at: _Trial, iterations: int, size: float) -> Equilibrium:
    force = (joint.K[joint.overlaps] @ at.q - demand.load[joint.overlaps]) / joint.share
    if demand.force is not None:
        force = np.where(np.isfinite(demand.force), demand.force, force)
    overlap = at.q[joint.overlaps] + joint.series_compliance * force
    if demand.series is not None and demand.overlap is not None:
        overlap = np.where(np.isfinite(demand.overlap), demand.overlap, overlap)
    return Equilibrium(at.q, at.closure, at.pressure, at.slope, force, overlap, iterations, size)


def _steps(joint: ReducedJoint) -> FloatArray:
    steps = np.zeros(joint.points)
    for group in joint.groups:
        steps[group.points] = group.step
    return steps


def _pressures(
    joint: ReducedJoint,
    closure: FloatArray,
    permanent_set: FloatArray,
    temperature: float,
    creep: CreepStep | None = None,
) -> tuple[FloatArray, FloatArray]:
    p, slope = np.zeros(joint.points), np.zeros(joint.points)
    for group in joint.groups:
        at, own = group.points, temperature + group.hotter
        if creep is None:
            p[at], slope[at] = group.law.pressures(closure[at], permanent_set[at], own)
        else:
            p[at], slope[at] = creeping_pressure(group, closure[at], permanent_set[at], own, creep)
    return p, slope


def grown_set(joint: ReducedJoint, state: Equilibrium, permanent_set: FloatArray, temperature: float) -> FloatArray:
    """Return the permanent set (g,) of every point after `state` has been reached."""
    after = permanent_set.copy()
    for group in joint.groups:
        at = group.points
        after[at] = group.law.sets_after(state.closure[at], permanent_set[at], temperature + group.hotter)
    return after


def _line_search(trial_at: Callable[[FloatArray], _Trial], now: _Trial, step: FloatArray) -> _Trial:
    """Return the trial along `step`, at most its whole length, where the energy stops falling."""
    slope_0 = float(step @ now.residual)
    whole = trial_at(now.q + step)
    slope_1 = float(step @ whole.residual)
    if slope_1 <= 0.0 or slope_1 < -0.5 * slope_0:
        return whole
    low, high, slope_low, slope_high = 0.0, 1.0, slope_0, slope_1
    for _ in range(30):  # false position, kept away from the ends
        middle = low - slope_low * (high - low) / (slope_high - slope_low)
        middle = min(max(middle, low + 0.05 * (high - low)), high - 0.05 * (high - low))
        trial = trial_at(now.q + middle * step)
        slope = float(step @ trial.residual)
        if abs(slope) < 0.2 * abs(slope_0):
            break
        if slope < 0.0:
            low, slope_low = middle, slope
        else:
            high, slope_high = middle, slope
    return trial


def overlap_compliance(joint: ReducedJoint, slope: FloatArray) -> FloatArray:
    """Return d overlap / d fastener force (fasteners, fasteners) in mm/N for interface slopes (g,) MPa/mm."""
    unit = np.zeros((len(joint.K), len(joint.overlaps)))
    unit[joint.overlaps, np.arange(len(joint.overlaps))] = 1.0
    compliance = solve_symmetric(joint.K + interface_stiffness(joint, slope), unit)[joint.overlaps]
    return compliance * joint.share + np.diag(joint.series_compliance)


def unloading_slope(
    joint: ReducedJoint, state: Equilibrium, permanent_set: FloatArray, temperature: float
) -> FloatArray:
    """Return the interface slopes (g,) in MPa/mm that a small relief of the joint meets after `state`."""
    _, slope = _pressures(joint, state.closure - SMALL_RELIEF, permanent_set, temperature)
    return slope
