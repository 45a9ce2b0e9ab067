"""Many states of one condensed joint at once: the Newton solve of `reduced`, column by column in step.

A single large state spends its time on reading the dense stiffness from memory; with many columns the same reading
serves all of them. Every column converges to the tolerances of `reduced.solve`; columns share nothing but K and what
preconditions them.
"""

from __future__ import annotations

import weakref
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.linalg
import scipy.sparse as sp
from numpy.typing import NDArray

from headjoint.cases.condensed import reduced_joint as single_state
from headjoint.cases.condensed.newton_step import ROUGH, Tangent, TangentSolver
from headjoint.cases.condensed.reduced_joint import Demand, Equilibrium, ReducedJoint
from headjoint.model.base.arrays import FloatArray
from headjoint.model.base.errors import SolveError

SingleArray = NDArray[np.float32]

MOST_ITERATIONS = 60  # of conjugate gradients, then the column is factorised by itself
FEW_COLUMNS = 4  # up to which column by column is quicker: a product of matrices packs the whole of its first one
FAR = 1e-4  # residual beyond which faces still open and close: the next step corrects more than an exact one would gain
NEAR = 1e-4  # accuracy of a step near equilibrium; steps are solved in single precision, residuals are double
SAFELY = 0.1  # of the goal, that the last step aims at


@dataclass(frozen=True)
class Nearby:
    """Single-precision inverse (n, n) of a tangent: a preconditioner only.

    A product with it takes half the time of two triangular solves where there are many columns. weighted : (g,) weight
    times slope that the tangent has, and spring : (n,) what it has on its diagonal.
    """

    inverse: SingleArray
    weighted: SingleArray
    spring: SingleArray

    def solve(self, r: SingleArray) -> SingleArray:
        """Return the solution for right-hand sides (n, k)."""
        return _product(self.inverse, r)


def _product(matrix: NDArray, columns: NDArray) -> NDArray:
    """Return the product (n, k) of a matrix (n, n) with columns (n, k)."""
    count = columns.shape[1]
    if count > FEW_COLUMNS:
        return matrix @ columns
    found = np.empty(columns.shape, dtype=matrix.dtype, order="F")
    for one in range(count):
        np.dot(matrix, np.ascontiguousarray(columns[:, one]), out=found[:, one])
    return found


def nearby_of(joint: ReducedJoint, demand: Demand, state: Equilibrium) -> Nearby:
    """Return the inverse of the tangent of a converged state; SolveError where a part can move freely."""
    _, fixed, _, springs = single_state._with_fasteners(joint, demand)
    spring = np.zeros(len(joint.K))
    spring[joint.overlaps] = springs(state.q[joint.overlaps])[1]
    matrix = joint.K + single_state.interface_stiffness(joint, state.slope)
    matrix[np.diag_indices(len(matrix))] += spring
    matrix[fixed, :] = 0.0
    matrix[:, fixed] = 0.0
    matrix[fixed, fixed] = 1.0
    lower, info = scipy.linalg.lapack.spotrf(matrix.astype(np.float32), lower=1)
    if info == 0:
        lower, info = scipy.linalg.lapack.spotri(lower, lower=1, overwrite_c=1)
    if info != 0:
        raise SolveError("the joint is not held: a part can move freely under these loads")
    half = np.tril(lower)
    weighted = joint.weight * single_state.regularised(state.slope)
    inverse = np.ascontiguousarray(half + np.tril(half, -1).T)
    return Nearby(inverse, weighted.astype(np.float32), spring.astype(np.float32))


@dataclass(frozen=True)
class _Trials:
    """Interface state and residual of columns (n or g, k)."""

    q: FloatArray
    closure: FloatArray
    pressure: FloatArray
    slope: FloatArray
    spring: FloatArray
    residual: FloatArray

    def taken(self, at: NDArray) -> _Trials:
        return _Trials(*(getattr(self, name)[:, at] for name in self.__dataclass_fields__))


KEPT = 2  # stiffnesses whose B is kept in single precision, too: of a mesh and of doubled elements
_SINGLE: dict[int, tuple[weakref.ref, sp.csr_matrix]] = {}


