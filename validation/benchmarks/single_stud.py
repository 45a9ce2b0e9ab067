"""The axisymmetric joint: condensed states against a full sparse Newton on the same mesh, and growth with size."""

from __future__ import annotations

import time

import numpy as np
import scipy.sparse as sp

from headjoint.cases.condensed.condensation import FieldRecovery, FullModel, condense, full_model
from headjoint.cases.condensed.load_vectors import load_under
from headjoint.cases.condensed.reduced_joint import ReducedJoint, solve
from headjoint.cases.elements import linear_solver
from headjoint.cases.load_cases.load_history import State, demand_of, run
from headjoint.cases.models.condensed import OneFastener
from headjoint.meshes.one_fastener.single_stud import build
from headjoint.model.reading.reading import read_joint
from validation.joints import joint_files

JOINT = "boosted-four-steel"


def tables() -> list[tuple[str, list[str], list[list[str]]]]:
    return [against_full_newton(), growth()]


def against_full_newton() -> tuple[str, list[str], list[list[str]]]:
    """One more load case (firing from hot) by the dense solve and by a sparse Newton on all unknowns."""
    joint = read_joint(joint_files()[JOINT])
    model = full_model(joint, build(joint))
    started = time.perf_counter()
    reduced = condense(joint, model)
    condensing = time.perf_counter() - started
    history = run(OneFastener(joint, reduced))
    hot, firing = history.state("hot"), history.state("firing")
    demand = demand_of(history.model, firing.case, overlap=firing.overlap)
    dense = []
    for _ in range(10):
        started = time.perf_counter()
        state = solve(reduced, demand, hot.permanent_set, hot.equilibrium.q)
        dense.append(time.perf_counter() - started)
    started = time.perf_counter()
    force, steps = full_newton(history.model, model, firing, hot)
    sparse = time.perf_counter() - started
    difference = abs(force / float(state.force[0]) - 1.0)
    rows = [
        ["unknowns, of them kept", f"{model.unknowns}", f"{len(model.kept)}"],
        ["condensing once, s", f"{condensing:.3f}", ""],
        ["one further state, condensed, ms", f"{1e3 * float(np.median(dense)):.2f}", f"{state.iterations} steps"],
        ["one further state, full sparse Newton, ms", f"{1e3 * sparse:.0f}", f"{steps} steps"],
        ["ratio", f"{sparse / float(np.median(dense)):.0f}", ""],
        ["relative difference of the fastener force", f"{difference:.1e}", ""],
    ]
    return f"Condensed against full Newton, {JOINT}, {linear_solver.solver_name()}", ["figure", "value", ""], rows


def full_newton(condensed: OneFastener, model: FullModel, state: State, before: State) -> tuple[float, int]:
    """Return the fastener force of `state` by Newton on all unknowns, and the steps it took."""
    joint, reduced, overlap = condensed.joint, condensed.reduced, float(state.overlap[0])
    demand = demand_of(condensed, state.case, overlap=state.overlap)
    series = joint.fastener.meshed_compliance
    free = np.concatenate([model.inner, model.kept])
    K = model.matrix[free][:, free].tolil()
    K[-1, -1] += 1.0 / series
    K = K.tocsr()
    load = load_under(model.loads, condensed.factors(state.case))[free]
    load[-1] += overlap / series
    B = sp.hstack([sp.csr_matrix((reduced.points, len(model.inner))), reduced.B]).tocsr()
    offset = demand.growth - sum_steps(reduced)
    # both sides start from the state before
    start = FieldRecovery(model).displacement(before.equilibrium.q, condensed.factors(before.case))
    u = np.append(start, before.equilibrium.q[-1])[free]
    for step in range(1, 40):
        closure = B @ u + offset
        p, slope = np.zeros(reduced.points), np.zeros(reduced.points)
        for group in reduced.groups:
            at = group.points
            p[at], slope[at] = group.law.pressures(closure[at], before.permanent_set[at], demand.gasket_temperature)
        residual = K @ u - load + B.T @ (reduced.weight * p)
        if step > 1 and np.abs(residual).max() < 1e-9 * state.force[0]:
            break
        regularised = np.where(slope > 0.0, slope, 1e-3)
        tangent = (K + B.T @ sp.diags(reduced.weight * regularised) @ B).tocsc()
        factors = linear_solver.Factorization(tangent)
        u = u - factors.solve(residual)
        factors.release()
    return (overlap - float(u[-1])) / series, step


def sum_steps(reduced: ReducedJoint) -> np.ndarray:
    steps = np.zeros(reduced.points)
    for group in reduced.groups:
        steps[group.points] = group.step
    return steps


def growth() -> tuple[str, list[str], list[list[str]]]:
    joint = read_joint(joint_files()[JOINT])
    rows = []
    for refinement in (0.5, 1.0, 2.0, 4.0):
        started = time.perf_counter()
        mesh = build(joint, refinement)
        meshed = time.perf_counter()
        model = full_model(joint, mesh)
        assembled = time.perf_counter()
        reduced = condense(joint, model)
        condensed = time.perf_counter()
        history = run(OneFastener(joint, reduced))
        done = time.perf_counter()
        rows.append(
            [
                f"{refinement:g}",
                f"{model.unknowns}",
                f"{len(model.kept)}",
                f"{meshed - started:.2f}",
                f"{assembled - meshed:.2f}",
                f"{condensed - assembled:.2f}",
                f"{done - condensed:.2f}",
                f"{history.cut_compliance * 1e6:.4f}",
            ]
        )
    headings = [
        "refinement",
        "unknowns",
        "kept",
        "mesh s",
        "assemble s",
        "condense s",
        "all states s",
        "compliance um/kN",
    ]
    return f"Growth with size, {JOINT}", headings, rows
