"""Meshes of cells: thin rings, edges without room, volumes by hand, pieces that nothing holds, and what the file asks."""

from __future__ import annotations

import dataclasses
import itertools
import statistics
from dataclasses import replace

import numpy as np
import pytest
from conftest import COARSE

from headjoint.cases.command.stated_files import shipped_cells
from headjoint.cases.condensed.held import check_held
from headjoint.cases.elements.solid import SolidBody
from headjoint.cases.load_cases.solved import cell_on_mesh
from headjoint.meshes.solid import bore_cell, first_tile
from headjoint.meshes.solid.bore_cell import build_cell
from headjoint.meshes.solid.face_search import FaceSearch
from headjoint.meshes.solid.smoothing import shares_of_square, smoothed
from headjoint.model.base.errors import InputError, MeshError, TooManyElementsError
from headjoint.model.reading.reading import parse_cell
from headjoint.postproc.cell.answer import CellAnswer
from headjoint.postproc.cell.assessment import assess_cell
from headjoint.postproc.present.rows import with_mesh_errors
from validation.believable_cells import cell_text

BANK = shipped_cells()["boosted-four"].read_text("utf-8")
RING = shipped_cells()["six-stud-ring"].read_text("utf-8")
NEAR = (
    BANK.replace('column_diameter = "24 mm"', 'column_diameter = "26 mm"')
    .replace('boss_diameter = "24 mm"', 'boss_diameter = "26 mm"')
    .replace('outer_diameter = "24 mm"', 'outer_diameter = "25.4 mm"')
)


def volumes(text: str, refinement: float = 1.0) -> dict[str, float]:
    mesh = build_cell(parse_cell(text), refinement)
    _, weight = SolidBody(mesh.points, mesh.cells, np.zeros((len(mesh.part), 6, 6))).places()
    own = weight.sum(axis=1) * mesh.shares
    return {name: float(own[mesh.part == index].sum()) for index, name in enumerate(mesh.parts)}


@pytest.mark.parametrize("refinement", [0.5, 1.0])
def test_a_washer_a_little_smaller_than_its_column_is_meshed(refinement):
    # its ring of 0.3 mm lies between arcs of 4 mm and more: straight edges cut through it
    plan = first_tile.first_tile_plan(parse_cell(NEAR), refinement, followed=True)
    assert shares_of_square(plan.points, plan.quads).min() > 0.15


def test_a_liner_just_outside_the_bead_is_meshed_where_it_nearly_meets_its_neighbour():
    # 0.05 mm from the bead, 1.55 mm from the plane between bores: without spokes its ring folded on every mesh
    plan = first_tile.first_tile_plan(parse_cell(cell_text(844)), 0.5, followed=True)
    assert shares_of_square(plan.points, plan.quads).min() > 0.15


def test_far_too_many_elements_are_refused_before_anything_is_meshed(monkeypatch):
    monkeypatch.setattr(bore_cell, "first_tile_plans", lambda *_, **__: pytest.fail("meshed"))
    fine = f'{BANK}\n[mesh]\nring_size = "0.25 mm"\nstud_size = "0.25 mm"\nlargest = "0.5 mm"\n'
    with pytest.raises(InputError, match=r"mesh: some 2\.. million elements are too many.*ring_size"):
        build_cell(parse_cell(fine))


def test_too_many_elements_are_said_as_such_whatever_happens_without_the_edges(monkeypatch):
    def built(cell, refinement, store, *, followed):
        raise bore_cell._too_many("200000") if followed else MeshError("folded")

    monkeypatch.setattr(bore_cell, "_built", built)
    with pytest.raises(TooManyElementsError, match=r"200000 elements are too many \(at most 150000\); give larger"):
        build_cell(parse_cell(BANK))


def test_as_many_quadrilaterals_are_expected_as_squares_of_the_stated_size_fill_the_tile():
    cell = parse_cell(BANK)
    area = cell.layout.pitch / 2.0 * cell.layout.half_width
    assert first_tile.expected(first_tile.tile_of(cell), lambda x, y: 2.0) == pytest.approx(area / 4.0)
    ring = parse_cell(RING)
    sector = np.pi * ring.layout.outer_diameter**2 / 4.0 / (2 * ring.layout.number)
    assert first_tile.expected(first_tile.tile_of(ring), lambda x, y: 2.0) == pytest.approx(sector / 4.0)


def test_elements_inside_out_between_sound_corners_are_seen():
    # the middle of one edge pushed beyond the opposite edge leaves all corners' angles positive
    points = np.array([[0.0, 4, 4, 0, 2, 4, 2, 0], [0.0, 0, 0.2, 0.2, 0.4, 0.1, 0.2, 0.1]])
    assert shares_of_square(points, np.arange(8)[:, None])[0] < 0.0


