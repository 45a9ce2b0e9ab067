"""Bore cells: elements, interfaces, symmetry, tightening in turn, and refusals."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from conftest import COARSE

from headjoint.cases.command.stated_files import shipped_cells
from headjoint.cases.condensed.cell_condensation import CellRecovery, cell_model, condense_cell
from headjoint.cases.condensed.reduced_joint import solve
from headjoint.cases.elements.solid import (
    HEXAHEDRON_POINTS,
    HEXAHEDRON_WEIGHTS,
    face_points,
)
from headjoint.cases.load_cases.load_history import demand_of, run
from headjoint.cases.load_cases.solved import SolvedCell
from headjoint.cases.models.condensed import condensed_cell
from headjoint.meshes.solid.bore_cell import build_cell
from headjoint.meshes.solid.face_search import FaceSearch
from headjoint.meshes.solid.tetrahedra import tetrahedron_functions
from headjoint.model.base.errors import InputError
from headjoint.model.formulas.estimate import estimate
from headjoint.model.reading.reading import parse_cell
from headjoint.postproc.cell.findings import CellFields, cell_fields
from validation.bore_cell_limits import body_over, polar_plan
from validation.full_newton import lifted, solve_full

BANK = shipped_cells()["boosted-four"].read_text("utf-8")
RING = shipped_cells()["six-stud-ring"].read_text("utf-8")
HALF_BANK = BANK.replace('kind = "bank"', 'kind = "bank"\nextent = "half"') + COARSE


@lru_cache(maxsize=4)  # condensed cells are large
def condensed(text):
    cell = parse_cell(text)
    model = cell_model(cell, build_cell(cell))
    return model, condense_cell(model)


@lru_cache(maxsize=4)  # condensed cells are large
def history_of(text):
    return run(condensed_cell(*condensed(text)))


def test_the_fourteen_points_integrate_polynomials_of_degree_five():
    for a in range(6):
        for b in range(6 - a):
            for c in range(6 - a - b):
                exact = np.prod([0.0 if k % 2 else 2.0 / (k + 1) for k in (a, b, c)])
                x, y, z = HEXAHEDRON_POINTS.T
                assert HEXAHEDRON_WEIGHTS @ (x**a * y**b * z**c) == pytest.approx(exact, abs=1e-12)


def test_tetrahedra_reproduce_quadratic_fields():
    xi = np.random.default_rng(1).dirichlet(np.ones(4), 5)[:, 1:]
    corners = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]], dtype=float)
    nodes = np.vstack(
        [corners] + [(corners[i] + corners[j]) / 2 for i, j in ((0, 1), (1, 2), (0, 2), (0, 3), (1, 3), (2, 3))]
    )
    field = lambda p: 1 + p[:, 0] * p[:, 1] - 2 * p[:, 2] ** 2 + p[:, 0]  # noqa: E731
    values, _ = tetrahedron_functions(xi)
    assert values @ field(nodes) == pytest.approx(field(xi))


def test_a_uniform_strain_passes_through_curved_elements():
    plan = polar_plan(20.0, 40.0, 2, 3)
    body = body_over(plan, np.array([0.0, 5.0, 15.0]))
    matrix, _ = body.stiffness_and_free_strain()
    gradient = np.array([[1.0, 0.2, -0.1], [0.3, -0.5, 0.4], [0.1, 0.6, 0.8]]) * 1e-3
    u = (gradient @ body.points).T.ravel()
    force = (matrix @ u).reshape(-1, 3)
    r = np.hypot(*body.points[:2])
    inside = (r > 20.1) & (r < 39.9) & (body.points[2] > 0.1) & (body.points[2] < 14.9)
    inside &= (body.points[0] > 0.1) & (body.points[1] > 0.1)
    assert np.abs(force[inside]).max() < 1e-9 * np.abs(force).max()


def test_places_are_found_on_curved_faces():
    plan = polar_plan(20.0, 40.0, 3, 5)
    points = np.vstack([plan.points, np.zeros(plan.points.shape[1])])
    random = np.random.default_rng(3)
    r, t = random.uniform(20.0, 39.99, 200), random.uniform(0.0, np.pi / 2, 200)
    places = np.stack([r * np.cos(t), r * np.sin(t)])
    operator, found = FaceSearch(points, plan.quads).operator(places, points.shape[1])
    assert found.mean() > 0.98
    assert operator[found] @ plan.points[0] == pytest.approx(places[0, found], abs=1e-6)
    _, outside = FaceSearch(points, plan.quads).operator(np.array([[60.0], [60.0]]), points.shape[1])
    assert not outside.any()


@pytest.mark.slow
@pytest.mark.parametrize("text", [BANK + COARSE, RING + COARSE], ids=["bank", "ring"])
def test_bolts_balance_gasket_and_gas_in_every_state_of_a_cell(text):
    history = history_of(text)
    for state in history.states:
        assert state.balance < 1e-8
        assert state.equilibrium.residual < 1e-9


def plain_ring():
    """Four studs, no liner, jacket, webs or stopper, low castings: few elements even all round."""
    text = re.sub(r"\[liner\].*?\n\n", "", RING, flags=re.DOTALL)
    text = re.sub(r"(jacket_width|jacket_depth|deck_thickness|bridge_wall|centre_column).*\n", "", text)
    text = re.sub(r'\[\[gasket.rings\]\]\nname = "stopper".*?\n\n', "", text, flags=re.DOTALL)
    text = text.replace('height = "120 mm"', 'height = "50 mm"').replace('height = "88 mm"', 'height = "40 mm"')
    return text.replace("number = 6", 'number = 4\nextent = "EXTENT"')


@pytest.mark.long
@pytest.mark.slow
def test_a_sector_and_the_whole_ring_agree():
    quick = plain_ring() + COARSE.replace("9 mm", "14 mm")
    sector, full = (history_of(quick.replace("EXTENT", extent)) for extent in ("sector", "full"))
    for one, other in zip(sector.states, full.states, strict=True):
        assert other.force == pytest.approx(one.force[0], rel=1e-8)
        line, around = sector.model.points.lines[0], full.model.points.lines[0]
        expected = one.equilibrium.pressure[line.at]
        got = other.equilibrium.pressure[around.at][: len(expected)]
        assert got == pytest.approx(expected, rel=1e-8, abs=1e-8)


@pytest.mark.long
@pytest.mark.slow
def test_both_sides_of_a_bank_are_alike():
    quarter, half = history_of(BANK + COARSE), history_of(HALF_BANK)
    for one, other in zip(quarter.states, half.states, strict=True):
        assert other.force == pytest.approx(np.repeat(one.force, 2), rel=1e-8)


@pytest.mark.slow
def test_a_rigid_head_and_block_press_as_the_estimate_says():
    text = BANK + COARSE
    for name in ("EN AC-42100", "EN-GJL-250"):
        text = text.replace(
            f'material = "{name}"', f'material = {{ base = "{name}", E = "70e6 MPa", expansion = "12e-6 1/K" }}'
        )
    history = history_of(text)
    closed = {state.name: state for state in estimate(history.joint).states}
    for state in history.states[:2]:
        line = state.equilibrium.pressure[history.model.points.lines[0].at]
        assert np.ptp(line) < 2e-3 * line.mean()
        assert line.mean() == pytest.approx(closed[state.name].sealing_pressure, rel=0.01)


@pytest.mark.long
@pytest.mark.slow
def test_the_condensed_cell_answers_as_full_sparse_newton():
    history = history_of(BANK + COARSE)
    model, reduced = history.model, history.reduced
    assembled, _ = condensed(BANK + COARSE)
    hot, firing = history.state("hot"), history.state("firing")
    demand = demand_of(model, firing.case, overlap=firing.overlap)
    start = lifted(assembled, hot.equilibrium.q, model.factors(hot.case))
    factors = model.factors(firing.case)
    force, pressure, _ = solve_full(assembled, reduced, demand, factors, hot.permanent_set, start)
    quick = solve(reduced, demand, hot.permanent_set, hot.equilibrium.q)
    assert force == pytest.approx(quick.force, rel=1e-6)
    assert np.abs(pressure - quick.pressure).max() < 1e-6 * pressure.max()


@pytest.mark.long
@pytest.mark.slow
def test_nuts_tightened_in_turn_take_clamp_from_those_before():
    model, reduced = condensed(HALF_BANK)
    in_turn = HALF_BANK.replace('method = "torque"', 'method = "torque"\npasses = [0.6, 1.0]\norder = [2, 1]')
    cell = parse_cell(in_turn)
    history = run(condensed_cell(replace(model, cell=cell), reduced))
    assert [(step.number, step.fastener) for step in history.steps] == [(0, 1), (0, 0), (1, 1), (1, 0)]
    for step, before in zip(history.steps[1:], history.steps, strict=False):
        share = cell.order[step.number][0]
        assert step.force[step.fastener] == pytest.approx(share * history.preload)
        other = 1 - step.fastener
        assert step.force[other] < before.force[other]
    first, second = history.steps[1].force, history.steps[3].force
    assert np.ptp(second) / second.mean() < np.ptp(first) / first.mean()


@pytest.mark.long  # a cell solved in a dozen seconds or more
@pytest.mark.slow
def test_a_stud_left_loose_while_its_neighbour_is_turned_never_pushes():
    model, reduced = condensed(HALF_BANK)
    in_turn = HALF_BANK.replace('method = "torque"', 'method = "torque"\npasses = [1.0]\nsnug = 0.002')
    history = run(condensed_cell(replace(model, cell=parse_cell(in_turn)), reduced))
    assert all((step.force >= 0.0).all() for step in history.steps)


def gasket_area(text):
    cell = parse_cell(text)
    mesh = build_cell(cell)
    return np.abs(face_points(mesh.points, mesh.pair("gasket").lower).area[2]).sum()


def test_a_hole_takes_its_area_from_the_gasket():
    hole = '[[gasket.holes]]\nx = "24 mm"\ny = "60 mm"\ndiameter = "8 mm"\n\n[gasket.body]'
    without, with_hole = gasket_area(BANK + COARSE), gasket_area(BANK.replace("[gasket.body]", hole) + COARSE)
    assert without - with_hole == pytest.approx(np.pi / 4 * 8.0**2, rel=0.005)


@pytest.mark.parametrize("number", [4, 5, 6, 8])
def test_rings_of_studs_are_meshed(number):
    text = RING.replace("number = 6", f"number = {number}").replace('"142 mm"', '"150 mm"').replace("184 mm", "190 mm")
    area = 2 * number * gasket_area(text + COARSE)
    bore, hole = 87.5, 12.0
    assert area == pytest.approx(np.pi / 4 * (190.0**2 - bore**2 - number * hole**2), rel=1e-3)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('deck_thickness = "10 mm"', "deck_thickness = 0"),
        ('jacket_width = "4 mm"', "jacket_width = 0"),
        ('material = "EN 1.7225"', 'material = "EN 1.7225"\ncontact = "tied"'),
        (
            "[gasket]\n",
            '[liner]\nouter_diameter = "91 mm"\nprotrusion = "0.02 mm"\nmaterial = "EN-GJL-250"\n\n[gasket]\n',
        ),
        ('kind = "bank"', 'kind = "bank"\nbores = 2\nfired = [2]'),
    ],
    ids=["open deck", "no jacket", "tied washer", "liner", "two bores, one fired"],
)
def test_variants_of_a_bank_are_meshed(old, new):
    assert build_cell(parse_cell(BANK.replace(old, new, 1) + COARSE)).quality().min() > 0.05


def refusal(text):
    with pytest.raises(InputError) as caught:
        parse_cell(text, file="cell.toml")
    return str(caught.value)


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ('{ x = "49 mm", y = "48.5 mm" }', '{ x = "0 mm", y = "46 mm" }', "the stud's hole overlaps the bore"),
        ('{ x = "49 mm", y = "48.5 mm" }', '{ x = "5 mm", y = "57 mm" }', "must stand on x = 0 or x = pitch/2"),
        ('outer_diameter = "96 mm"', 'outer_diameter = "99 mm"', "overlaps its neighbour's"),
        ('inner_diameter = "87.5 mm"', 'inner_diameter = "80 mm"', "must be at least 86 mm, the diameter of the bore"),
        ('jacket_width = "4 mm"', 'jacket_width = "12 mm"', "water jacket must end 1 mm before the stud's hole"),
        ('pitch = "98 mm"', 'pitch = "80 mm"', "the bores overlap"),
        ('bore = "86 mm"', 'bore = "86 km"', "layout.bore: must be at most 10000 mm"),
        ('fire_deck = "20 mm"', 'fire_deck = "90 mm"', "leave no coolant space"),
        ('kind = "bank"', 'kind = "bank"\nnumber = 6', "does not belong to a bank layout"),
        ('kind = "bank"', 'kind = "bnk"', "must be 'bank' or 'ring'"),
        ('kind = "bank"', 'kind = "bank"\nfired = [2]', "there are 1 bores"),
        ('y = "48.5 mm"', 'y = "20 mm"', "the ring runs into the stud's hole"),
        ('outer_diameter = "96 mm"', 'outer_diameter = "141 mm"', "overlaps its neighbour's|outside the gasket"),
        ("bridge_wall", "brige_wall", "did you mean 'bridge_wall'"),
        ("sealing = true", "sealing = false", "exactly one ring must have sealing"),
        ("[gasket]\n", '[liner]\nouter_diameter = "98.2 mm"\nmaterial = "EN-GJL-250"\n\n[gasket]\n', "nearly touches its neigh"),
    ],
)  # fmt: skip
def test_a_mistake_in_a_cell_file_is_named(old, new, expected):
    assert old in BANK
    message = refusal(BANK.replace(old, new, 1))
    assert message.startswith("cell.toml")
    assert re.search(expected, message)


def fields_of(text: str) -> tuple[CellFields, ...]:
    assembled, reduced = condensed(text)
    history = run(condensed_cell(assembled, reduced))
    return cell_fields(SolvedCell(history, history, history, {}, "", assembled), CellRecovery(assembled))


@pytest.mark.long
@pytest.mark.slow
def test_a_bore_without_planes_through_it_has_the_shape_of_one_with():
    quarter, half = (fields_of(text) for text in (BANK + COARSE, HALF_BANK))
    for one, other in zip(quarter, half, strict=True):
        assert other.scrub.max() == pytest.approx(one.scrub.max(), rel=1e-6, abs=1e-9)
        for shape, there in zip(one.shapes, other.shapes, strict=True):
            assert there.orders[2] == pytest.approx(shape.orders[2], rel=0.01, abs=1e-6)
            assert there.orders[1] == pytest.approx(0.0, abs=1e-6)


def test_a_gap_between_rings_is_refused():
    text = BANK.replace('inner_diameter = "91 mm"', 'inner_diameter = "92 mm"')
    assert "leaves a gap: must be 91 mm" in refusal(text)


def test_an_open_jacket_takes_its_area_from_the_estimate_too():
    text = BANK.replace('deck_thickness = "10 mm"', "deck_thickness = 0") + COARSE
    zones = parse_cell(text).joint.gasket.zones
    area = sum(np.pi / 4 * (zone.outer_diameter**2 - zone.inner_diameter**2) for zone in zones)
    assert gasket_area(text) * 2 == pytest.approx(area, rel=0.002)
