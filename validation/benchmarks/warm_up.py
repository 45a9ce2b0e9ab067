"""Ten minutes of warm-up of the shipped bore cell: temperatures and clamp at every instant, by size of mesh.

Run as `python -m validation.benchmarks.warm_up [refinement ...]`; each size in a process of its own. Cold start, then
full load, at the product's own tolerance. Condensed stiffness is made afresh, not taken from disk. What condensing
anew at every instant would take is the time of one condensation times the instants.
"""

from __future__ import annotations

import dataclasses
import os
import resource
import tempfile
import time

from validation.benchmarks.sizes import print_sizes

SIZES = (0.7, 1.0, 1.4)
DUTY = (
    '\n[[heat.duty]]\nstep = "cold start"\nduration = "10 s"\n[[heat.duty]]\nstep = "full load"\nduration = "590 s"\n'
)


def one_size(refinement: float) -> dict[str, float]:
    """Return the figures of one size."""
    os.environ["XDG_CACHE_HOME"] = tempfile.mkdtemp()
    from headjoint.cases.command.stated_files import shipped_cells
    from headjoint.cases.service.tightened import tightened
    from headjoint.cases.warm_up.heated_joint import heated_cell
    from headjoint.cases.warm_up.warm_up import stiffness_of, warmed_up
    from headjoint.model.reading.reading import parse_cell

    cell = parse_cell(shipped_cells()["boosted-four"].read_text("utf-8") + DUTY)
    size = cell.mesh
    finer = {name: getattr(size, name) / refinement for name in ("ring_size", "stud_size", "largest")}
    cell = dataclasses.replace(cell, mesh=dataclasses.replace(size, **finer))

    def quiet(name: str) -> None:
        return None

    begun = time.perf_counter()
    ready = heated_cell(cell)
    condensed = time.perf_counter()
    found = tightened(ready.model.base)
    stiffness = stiffness_of(ready, cell.joint.heat, found, quiet)
    hot = time.perf_counter()
    warmed = warmed_up(ready, cell.joint.heat, found, stiffness, quiet)
    done = time.perf_counter()
    instants = len(warmed.instants)
    return {
        "unknowns": 3 * ready.body.count,
        "kept": len(ready.model.reduced.K),
        "mesh and condense s": condensed - begun,
        "condense once more, hot s": hot - condensed,
        "heat and clamp s": done - hot,
        "all s": done - begun,
        "instants": instants,
        "steps of heat": warmed.heat.steps,
        "error in time K": warmed.heat.estimated_error,
        "condensing anew at every instant would take, times as long": instants * (condensed - begun) / (done - hot),
        "memory MB": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0,
    }


if __name__ == "__main__":
    print_sizes("warm_up", SIZES)