def test_a_folded_plan_is_mended_by_moving_free_nodes_only():
    # four squares round a node that was dragged across its neighbour
    x, y = np.meshgrid([0.0, 1.0, 2.0], [0.0, 1.0, 2.0])
    corners = np.stack([x.ravel(), y.ravel()])
    corners[:, 4] = (2.6, 1.0)
    quads = np.array([[0, 1, 4, 3], [1, 2, 5, 4], [3, 4, 7, 6], [4, 5, 8, 7]]).T
    edges = sorted({tuple(sorted(pair)) for quad in quads.T for pair in zip(quad, np.roll(quad, -1), strict=True)})
    middle = {edge: 9 + index for index, edge in enumerate(edges)}
    points = np.hstack([corners, np.array([corners[:, list(edge)].mean(axis=1) for edge in edges]).T])
    middles = [[middle[tuple(sorted((quad[k], quad[(k + 1) % 4])))] for quad in quads.T] for k in range(4)]
    free = np.zeros(points.shape[1], dtype=bool)
    free[[4, *(number for edge, number in middle.items() if 4 in edge)]] = True
    mended = smoothed(points, np.vstack([quads, middles]), free)
    assert mended[:, 4] == pytest.approx([1.0, 1.0], abs=1e-3)
    assert mended[:, ~free] == pytest.approx(points[:, ~free])


def test_every_part_of_a_bank_has_the_volume_of_its_drawing():
    # quarter of a bore's pitch, 49 x 70 mm; the stud's half stands on x = 49
    found = volumes(BANK + COARSE)
    shank, hole, bore = np.pi * 5.1**2 / 2.0, np.pi * 6.0**2 / 2.0, np.pi * 43.0**2 / 4.0

    def within(r: float) -> float:  # of a quarter circle, what lies at x < 49
        return (49.0 * np.sqrt(r**2 - 49.0**2) + r**2 * np.arcsin(49.0 / r)) / 2.0

    # jacket from 51 to 55 mm radius between 16 and 70 mm depth; counterbore 10 mm, then 22 mm of thread
    jacket = (within(55.0) - within(51.0)) * 54.0
    block = (49.0 * 70.0 - bore) * 120.0 - jacket - hole * 10.0 - shank * 22.0
    assert found["block"] == pytest.approx(block, rel=1e-3)
    # stud of 10.2 mm from the thread's end through head, gasket, washer and nut of 11 mm
    assert found["fastener"] == pytest.approx(shank * (22.0 + 10.0 + 0.75 + 100.0 + 4.0 + 11.0), rel=1e-3)
    assert found["nut"] == pytest.approx((np.pi * 8.5**2 / 2.0 - shank) * 11.0, rel=1e-3)
    assert found["washer"] == pytest.approx(np.pi * (12.0**2 - 6.0**2) / 2.0 * 4.0, rel=1e-3)


def test_bosses_stand_in_a_jacket_that_is_wide_enough():
    # a twelfth of the ring; jacket from 51 to 61 mm, the boss of 24 mm on 71 mm reaches in by half a lens of the circles
    found = volumes(RING.replace('jacket_width = "4.5 mm"', 'jacket_width = "10 mm"') + COARSE)
    R, r, d = 61.0, 12.0, 71.0
    lens = R**2 * np.arccos((d**2 + R**2 - r**2) / (2 * d * R)) + r**2 * np.arccos((d**2 + r**2 - R**2) / (2 * d * r))
    lens -= np.sqrt((-d + r + R) * (d + r - R) * (d - r + R) * (d + r + R)) / 2.0
    jacket = (np.pi * (61.0**2 - 51.0**2) / 12.0 - lens / 2.0) * 60.0
    hole, shank = np.pi * 6.0**2 / 2.0, np.pi * 5.1**2 / 2.0
    expected = np.pi * (92.0**2 - 43.0**2) / 12.0 * 120.0 - jacket - hole * 10.0 - shank * 22.0
    assert found["block"] + found["liner"] == pytest.approx(expected, rel=1e-3)
    assert found["liner"] == pytest.approx(np.pi * (45.5**2 - 43.0**2) / 12.0 * 120.0, rel=1e-3)


