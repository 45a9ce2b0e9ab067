"""The bore cell: time and memory to build, assemble and condense over four sizes; a further case both ways.

Run as `python -m validation.benchmarks.bore_cell`; each size in a process of its own, so that its memory is its own.
"""

from __future__ import annotations

import resource
import time

import numpy as np

from validation.benchmarks.sizes import print_sizes

SIZES = (0.5, 0.7, 1.0, 1.4, 2.0)
BOTH_WAYS = 1.0


def one_size(refinement: float) -> dict[str, float]:
    """Return the figures of one size."""
    from headjoint.cases.command.stated_files import shipped_cells
    from headjoint.cases.condensed.cell_condensation import cell_model, condense_cell
    from headjoint.cases.condensed.reduced_joint import solve
    from headjoint.cases.load_cases.load_history import demand_of, run
    from headjoint.cases.models.condensed import condensed_cell
    from headjoint.meshes.solid.bore_cell import build_cell
    from headjoint.model.reading.reading import read_input
    from validation.full_newton import lifted, solve_full

    cell = read_input(shipped_cells()["boosted-four"])
    started = time.perf_counter()
    mesh = build_cell(cell, refinement)
    model = cell_model(cell, mesh)
    assert model.matrix.shape[0] == model.unknowns  # assembled when it is first asked for
    assembled = time.perf_counter()
    reduced = condense_cell(model)
    condensed = time.perf_counter()
    history = run(condensed_cell(model, reduced))
    settled, hot, firing = (history.state(name) for name in ("settled", "hot", "firing"))
    # one further load case: fire from the hot state, with a gas pressure not solved before
    demand = demand_of(history.model, firing.case, overlap=firing.overlap, gas_factor=1.07)
    times = []
    for _ in range(5):
        begun = time.perf_counter()
        further = solve(reduced, demand, hot.permanent_set, firing.equilibrium.q)
        times.append(time.perf_counter() - begun)
    found = {
        "unknowns": model.unknowns,
        "interface": len(model.kept),
        "build and assemble s": assembled - started,
        "condense s": condensed - assembled,
        "further case s": float(np.median(times)),
        "least sealing-line pressure firing MPa": min(
            float(firing.equilibrium.pressure[line.at].min()) for line in model.points.lines
        ),
        "memory MB": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0,
    }
    if refinement == BOTH_WAYS:
        factors = history.model.factors(firing.case, 1.07)
        start = lifted(model, firing.equilibrium.q, history.model.factors(firing.case))
        begun = time.perf_counter()
        force, pressure, count = solve_full(model, reduced, demand, factors, hot.permanent_set, start)
        found["full Newton s"] = time.perf_counter() - begun
        found["full Newton factorisations"] = count
        found["ratio"] = found["full Newton s"] / found["further case s"]
        found["relative difference of pressure"] = float(
            np.abs(pressure - further.pressure).max() / further.pressure.max()
        )
        found["relative difference of force"] = float(np.abs(force / further.force - 1.0).max())
    return found


if __name__ == "__main__":
    print_sizes("bore_cell", SIZES)
