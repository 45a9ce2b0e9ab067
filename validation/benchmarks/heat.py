"""Warm-up of the shipped four-cylinder bore cell: time, steps and factorisations, with and without kept factors.

Run as `python -m validation.benchmarks.heat [refinement ...]`; each size in a process of its own. Ten minutes from
20 degC, 1 K of error in time, stored every ten seconds: gas on chamber and bore wall, the foot held at 90 degC, heat
across gasket and bearing faces. There is no coolant in it: the figures are about time, not about an engine.
"""

from __future__ import annotations

import resource
import time

import numpy as np

from validation.benchmarks.sizes import print_sizes

SIZES = (0.7, 1.0, 1.4)
BOTH_WAYS = 1.0
END, EVERY, TOLERANCE = 600.0, 10.0, 1.0  # s, s, K
GASKET, BEARING = 5e3, 2e4  # W/(m2 K), levels from memory, low confidence


def warm_up_problem(refinement: float):
    """Return the heat problem of the shipped cell."""
    from headjoint.cases.command.stated_files import shipped_cells
    from headjoint.cases.heat.conduction import solid_heat_body
    from headjoint.cases.heat.problem import Contact, Film, HeatProblem, Prescribed
    from headjoint.cases.heat.surfaces import pair_contact, surface
    from headjoint.meshes.solid.bore_cell import build_cell
    from headjoint.model.base.time_table import TimeTable
    from headjoint.model.heat.transfer import IdealCycle, film, gas_film, thermal_properties
    from headjoint.model.reading.reading import read_input

    cell = read_input(shipped_cells()["boosted-four"])
    mesh = build_cell(cell, refinement)
    begun = time.perf_counter()
    used = np.unique(mesh.part)
    properties = tuple(thermal_properties(cell.part_material(mesh.parts[index])) for index in used)
    body = solid_heat_body(mesh.points, mesh.cells, np.searchsorted(used, mesh.part), properties)
    gas = gas_film(IdealCycle(cell.layout.bore, cell.layout.bore, 10.0, 3000.0, 0.15, 60.0, 9.0))
    rising = TimeTable((0.0, 5.0), (20.0, gas.temperature))
    films = tuple(
        Film(surface(body, faces), gas.coefficient, rising, name)
        for name, faces in (("chamber", np.hstack(mesh.chamber)), ("bore wall", np.hstack(mesh.wall)))
    )
    contacts = tuple(
        Contact(pair_contact(body, pair), film(GASKET if pair.name == "gasket" else BEARING), pair.name)
        for pair in mesh.pairs
    )
    foot = Prescribed(mesh.support, TimeTable((0.0, 60.0), (20.0, 90.0)), "foot")
    return HeatProblem(body, films, contacts, (foot,)), time.perf_counter() - begun


def one_size(refinement: float) -> dict[str, float]:
    """Return the figures of one size."""
    from headjoint.cases.heat.problem import steady
    from headjoint.cases.heat.transient import transient

    problem, prepared = warm_up_problem(refinement)
    body = problem.body
    start = np.full(body.count, 20.0)
    begun = time.perf_counter()
    body.conductivity_matrix(start)
    first = time.perf_counter() - begun
    begun = time.perf_counter()
    body.conductivity_matrix(start)
    body.capacity_matrix(start)
    assembled = time.perf_counter() - begun
    begun = time.perf_counter()
    settled = steady(problem, END)
    steadied = time.perf_counter() - begun
    found = {
        "nodes": body.count,
        "prepare s": prepared,
        "first assembly s": first,
        "K and C again s": assembled,
        "steady s": steadied,
        "steady factorisations": settled.factorisations,
    }
    times = np.arange(EVERY, END + EVERY / 2, EVERY)
    for words, reuse in (("", True), ("a new matrix every step: ", False)):
        if not reuse and refinement != BOTH_WAYS:
            continue
        begun = time.perf_counter()
        history = transient(problem, 20.0, END, TOLERANCE, output_times=times, reuse=reuse)
        found |= {
            f"{words}warm-up s": time.perf_counter() - begun,
            f"{words}steps": history.steps,
            f"{words}rejected": history.rejected,
            f"{words}factorisations": history.factorisations,
            f"{words}solves": history.solves,
            f"{words}error in time K": history.estimated_error,
            f"{words}balance": history.balance.error,
        }
    if refinement == BOTH_WAYS:
        strict = transient(problem, 20.0, END, TOLERANCE / 10.0, output_times=times)
        kept = transient(problem, 20.0, END, TOLERANCE, output_times=times)
        found["difference from a tenth of the tolerance K"] = float(
            np.abs(strict.temperatures - kept.temperatures).max()
        )
    found["memory MB"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    return found


if __name__ == "__main__":
    print_sizes("heat", SIZES)