def test_a_washer_over_a_ring_of_the_gasket_keeps_its_area():
    # the stud stands so near that its washer of 38 mm lies over the rings, which end at 48 mm
    text = BANK.replace('outer_diameter = "24 mm"', 'outer_diameter = "38 mm"') + COARSE
    text = text.replace('jacket_width = "4 mm"', "jacket_width = 0").replace('y = "48.5 mm"', 'y = "43 mm"')
    mesh = build_cell(parse_cell(text))
    own = mesh.part == mesh.parts.index("washer")
    assert (mesh.shares[own] < 1.0).any()
    assert volumes(text)["washer"] == pytest.approx(np.pi * (19.0**2 - 6.0**2) / 2.0 * 4.0, rel=1e-3)


@pytest.mark.parametrize("seed", [4])
def test_believable_cells_are_meshed_on_the_coarse_mesh_that_answers_compare_with(seed):
    check_held(build_cell(parse_cell(cell_text(seed)), 0.5))


@pytest.mark.parametrize(
    ("old", "new", "named"),
    [
        ('outer_diameter = "24 mm"', 'outer_diameter = "17.02 mm"', ("nut.outer_diameter", "washer.outer_diameter")),
        ('jacket_width = "4 mm"', 'jacket_width = "12 mm"', ("block.jacket_width", "stud's hole")),
        ('deck_thickness = "16 mm"', "deck_thickness = 0", ("deck_thickness", "sealing ring 'bead'", "jacket")),
        ('outer_diameter = "96 mm"', 'outer_diameter = "97.9 mm"', ("ring", "pitch")),
        ('y = "48.5 mm"', 'y = "20 mm"', ("ring", "stud's hole")),
    ],
)
def test_a_refusal_names_both_features_that_clash(old, new, named):
    # an open deck's rings stand on the bore's wall, else over the jacket
    text = BANK.replace('\nwall = "8 mm"', '\nwall = "4.5 mm"') if "deck" in old else BANK
    assert old in text
    with pytest.raises(InputError) as caught:
        parse_cell(text.replace(old, new, 1))
    assert all(one in str(caught.value) for one in named), caught.value


def test_a_piece_that_nothing_holds_is_named_before_anything_is_factorised():
    mesh = build_cell(parse_cell(RING + COARSE), 0.5)
    check_held(mesh)
    with pytest.raises(MeshError, match="block.*stands on nothing"):
        check_held(replace(mesh, support=mesh.support[:0]))
    with pytest.raises(MeshError, match="can move along"):
        check_held(replace(mesh, planes=mesh.planes[:1]))
    with pytest.raises(MeshError, match="head.*can move up and down"):
        check_held(replace(mesh, pairs=()))
    # a cube that floats in the air
    cube = mesh.points[:, mesh.cells[:, :1].ravel()] + 500.0
    floating = replace(
        mesh,
        points=np.hstack([mesh.points, cube]),
        cells=np.hstack([mesh.cells, mesh.points.shape[1] + np.arange(20)[:, None]]),
        part=np.append(mesh.part, mesh.parts.index("washer")),
    )
    with pytest.raises(MeshError, match="washer near x = 5.*can"):
        check_held(floating)


ASK = """
[ask]
bore_depths = ["10 mm", "33 mm"]
points = [{ x = "46.75 mm", y = "0 mm" }, { x = "71 mm", y = "1 mm" }]
lines = [{ start = { x = "43.75 mm", y = "0 mm" }, end = { x = "60 mm", y = "0 mm" }, count = 5 }]
"""


@pytest.fixture(scope="module")
def answered():
    solved = cell_on_mesh(parse_cell(RING + ASK), 0.5)
    return CellAnswer(assess_cell(solved), solved)


@pytest.fixture(scope="module")
def told(answered):
    return answered.document()["finite_elements"]


def test_a_fired_state_knows_what_its_line_bears_at_its_temperatures_without_gas(answered):
    states = answered.findings.states["nominal"]
    fired = [(before, one) for before, one in itertools.pairwise(states) if one.gas_pressure]
    assert fired
    for hot, firing in fired:
        assert hot.temperatures == firing.temperatures
        # but for what firing sets the gasket elsewhere
        assert firing.sealing_without_gas == pytest.approx(hot.worst.least, rel=1e-4)
        assert firing.sealing_without_gas > firing.worst.least
    assert all(one.sealing_without_gas is None for one in states if not one.gas_pressure)


def test_bending_of_the_studs_is_told_with_a_twentieth_of_its_median_at_least_for_its_mesh(answered):
    # of five studs, a mesh twice as fine found bending of 15.0 MPa where the default mesh has 14.6, and 62.2 where 62.0
    bending = next(row for row in answered.findings.rows if row.quantity == "bending stress of the fastener")
    slightly = dataclasses.replace(bending, finite_elements=tuple(1.001 * v for v in bending.finite_elements))
    errors = with_mesh_errors([bending], [slightly], solid=True)[0].mesh_error
    usual = 0.05 * statistics.median_low(bending.finite_elements)
    assert errors == pytest.approx([max(usual, 0.0125 * value) for value in bending.finite_elements])
    assert min(errors) == pytest.approx(usual)
    # the friction of a nut is as exact as its force
    friction = next(row for row in answered.findings.rows if row.quantity.startswith("  friction of that nut"))
    assert friction.untold == 0.0