class _Columns:
    """What the columns are asked for, and their residuals."""

    def __init__(self, joints: Sequence[ReducedJoint], demands: Sequence[Demand], sets: Sequence[FloatArray]) -> None:
        self.joints, self.demands, self.sets = joints, demands, sets
        first = joints[0]
        if any(joint.K is not first.K or joint.B is not first.B for joint in joints):
            raise ValueError("columns must share one condensed stiffness")
        self.K, self.B, self.weight, self.overlaps = first.K, first.B, first.weight, first.overlaps
        self.transposed = first.B.T.tocsr()
        asked = [single_state._with_fasteners(joint, demand) for joint, demand in zip(joints, demands, strict=True)]
        self.load = np.column_stack([load for load, _, _, _ in asked])
        self.fixed = asked[0][1]
        if any(not np.array_equal(fixed, self.fixed) for _, fixed, _, _ in asked):
            raise ValueError("columns must hold the same unknowns")
        self.fixed_value = np.column_stack([value for _, _, value, _ in asked])
        self.springs = [springs for _, _, _, springs in asked]
        self.added = np.column_stack([d.growth - single_state._steps(j) for j, d in zip(joints, demands, strict=True)])
        self.reference = np.array([demand.reference_force for demand in demands])

    def single(self) -> sp.csr_matrix:
        """Return B in single precision, made once for each condensed stiffness."""
        kept = _SINGLE.get(id(self.K))
        if kept is None or kept[0]() is not self.K:
            made = self.B.astype(np.float32)
            if len(_SINGLE) >= KEPT:
                _SINGLE.clear()
            kept = _SINGLE[id(self.K)] = (weakref.ref(self.K), made)
        return kept[1]

    def at(self, q: FloatArray, columns: NDArray) -> _Trials:
        closure = self.B @ q + self.added[:, columns]
        p, slope = np.empty_like(closure), np.empty_like(closure)
        residual = _product(self.K, q) - self.load[:, columns]
        spring = np.zeros_like(residual)
        for position, number in enumerate(columns):
            p[:, position], slope[:, position] = single_state._pressures(
                self.joints[number], closure[:, position], self.sets[number], self.demands[number].gasket_temperature
            )
            pull, stiffness = self.springs[number](q[self.overlaps, position])
            residual[self.overlaps, position] -= pull
            spring[self.overlaps, position] = stiffness
        residual += self.transposed @ (self.weight[:, None] * p)
        return _Trials(q, closure, p, slope, spring, residual)


def solve_many(
    joints: Sequence[ReducedJoint],
    demands: Sequence[Demand],
    sets: Sequence[FloatArray],
    starts: Sequence[FloatArray],
    nearby: Nearby,
    goal: float | None = None,
) -> list[Equilibrium | SolveError]:
    """Return the equilibrium of every column, or why it has none.

    joints : of equal K and B, their laws, steps and series compliances each its own. sets : (g,) permanent sets before.
    starts : (n,) unknowns to begin with. nearby : of a tangent like theirs. goal : relative residual that ends the
    iteration, at most `RESIDUAL_LIMIT`; that of `iterated_goal` by default.
    """
    columns = _Columns(joints, demands, sets)
    q = np.column_stack(starts)
    goal = single_state.iterated_goal(len(q)) if goal is None else goal
    q[columns.fixed] = columns.fixed_value
    equilibria: list[Equilibrium | SolveError] = [SolveError("not solved")] * len(joints)
    number = np.arange(len(joints))
    now = columns.at(q, number)
    before = np.full(len(joints), np.inf)
    free = np.ones(len(q), dtype=bool)
    free[columns.fixed] = False
    for iteration in range(1, single_state.LARGEST_ITERATIONS + 1):
        carried = np.maximum(columns.weight @ now.pressure, columns.reference[number])
        size = np.abs(now.residual[free]).max(axis=0) / carried
        stalled = size > 0.1 * before
        done = (size < goal) | (stalled & (size < single_state.RESIDUAL_LIMIT))
        for position in np.flatnonzero(done):
            at = number[position]
            column = single_state._Trial(*(getattr(now, name)[:, position].copy() for name in now.__dataclass_fields__))
            equilibria[at] = single_state._finished(joints[at], demands[at], column, iteration, float(size[position]))
        going = np.flatnonzero(~done)
        if not going.size:
            return equilibria
        number, before, size, now = number[going], size[going], size[going], now.taken(going)
        step = _newton_step(columns, now, _accuracy(size, goal), free, nearby)
        now = _line_search(columns, number, now, step)
    for at in number:
        equilibria[at] = SolveError(
            f"the joint did not come to equilibrium in {single_state.LARGEST_ITERATIONS} Newton steps; "
            f"relative residual {before[list(number).index(at)]:.1e}, wanted {single_state.RESIDUAL_LIMIT:.0e}"
        )
    return equilibria


def _accuracy(size: FloatArray, goal: float) -> FloatArray:
    """Return the accuracy of steps from relative residuals `size`: near the goal as much as brings them below it."""
    return np.where(size > FAR, ROUGH, np.clip(SAFELY * goal / size, NEAR, ROUGH))


