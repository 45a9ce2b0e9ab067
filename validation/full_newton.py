"""The same cell by full sparse Newton: every step assembles and factorises all unknowns. Slow, and the yardstick.

Shares the assembled elastic matrix and the interface laws with the condensed solve, and nothing of its reduction.
"""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp

from headjoint.cases.condensed.cell_condensation import CellModel, CellRecovery
from headjoint.cases.condensed.load_vectors import load_under
from headjoint.cases.condensed.reduced_joint import OPEN_STIFFNESS, Demand, ReducedJoint
from headjoint.cases.elements.linear_solver import Factorization
from headjoint.model.base.errors import SolveError


def solve_full(
    model: CellModel,
    reduced: ReducedJoint,
    demand: Demand,
    load_factors: dict[str, float],
    permanent_set: np.ndarray,
    start: np.ndarray,
) -> tuple[np.ndarray, np.ndarray, int]:
    """Return fastener forces, interface pressures and the number of factorisations, from unknowns `start`."""
    size = model.matrix.shape[0]
    spread = sp.csr_matrix(
        (np.ones(len(model.kept)), (np.arange(len(model.kept)), model.kept)), shape=(len(model.kept), size)
    )
    closure_of = (reduced.B @ spread).tocsr()
    overlaps = model.kept[reduced.overlaps]
    load = load_under(model.loads, load_factors)
    bare = load[overlaps].copy()
    stiffness = reduced.share / reduced.series_compliance
    spring = np.zeros(size)
    spring[overlaps] = stiffness
    load[overlaps] += stiffness * demand.overlap
    steps = np.zeros(reduced.points)
    for group in reduced.groups:
        steps[group.points] = group.step
    elastic = (model.matrix + sp.diags(spring)).tocsr()
    v = start.copy()

    def state(at: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        closure = closure_of @ at + demand.growth - steps
        p, slope = np.zeros(reduced.points), np.zeros(reduced.points)
        for group in reduced.groups:
            own = group.points
            p[own], slope[own] = group.law.pressures(closure[own], permanent_set[own], demand.gasket_temperature)
        return p, slope, elastic @ at - load + closure_of.T @ (reduced.weight * p)

    p, slope, residual = state(v)
    count = 0
    while np.abs(residual).max() >= 1e-9 * demand.reference_force:
        count += 1
        if count > 40:
            raise SolveError("the full Newton solve does not converge")
        regularised = reduced.weight * np.where(slope > 0.0, slope, OPEN_STIFFNESS)
        factors = Factorization((elastic + closure_of.T @ closure_of.multiply(regularised[:, None])).tocsr())
        step = -factors.solve(residual)
        factors.release()
        length = 1.0
        energy_slope = float(step @ residual)
        while length > 0.05:
            trial = state(v + length * step)
            if float(step @ trial[2]) < -0.5 * energy_slope:
                break
            length *= 0.6
        v = v + length * step
        p, slope, residual = trial
    force = ((model.matrix @ v)[overlaps] - bare) / reduced.share
    return force, p, count


def lifted(model: CellModel, q: np.ndarray, load_factors: dict[str, float]) -> np.ndarray:
    """Return all unknowns that belong to reduced unknowns `q`, as a start for the full solve."""
    recovery = CellRecovery(model)
    v = recovery.unknowns(q, load_factors)
    recovery.release()
    return v