def test_figures_of_a_cell_are_off_by_more_than_they_change_for_its_coarser_mesh_is_little_coarser(answered):
    # the least preload stands for a coarser mesh
    solved = answered.solved
    findings = assess_cell(replace(solved, coarse=replace(solved, nominal=solved.least), unbounded=""))
    force = next(row for row in findings.rows if row.quantity == "mean fastener force")
    change = (solved.nominal.states[0].force[0] - solved.least.states[0].force[0]) / 1e3
    assert change > 0.0
    assert force.mesh_error[0] == pytest.approx(1.25 * change)


def test_areas_of_gasket_points_add_up_to_the_gasket(told):
    # a twelfth of the ring from the first ring's inner edge to the outside, less half a stud's hole
    area = np.pi / 4.0 * (184.0**2 - 87.5**2) / 12.0 - np.pi * 6.0**2 / 2.0
    points = told["gasket_points"]
    assert sum(points["area"]) == pytest.approx(area, rel=1e-3)
    bead = sum(one for one, zone in zip(points["area"], points["zone"], strict=True) if zone == "bead")
    assert bead == pytest.approx(np.pi / 4.0 * (96.0**2 - 91.0**2) / 12.0, rel=1e-3)
    assert min(points["area"]) > 0.0


def test_forces_are_of_whole_studs_and_the_gasket_s_of_what_is_modelled(told):
    state = told["states"]["nominal"][0]
    shares = [stud["share"] for stud in told["fasteners"]]
    assert told["modelled"] == {"bores": pytest.approx(1.0 / 12.0), "studs": 0.5}
    assert np.dot(state["forces"], shares) == pytest.approx(state["gasket_force"], rel=1e-6)
    areas, pressures = told["gasket_points"]["area"], told["gasket_points"]["pressure"][state["name"]]
    assert np.dot(areas, pressures) == pytest.approx(state["gasket_force"], rel=1e-9)


def test_the_gasket_is_told_wherever_it_is_asked_for(told):
    firing = next(state for state in told["states"]["nominal"] if state["kind"] == "firing")
    line = firing["lines"][0]
    on_line, in_hole = told["asked"]["points"]["pressure"]["firing"]
    # the sealing line has 93.5 mm, the first angle is the stud's
    assert on_line == pytest.approx(line["pressure"][0], rel=1e-6)
    assert in_hole is None
    assert told["asked"]["lines"][0]["x"] == pytest.approx([43.75, 47.8125, 51.875, 55.9375, 60.0])
    assert min(told["asked"]["lines"][0]["pressure"]["assembly"]) >= 0.0


def test_both_zones_are_told_at_the_edge_between_them(told):
    nodes = told["gasket_nodes"]
    radius = np.hypot(nodes["x"], nodes["y"])
    at_edge = {zone for zone, r in zip(nodes["zone"], radius, strict=True) if abs(r - 45.5) < 1e-3}
    assert at_edge == {"stopper", "bead"}


def test_bore_shapes_are_told_at_the_depths_asked_for(told):
    shapes = told["bore_shapes"]["firing"]
    assert [shape["depth"] for shape in shapes] == [10.0, 33.0]


def rectangle(x, y, width, height):
    """Eight nodes of a face (2, 8): corners, then the middles of its edges."""
    across, up = np.array([0, 1, 1, 0, 0.5, 1, 0.5, 0]), np.array([0, 0, 1, 1, 0, 0.5, 1, 0.5])
    return np.array([x + width * across, y + height * up])


def test_the_end_of_a_long_face_is_found_beside_many_small_ones():
    small = [rectangle(9.0 + 0.1 * column, 0.5 + 0.1 * row, 0.1, 0.1) for column in range(10) for row in range(3)]
    faces = [rectangle(0.0, 0.0, 10.0, 0.5), *small]
    search = FaceSearch(np.hstack(faces), np.arange(8 * len(faces)).reshape(-1, 8).T)
    found, local = search.locate(np.array([[9.9, 9.95, 9.9], [0.4, 0.55, -0.1]]))
    assert found.tolist() == [0, 1 + 9 * 3, -1]
    assert local[0] == pytest.approx([0.98, 0.6])