def _newton_step(columns: _Columns, now: _Trials, accuracy: FloatArray, free: NDArray, nearby: Nearby) -> FloatArray:
    """Return the Newton steps (n, k) by conjugate gradients; a column that is slow is factorised by itself.

    The tangent times what the preconditioner gives is the residual again, and what the two tangents differ by on the
    interfaces: no product with K, the dense one, is needed.
    """
    slopes = columns.weight[:, None] * single_state.regularised(now.slope)
    other = slopes.astype(np.float32) - nearby.weighted[:, None]
    apart = np.flatnonzero(other.any(axis=1))
    other, B = other[apart], columns.single()[apart]
    transposed = B.T
    spring = (now.spring - nearby.spring[:, None]).astype(np.float32)
    held = np.flatnonzero(~free)
    solution = np.zeros_like(now.residual)
    # single precision has a narrow range: every column is measured by its own residual
    scale = np.linalg.norm(now.residual[free], axis=0)
    scale[scale == 0.0] = 1.0
    r = np.asfortranarray(-now.residual / scale, dtype=np.float32)
    r[held] = 0.0
    number = np.arange(r.shape[1])
    x, direction, product = np.zeros_like(r), np.zeros_like(r), np.zeros_like(r)
    rz = np.ones(len(number), dtype=np.float32)
    for iteration in range(MOST_ITERATIONS):
        z = nearby.solve(r)
        z[held] = 0.0
        new = np.einsum("nk,nk->k", r, z)
        on_z = r + transposed @ (other[:, number] * (B @ z))
        on_z[columns.overlaps] += spring[columns.overlaps[:, None], number] * z[columns.overlaps]
        on_z[held] = 0.0
        again = np.float32(0.0) if iteration == 0 else new / rz
        direction, product = z + again * direction, on_z + again * product
        curvature = np.einsum("nk,nk->k", direction, product)
        good = (new > 0.0) & (curvature > 0.0) & np.isfinite(new)
        length = np.where(good, new / np.where(good, curvature, 1.0), 0.0).astype(np.float32)
        x += length * direction
        r -= length * product
        rz = new
        ended = np.linalg.norm(r, axis=0) < accuracy[number]
        solution[:, number[ended]] = x[:, ended] * scale[number[ended]]
        going = good & ~ended
        lost = number[~good & ~ended]
        for one_column in lost:
            solution[:, one_column] = _alone(columns, now, int(one_column), free)
        if not going.any():
            return solution
        if not going.all():
            number, rz = number[going], rz[going]
            x, r, direction, product = (np.asfortranarray(kept[:, going]) for kept in (x, r, direction, product))
    for one_column in number:
        solution[:, one_column] = _alone(columns, now, int(one_column), free)
    return solution


def _alone(columns: _Columns, now: _Trials, column: int, free: NDArray) -> FloatArray:
    """Return the Newton step (n,) of one column by factors of its own tangent."""
    unknowns = np.flatnonzero(free)
    weighted = columns.weight * single_state.regularised(now.slope[:, column])
    tangent = Tangent(columns.K, columns.B, columns.transposed, weighted, now.spring[:, column], unknowns)
    step = np.zeros(len(free))
    step[unknowns] = -TangentSolver().solve(tangent, now.residual[unknowns, column], 0.0)
    return step


def _line_search(columns: _Columns, number: NDArray, now: _Trials, step: FloatArray) -> _Trials:
    """Return the trials along the steps, at most their whole length, where each column's energy stops falling."""
    slope_0 = np.einsum("nk,nk->k", step, now.residual)
    trial = columns.at(now.q + step, number)
    slope_1 = np.einsum("nk,nk->k", step, trial.residual)
    far = np.flatnonzero((slope_1 > 0.0) & (slope_1 >= -0.5 * slope_0))
    if not far.size:
        return trial
    kept = {name: getattr(trial, name) for name in trial.__dataclass_fields__}
    for position in far:
        one_number = number[position : position + 1]

        def trial_at(q: FloatArray, own: NDArray = one_number) -> single_state._Trial:
            there = columns.at(q[:, None], own)
            return single_state._Trial(*(getattr(there, name)[:, 0] for name in there.__dataclass_fields__))

        start = single_state._Trial(*(getattr(now, name)[:, position] for name in now.__dataclass_fields__))
        better = single_state._line_search(trial_at, start, step[:, position])
        for name, values in kept.items():
            values[:, position] = getattr(better, name)
    return _Trials(**kept)
