"""Heat of a bore cell: it enters by the chamber, leaves by the coolant, and strains what it warms."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from conftest import COARSE

from headjoint.cases.command.stated_files import shipped_cells
from headjoint.cases.condensed.cell_condensation import CellRecovery, cell_model, condense_cell
from headjoint.cases.heat.problem import steady
from headjoint.cases.models.condensed import condensed_cell
from headjoint.cases.service.memory import fresh
from headjoint.cases.service.steps import settle
from headjoint.cases.warm_up.cell_heat import cell_shank_gap, cell_strain_load, outer_faces
from headjoint.cases.warm_up.heated_joint import Heated, free_strain, heated_cell
from headjoint.cases.warm_up.warm_up import warm_up
from headjoint.meshes.solid.bore_cell import build_cell
from headjoint.model.joint import PARTS
from headjoint.model.load_case import LoadCase
from headjoint.model.reading.reading import parse_cell

TEXTS = {name: shipped_cells()[name].read_text("utf-8") + COARSE for name in ("boosted-four", "six-stud-ring")}


@cache
def assembled(name: str):
    cell = parse_cell(TEXTS[name])
    mesh = build_cell(cell)
    return cell, mesh, cell_model(cell, mesh)


@cache
def ready(name: str) -> Heated:
    return heated_cell(assembled(name)[0])


@pytest.mark.long
@pytest.mark.slow
@pytest.mark.parametrize("name", TEXTS)
def test_a_uniform_temperature_condenses_to_the_unit_loads_of_the_parts(name):
    cell, mesh, model = assembled(name)
    reduced = condense_cell(model)
    body = ready(name).body
    field = free_strain(cell.part_material, cell.joint.assembly_temperature, mesh, body, np.full(body.count, 118.0))
    load = CellRecovery(model).condensed(cell_strain_load(model, body, field))
    factors = condensed_cell(model, reduced).factors(LoadCase("hot", "hot", dict.fromkeys(PARTS, 118.0), 0.0, 0.0))
    expected = sum(factor * reduced.loads[part] for part, factor in factors.items() if part in reduced.loads)
    assert load == pytest.approx(expected, abs=1e-9 * np.abs(expected).max())


@pytest.mark.parametrize(
    "name", [pytest.param(one, marks=pytest.mark.long if one == "boosted-four" else ()) for one in TEXTS]
)
def test_heat_enters_by_the_chamber_and_leaves_by_coolant(name):
    cell, _, _ = assembled(name)
    model = ready(name).model
    loose = settle(model, fresh(model), cell.joint.load_cases[0], gas=False)
    problem = ready(name).problem(cell.joint.heat, loose)
    area = {film.name: film.surface.area for film in problem.films}
    assert area["coolant"] > area["gas"] > 0.0
    found = steady(problem, 800.0)
    supplied = found.balance.supplied
    assert supplied["gas"] > 0.0 > supplied["coolant"]
    assert abs(sum(supplied.values())) < 1e-6 * supplied["gas"]
    hottest = problem.body.places[:, int(found.temperature.argmax())]
    assert abs(hottest[2] - cell.joint.gasket.thickness) < 0.2 * cell.head.height  # near the chamber


@pytest.mark.parametrize("name", TEXTS)
def test_every_outer_face_meets_one_thing_at_most(name):
    cell, mesh, _ = assembled(name)
    outer = outer_faces(cell, mesh)
    kinds = [getattr(outer, kind) for kind in ("chamber", "wall", "coolant", "ambient", "round_it")]
    corners = [tuple(sorted(face[:4])) for faces in kinds for face in faces.T.tolist()]
    assert len(corners) == len(set(corners))


@pytest.mark.parametrize("name", TEXTS)
def test_a_shank_faces_its_hole_over_the_length_that_is_clear_of_both(name):
    cell, mesh, _ = assembled(name)
    gap = cell_shank_gap(cell, mesh, ready(name).body)
    assert gap is not None
    whole = sum(fastener.share for fastener in mesh.fasteners)
    # shank diameters differ along the stud: the area lies between those of its thinnest and thickest length
    thin, thick = float(gap.shank.min()), float(gap.shank.max())
    clear = cell.head.height + cell.block.counterbore_depth
    if cell.joint.washer is not None:
        clear += cell.joint.washer.thickness
    assert gap.surface.places[2].max() > cell.joint.gasket.thickness + cell.head.height or cell.joint.washer is None
    assert 0.8 * 2 * np.pi * thin * clear * whole < gap.surface.area < 1.05 * 2 * np.pi * thick * clear * whole
    assert (gap.hole > gap.shank).all()
    # one uniform temperature passes nothing
    body = ready(name).body
    assert np.abs(gap.surface.evaluate @ np.full(body.count, 80.0)).max() < 1e-9


@pytest.mark.long
@pytest.mark.slow
def test_the_studs_of_a_cell_carry_most_while_they_lag_behind_the_head():
    warmed = warm_up(assembled("boosted-four")[0])
    greatest, least = warmed.extreme(lambda one: one.force), warmed.extreme(lambda one: -one.force)
    assert greatest.temperatures["head mean"] > greatest.temperatures["fastener mean"] + 15.0
    assert least.temperatures["head mean"] < least.temperatures["fastener mean"] - 5.0
    assert greatest.force > warmed.tightened > least.force
    assert warmed.heat.balance.error < 1e-6
    assert "head at the bridge" in greatest.temperatures
    assert greatest.temperatures["head at the bridge"] > greatest.temperatures["head mean"]
    # interpolated stiffness is that condensed anew, to a fraction of what stiffness at temperature does
    assert abs(warmed.stiffness_error) < 0.25 * abs(warmed.stiffness_effect)
