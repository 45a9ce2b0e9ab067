"""Studies: a thousand scatter samples of a cell against full sparse Newton, boost-torque maps, scaling.

Run as `python -m validation.benchmarks.studies` (some minutes); `--quick` takes fewer samples, without full
Newton.
"""

from __future__ import annotations

import dataclasses
import sys
import time

import numpy as np
from threadpoolctl import threadpool_limits

from headjoint.cases.command.stated_files import shipped_cells
from headjoint.cases.condensed.cell_condensation import cell_model, condense_cell
from headjoint.cases.condensed.stiffness_key import fitted
from headjoint.cases.condensed.store import user_store
from headjoint.cases.load_cases.bore_cell_batch import Design, guide
from headjoint.cases.load_cases.load_history import demand_of
from headjoint.cases.models.condensed import condensed_cell
from headjoint.cases.models.from_mesh import mesh_of
from headjoint.cases.service.tightened import tightened
from headjoint.model.cell import Cell
from headjoint.model.formulas.sampled_joint import drawn_cell
from headjoint.postproc.designs.outcome import Source, Task, source_of
from headjoint.postproc.designs.run import Workers, run_study
from headjoint.postproc.studies.scatter import samples_of
from headjoint.postproc.studies.scatter_inputs import inputs_of
from validation.full_newton import lifted, solve_full
from validation.joints import joint_files

SAMPLES, QUICK_SAMPLES, SCALED_SAMPLES = 1000, 192, 256
SIDE = 20
CELL, JOINT = "boosted-four", "boosted-four-steel"


def sample_tasks(source: Source, count: int) -> list[Task]:
    """Return tasks of that many samples by the usual distributions."""
    inputs = inputs_of(source.design({}), source.content)
    values = samples_of(inputs, count, 7, "sobol")
    return [Task({}, {one.name: float(x) for one, x in zip(inputs, row, strict=True)}) for row in values]


def map_tasks(torques: np.ndarray, boosts: np.ndarray) -> list[Task]:
    return [Task({"torque": f"{t:.6g} N.m", "boost": f"{b:.6g} bar"}) for t in torques for b in boosts]


def timed(source: Source, tasks: list[Task], workers: Workers) -> tuple[float, float]:
    """Return seconds of evaluation, and of mesh and condensation before it."""
    marks: list[float] = []
    started = time.perf_counter()
    ran = run_study(source, tasks, None, workers, lambda n, whole: None, lambda name: marks.append(time.perf_counter()))
    ended = time.perf_counter()
    problems = sum(bool(one.problem) for one in ran.outcomes)
    if problems:
        print(f"  {problems} of {len(tasks)} had no solution: {next(o.problem for o in ran.outcomes if o.problem)}")
    return ended - marks[-1], marks[-1] - started


def full_newton(source: Source, task: Task) -> tuple[float, float]:
    """Return seconds of one sample's load cases by full sparse Newton, and how far its pressures are off.

    Settled, hot, firing and cold again, each from the nominal design's state as the samples are; tightening is left
    out.
    """
    nominal = source.design({})
    assert isinstance(nominal, Cell)
    model = cell_model(nominal, mesh_of(nominal))
    base = condensed_cell(model, condense_cell(model, user_store()))
    by = guide(Design(base, tightened(base)))
    cell = drawn_cell(nominal, task.draw or {})
    drawn = dataclasses.replace(base, cell=cell, reduced=fitted(base.reduced, cell))
    states = guide(Design(drawn, tightened(drawn))).states
    seconds, off = 0.0, 0.0
    for start, state in zip(by.states[1:], states[1:], strict=True):
        demand = demand_of(drawn, state.case, overlap=state.overlap)
        v = lifted(model, start.equilibrium.q, base.factors(start.case))
        begun = time.perf_counter()
        _, pressure, count = solve_full(model, drawn.reduced, demand, drawn.factors(state.case), state.set_before, v)
        seconds += time.perf_counter() - begun
        off = max(off, float(np.abs(pressure - state.equilibrium.pressure).max() / pressure.max()))
        print(f"  {state.name}: {count} factorisations of {model.unknowns} unknowns")
    return seconds, off


def main() -> None:
    """Print the figures."""
    quick = "--quick" in sys.argv
    cell, joint = source_of(shipped_cells()[CELL]), source_of(joint_files()[JOINT])
    count = QUICK_SAMPLES if quick else SAMPLES
    tasks = sample_tasks(cell, count)
    evaluation, before = timed(cell, tasks, Workers())
    print(
        f"bore cell, {count} samples of all load cases: {evaluation:.1f} s on {Workers().count} processes after "
        f"{before:.1f} s of mesh and condensation; {1e3 * evaluation / count:.0f} ms a sample"
    )
    if not quick:
        full, off = full_newton(cell, tasks[1])
        print(
            f"  one sample's four states after tightening by full sparse Newton: {full:.0f} s, "
            f"{full * count / evaluation:.0f} times as long; pressures agree to {off:.0e} of the greatest"
        )
    torques = np.linspace(80.0, 115.0, SIDE)
    evaluation, before = timed(joint, map_tasks(0.8 * torques, np.linspace(0.5, 3.0, SIDE)), Workers())
    print(f"one stud, {SIDE} x {SIDE} boost-torque map: {evaluation:.1f} s after {before:.1f} s")
    evaluation, before = timed(cell, map_tasks(torques, np.linspace(0.3, 1.6, SIDE)), Workers())
    print(f"bore cell, {SIDE} x {SIDE} boost-torque map: {evaluation:.1f} s after {before:.1f} s")
    print("scaling, the same samples:")
    few = QUICK_SAMPLES if quick else SCALED_SAMPLES
    scaling(cell, tasks[:few])


def scaling(source: Source, tasks: list[Task]) -> None:
    """Print seconds on one and two processes, and on two workers of a dask scheduler on this machine."""
    alone, _ = timed(source, tasks, Workers(1))
    two, _ = timed(source, tasks, Workers(2))
    faster = f"{alone / two:.2f} times as fast"
    print(f"  bore cell, {len(tasks)} samples: one process {alone:.1f} s, two {two:.1f} s ({faster})", flush=True)
    try:
        from distributed import LocalCluster
    except ImportError:
        return
    with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster:
        there, _ = timed(source, tasks, Workers(address=cluster.scheduler_address))
    print(f"  two dask workers {there:.1f} s, sending the condensed cell included")


if __name__ == "__main__":
    with threadpool_limits(limits=None):
        main()
