"""Heat of a bore cell: it enters by the chamber, leaves by the coolant, and strains what it warms."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from headjoint.cases import warm_up as warm_up_module
from headjoint.cases.cell import cell_load_factors
from headjoint.cases.cell_condensation import CellRecovery, cell_model, condense_cell
from headjoint.cases.cell_heat import cell_heat_problem, cell_strain_load, free_faces
from headjoint.cases.cli_tools import shipped_cells
from headjoint.cases.heat import steady
from headjoint.cases.warm_up import free_strain, warm_up
from headjoint.meshes.bore_cell import build_cell
from headjoint.model.joint import PARTS, LoadCase
from headjoint.model.reading import parse_cell

COARSE = '\n[mesh]\nring_size = "9 mm"\nstud_size = "9 mm"\nlargest = "25 mm"\n'
TEXTS = {name: shipped_cells()[name].read_text("utf-8") + COARSE for name in ("boosted-four-cell", "six-stud-ring")}


@cache
def assembled(name: str):
    cell = parse_cell(TEXTS[name])
    mesh = build_cell(cell)
    return cell, mesh, cell_model(cell, mesh)


@pytest.mark.parametrize("name", TEXTS)
def test_a_uniform_temperature_condenses_to_the_unit_loads_of_the_parts(name):
    cell, mesh, model = assembled(name)
    reduced = condense_cell(model)
    body = cell_heat_problem(cell, mesh).body
    field = free_strain(cell.part_material, cell.joint.assembly_temperature, mesh, body, np.full(body.count, 118.0))
    load = CellRecovery(model).condensed(cell_strain_load(model, body, field))
    factors = cell_load_factors(cell, LoadCase("hot", "hot", dict.fromkeys(PARTS, 118.0), 0.0, 0.0))
    expected = sum(factor * reduced.loads[part] for part, factor in factors.items() if part in reduced.loads)
    assert load == pytest.approx(expected, abs=1e-9 * np.abs(expected).max())


@pytest.mark.parametrize("name", TEXTS)
def test_every_outer_face_belongs_to_one_film_at_most_and_heat_leaves_where_it_should(name):
    cell, mesh, _ = assembled(name)
    problem = cell_heat_problem(cell, mesh)
    area = {film.name: film.surface.area for film in problem.films}
    faces, part = free_faces(mesh)
    assert faces.shape[1] == len(part)
    assert area["gas"] > 0.0
    assert area["coolant"] > area["gas"]
    found = steady(problem, 800.0)
    supplied = found.balance.supplied
    assert supplied["gas"] > 0.0
    assert supplied["coolant"] < 0.0
    assert abs(sum(supplied.values())) < 1e-6 * supplied["gas"]
    hottest = problem.body.places[:, int(found.temperature.argmax())]
    assert abs(hottest[2] - cell.joint.gasket.thickness) < 0.2 * cell.head.height  # near the chamber


@pytest.mark.slow
def test_the_studs_of_a_cell_carry_most_while_they_lag_behind_the_head(monkeypatch):
    monkeypatch.setattr(warm_up_module, "INSTANTS", 16)  # enough to tell
    warmed = warm_up(parse_cell(TEXTS["boosted-four-cell"]), refined=False)
    greatest, least = warmed.extreme(lambda one: one.force), warmed.extreme(lambda one: -one.force)
    assert greatest.temperatures["head mean"] > greatest.temperatures["fastener mean"] + 15.0
    assert least.temperatures["head mean"] < least.temperatures["fastener mean"] - 5.0
    assert greatest.force > warmed.tightened > least.force
    assert warmed.heat.balance.error < 1e-6
