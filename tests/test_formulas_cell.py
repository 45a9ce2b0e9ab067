"""A coarse ring of four studs, half a stud of it: the whole sparse model answers as the condensed one, areas and forces
are those of circles, and the cell bears what the closed form says, nearly.

One cell of a thousand elements for all tests; the tests of `test_cell` look at finer ones.
"""

from __future__ import annotations

import dataclasses
import math
import re
from dataclasses import replace
from functools import cache
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator
from scipy.sparse.linalg import lsqr

from headjoint.cases.command.stated_files import shipped_cells
from headjoint.cases.condensed.cell_condensation import (
    CellModel,
    CellRecovery,
    cell_model,
    condense_cell,
)
from headjoint.cases.condensed.cell_interfaces import _zones
from headjoint.cases.condensed.reduced_joint import ReducedJoint
from headjoint.cases.condensed.store import CondensedStore
from headjoint.cases.heat.conduction import HeatBody, solid_heat_body
from headjoint.cases.load_cases import solved
from headjoint.cases.load_cases.bore_cell_batch import Design, guide, run_many
from headjoint.cases.load_cases.load_history import History, run
from headjoint.cases.models import from_mesh
from headjoint.cases.models.condensed import BoreCell, condensed_cell
from headjoint.cases.warm_up.cell_heat import cell_places, cell_shank_gap, cell_strain_load, outer_faces, thermal_parts
from headjoint.cases.warm_up.heated_joint import element_temperatures, free_strain
from headjoint.meshes.solid.bore_cell import build_cell
from headjoint.model.cell import Liner
from headjoint.model.formulas.estimate import estimate
from headjoint.model.formulas.tightened import by_formula
from headjoint.model.reading.reading import parse_cell
from headjoint.postproc.cell.shapes import _between_levels, _cubic_at, bore_orders

RING = shipped_cells()["six-stud-ring"].read_text("utf-8")


def text() -> str:
    """Four studs in a sector, no liner, jacket, webs or stopper, low castings, elements as large as they may be."""
    plain = re.sub(r"\[liner\].*?\n\n", "", RING, flags=re.DOTALL)
    plain = re.sub(r"(jacket_width|jacket_depth|deck_thickness|bridge_wall|centre_column).*\n", "", plain)
    plain = re.sub(r'\[\[gasket.rings\]\]\nname = "stopper".*?\n\n', "", plain, flags=re.DOTALL)
    plain = plain.replace('height = "120 mm"', 'height = "50 mm"').replace('height = "88 mm"', 'height = "40 mm"')
    size = '\n[mesh]\nring_size = "30 mm"\nstud_size = "30 mm"\nlargest = "40 mm"\ngrowth = 1\n'
    return plain.replace("number = 6", 'number = 4\nextent = "sector"') + size


@cache
def model() -> CellModel:
    cell = parse_cell(text())
    return cell_model(cell, build_cell(cell))


@cache
def reduced() -> ReducedJoint:
    return condense_cell(model())


@cache
def condensed() -> BoreCell:
    return condensed_cell(model(), reduced())


@cache
def history() -> History[BoreCell]:
    return run(condensed())


@cache
def recovery() -> CellRecovery:
    return CellRecovery(model())


@cache
def heat_body() -> HeatBody:
    mesh = model().mesh
    parts = thermal_parts(mesh, model().cell.part_material)
    return solid_heat_body(mesh.points, mesh.cells, *parts, mesh.filled)


RANDOM = np.random.default_rng(5)


def test_what_the_whole_model_leaves_at_the_interfaces_is_what_the_condensed_one_says():
    whole, joint = model(), reduced()
    factors = {"head": 1e-3, "block": -5e-4, "fastener": 2e-4, "nut": 1e-4, "washer": 3e-4, "gas 1": 5.0}
    q = 1e-2 * RANDOM.normal(size=len(joint.K))
    v = recovery().unknowns(q, factors)
    load = sum(factor * whole.loads[name] for name, factor in factors.items())
    left = whole.matrix @ v - load
    scale = np.abs(whole.matrix @ v).max()
    assert np.abs(left[whole.inner]).max() < 1e-9 * scale
    condensed = joint.K @ q - sum(factor * joint.loads[name] for name, factor in factors.items())
    assert left[whole.kept] == pytest.approx(condensed, abs=1e-9 * scale)
    assert np.abs(whole.matrix - whole.matrix.T).max() < 1e-9 * np.abs(whole.matrix).max()
    assert recovery().condensed(load) == pytest.approx(
        sum(factor * joint.loads[name] for name, factor in factors.items()), abs=1e-9 * np.abs(load).max()
    )


def test_displacements_keep_to_the_planes_of_symmetry_and_open_by_the_closures():
    whole = model()
    mesh, inside = whole.mesh, whole.transform.shape[1]
    v = RANDOM.normal(size=inside)
    u = (whole.transform @ v).reshape(-1, 3)
    for normal, nodes in mesh.planes:
        assert np.abs(u[nodes, :2] @ np.array(normal)).max() < 1e-12
    assert np.abs(u[mesh.support, 2]).max() == 0.0
    # every closure is an unknown of its own: lower less upper, node by node
    closures = np.concatenate([(u[pair.lower, 2] - u[pair.upper, 2]).ravel() for pair in mesh.pairs])
    kept = v[whole.kept[whole.kept < inside]]
    assert np.unique(np.round(closures, 9)) == pytest.approx(np.unique(np.round(kept, 9)))
    # what is left to move: two ways along the ground less one for every plane a node is on, and up unless supported
    count = mesh.points.shape[1]
    planes = sum(len(nodes) for _, nodes in mesh.planes) + len(mesh.pins)
    assert inside == 2 * count - planes + count - len(mesh.support)


def test_closures_at_the_points_are_those_of_the_faces():
    joint, points = reduced(), model().points
    ones = np.zeros(len(joint.K))
    ones[:-1] = 1.0  # every closure, not the overlap
    assert joint.B @ ones == pytest.approx(np.ones(joint.points))
    assert joint.overlaps.tolist() == [len(joint.K) - 1]
    assert joint.share.tolist() == [0.5]
    # the sum of area times place is that of the ring's sector of 45 degrees
    seal = joint.group("bead").points
    zone = model().cell.sealing_zone
    inner, outer = zone.inner_diameter / 2, zone.outer_diameter / 2
    assert joint.weight[seal].sum() == pytest.approx(math.pi / 8 * (outer**2 - inner**2), rel=2e-3)
    moment = joint.weight[seal] @ points.places[0, seal]
    assert moment == pytest.approx((outer**3 - inner**3) / 3 * math.sin(math.pi / 4), rel=5e-3)
    bearing = joint.group("bearing").points
    # half of the washer's ring, 24 mm outside and 12 inside
    assert joint.weight[bearing].sum() == pytest.approx(math.pi / 8 * (24.0**2 - 12.0**2), rel=5e-3)
    assert (points.zone[bearing] == -1).all()
    assert points.uncovered == 0.0


def test_a_sealing_line_has_points_every_three_degrees_and_over_its_width():
    (line,) = model().points.lines
    zone = model().cell.sealing_zone
    assert line.angle.min() == 0.0
    assert line.angle.max() == 45.0
    assert np.diff(line.angle).max() <= 3.0
    places = model().points.places
    radius = np.hypot(*places[:, line.at])
    assert radius == pytest.approx(np.full(len(line.at), zone.sealing_diameter / 2))
    assert np.degrees(np.arctan2(places[1, line.at], places[0, line.at])) == pytest.approx(line.angle, abs=1e-9)
    # five points over the width integrate r^2 exactly
    across = np.hypot(*places[:, line.across])
    inner, outer = zone.inner_diameter / 2, zone.outer_diameter / 2
    assert across**2 @ line.across_weight == pytest.approx(np.full(len(line.at), (outer**3 - inner**3) / 3))
    assert (reduced().weight[line.at] == 0.0).all()
    assert model().points.face_means(np.full(reduced().points, 7.0)) == pytest.approx(
        np.full(model().points.gasket_faces.shape[1], 7.0)
    )


def test_places_belong_to_rings_and_to_the_liner_by_their_distance_from_the_bore():
    cell = parse_cell(RING)
    rings = cell.zones
    radii = np.array([(one.inner_diameter + min(one.outer_diameter, one.inner_diameter + 2)) / 4 for one in rings])
    zone, on_liner = _zones(cell, np.stack([radii, np.zeros_like(radii)]))
    assert zone.tolist() == list(range(len(rings)))
    at = np.array([[45.4, 0.0, 45.6], [0.0, 45.4, 0.0]])
    assert _zones(cell, at)[1].tolist() == [True, True, False]  # of 91 mm outer diameter
    bare = dataclasses.replace(cell, liner=None)
    assert not _zones(bare, at)[1].any()
    assert cell.liner == Liner(91.0, 0.02, cell.block.height, cell.liner.material)


def test_gas_lifts_the_head_by_the_circle_of_the_sealing_line():
    whole = model()
    expected = math.pi / 4 * whole.cell.sealing_zone.sealing_diameter**2 / 8
    assert whole.gas_lift["gas 1"] == pytest.approx(expected, rel=2e-3)
    fired = next(one for one in whole.cell.joint.load_cases if one.gas_pressure > 0.0)
    assert condensed().lift(fired) == pytest.approx(fired.gas_pressure * whole.gas_lift["gas 1"])
    # the work on the head moved up by 1 mm, all else at rest: the lift
    mesh = whole.mesh
    up = np.zeros((mesh.points.shape[1], 3))
    up[np.unique(mesh.cells[:, mesh.part == mesh.parts.index("head")]), 2] = 1.0
    assert work_of_gas(up) == pytest.approx(whole.gas_lift["gas 1"])
    # everything swollen from the bore's axis: the bore's radius times the area of the wall under gas, 1/8 of it round
    away = np.column_stack([mesh.points[0], mesh.points[1], 0.0 * mesh.points[0]])
    radius = whole.cell.layout.bore / 2
    assert work_of_gas(away) == pytest.approx(radius * 2 * math.pi * radius / 8 * whole.cell.wall_depth, rel=0.01)


def work_of_gas(displacement: np.ndarray) -> float:
    """Work (N.mm) of 1 MPa in the bore on a displacement (n, 3) that keeps to the planes of symmetry."""
    transform = model().transform
    v = lsqr(transform, displacement.ravel(), atol=1e-13, btol=1e-13)[0]
    assert np.abs(transform @ v - displacement.ravel()).max() < 1e-6
    return float(model().loads["gas 1"][: len(v)] @ v)


def test_a_unit_overlap_strains_the_free_length_of_half_a_shank():
    whole = model()
    fastener = whole.cell.joint.fastener
    (meshed,) = whole.mesh.fasteners
    E, nu = fastener.material.E.at(20.0), fastener.material.nu
    held = E * (1 - nu) / ((1 + nu) * (1 - 2 * nu))  # lambda + 2 mu: nothing else moves
    heights = whole.mesh.points[2, whole.mesh.cells[:, meshed.free]]
    length = heights.max() - heights.min()
    own = whole.matrix[whole.kept[-1], whole.kept[-1]]
    area = 0.5 * math.pi / 4 * whole.cell.shank_diameter**2
    assert own == pytest.approx(held * area / length, rel=5e-3)
    # washer and nut are one piece: from its lower face to the first engaged thread
    cell = whole.cell
    assert length == pytest.approx(cell.head.height + cell.joint.gasket.thickness + cell.block.counterbore_depth)
    assert (meshed.travel.min(), meshed.travel.max()) == pytest.approx((0.0, 1.0))


def test_the_cell_bears_what_the_closed_form_says_nearly():
    closed = {state.name: state for state in estimate(model().cell.joint).states}
    for state in history().states:
        assert state.force[0] == pytest.approx(closed[state.name].fastener_force, rel=0.06)
        assert state.balance < 1e-8
    tight = history().states[0]
    assert tight.force[0] == pytest.approx(model().cell.joint.tightening.preload)


def test_the_shank_s_mean_stress_carries_the_force_and_the_gasket_s_pressure_the_clamp():
    state = history().state("hot")
    factors = condensed().factors(state.case)
    u = recovery().displacement(state.equilibrium.q, factors)
    stress = recovery().stress(u, state.equilibrium.q[reduced().overlaps], factors)
    (meshed,) = model().mesh.fasteners
    _, weight = model().body.places(meshed.free)
    heights = model().mesh.points[2, model().mesh.cells[:, meshed.free]]
    length = heights.max() - heights.min()
    carried = np.sum(stress[meshed.free, :, 2] * weight) / length  # N, of half a stud
    assert carried == pytest.approx(0.5 * state.force[0], rel=1e-3)
    gasket = reduced().gasket_points()
    assert reduced().weight[gasket] @ state.equilibrium.pressure[gasket] == pytest.approx(0.5 * state.force[0])
    # at rest and without loads nothing is stressed
    assert np.abs(recovery().stress(0.0 * u, np.zeros(1), {})).max() == 0.0


def test_a_solved_cell_has_the_least_and_the_greatest_preload_of_its_scatter(monkeypatch, tmp_path):
    meshes = []
    told = lambda cell, refinement=1.0, store=None: meshes.append(refinement) or model().mesh  # noqa: E731
    monkeypatch.setattr(from_mesh, "build_cell", told)
    monkeypatch.setattr(solved, "cell_model", lambda cell, mesh: model())
    found = SimpleNamespace(reduced=reduced(), bending=None, faces=None, factors=None)
    monkeypatch.setattr(solved, "watched_cell", lambda whole, store, keeps, drawn: found)
    store, cell = CondensedStore(tmp_path), model().cell
    assert not solved.condensed_before(cell, store)
    found = solved.solve_cell(cell, store=store)
    # known again, without a mesh, by what shapes its stiffness
    turned = replace(cell, joint=replace(cell.joint, tightening=replace(cell.joint.tightening, preload=5e4)))
    assert solved.condensed_before(turned, store)
    assert not solved.condensed_before(replace(cell, head=replace(cell.head, fire_deck=11.0)), store)
    tight = model().cell.joint.tightening
    # alpha_A = 1.25: 1/9 up and down
    assert tight.tightening_factor == 1.25
    assert (found.least.preload, found.nominal.preload, found.greatest.preload) == pytest.approx(
        (tight.preload * 8 / 9, tight.preload, tight.preload * 10 / 9)
    )
    assert found.greatest.states[0].force[0] == pytest.approx(tight.preload * 10 / 9)
    assert meshes == [1.0, 0.5]
    assert found.coarse.nominal.states[0].force[0] == pytest.approx(tight.preload)


def test_designs_side_by_side_have_the_states_of_each_alone():
    fasteners = len(condensed().reduced.overlaps)
    designs = [Design(condensed(), by_formula(condensed().joint, preload, fasteners)) for preload in (55e3, 60e3)]
    found = run_many(designs, guide(designs[0]))
    for design, states in zip(designs, found, strict=True):
        alone = run(condensed(), design.tightened)
        assert [state.force[0] for state in states] == pytest.approx([s.force[0] for s in alone.states], rel=1e-7)


def test_a_uniform_temperature_is_the_unit_loads_of_all_parts():
    whole, body = model(), heat_body()
    T = np.full(body.count, 120.0)
    cell = whole.cell
    strain = free_strain(cell.part_material, 20.0, whole.mesh, body, T)
    load = cell_strain_load(whole, body, strain)
    parts = ("head", "block", "fastener", "nut", "washer")
    factors = {part: cell.part_material(part).free_strain(120.0, 20.0) for part in parts}
    expected = sum(factor * whole.loads[part] for part, factor in factors.items())
    assert load == pytest.approx(expected, abs=1e-6 * np.abs(expected).max())
    warm = element_temperatures(cell.joint, whole.mesh, body, T, False)
    fastener = whole.mesh.part == whole.mesh.parts.index("fastener")
    assert warm[fastener] == pytest.approx(np.full(fastener.sum(), 20.0))
    assert warm[~fastener] == pytest.approx(np.full((~fastener).sum(), 120.0))
    softer = cell_model(cell, whole.mesh, warm).body.D[~fastener, 0, 0]
    head = np.flatnonzero((whole.mesh.part == whole.mesh.parts.index("head"))[~fastener])[0]
    material = cell.part_material("head")
    E, nu = material.E.at(120.0), material.nu
    assert softer[head] == pytest.approx(E * (1 - nu) / ((1 + nu) * (1 - 2 * nu)))


def area_of(faces: np.ndarray) -> float:
    from headjoint.cases.heat.surfaces import surface

    return surface(heat_body(), faces).area


def test_gas_coolant_and_air_meet_the_faces_that_are_theirs():
    cell, mesh = model().cell, model().mesh
    outer = outer_faces(cell, mesh)
    bore, ring = cell.layout.bore / 2, cell.zones[0].inner_diameter / 2
    # an eighth of the bore wall down to the wall's depth, and of the disc over bore (within the ring)
    assert area_of(outer.wall) == pytest.approx(2 * math.pi * bore / 8 * cell.wall_depth, rel=0.01)
    assert math.pi * bore**2 / 8 * 0.99 < area_of(outer.chamber) < math.pi * ring**2 / 8 * 1.01
    # the shank in its hole: the radius of the shank, half round
    gap = cell_shank_gap(cell, mesh, heat_body())
    assert gap.shank == pytest.approx(np.full(len(gap.shank), cell.shank_diameter / 2), rel=0.01)
    assert gap.hole == pytest.approx(np.full(len(gap.hole), cell.head.hole_diameter / 2), rel=0.02)
    length = gap.surface.area / (math.pi * cell.shank_diameter / 2)
    assert 0.6 * cell.joint.fastener.clamped_length < length < cell.joint.fastener.clamped_length
    x, y = mesh.fasteners[0].x, mesh.fasteners[0].y
    along = np.hypot(heat_body().places[0] - x, heat_body().places[1] - y)
    # a field that is the distance from the axis differs by the gap across it
    assert gap.surface.mean(along) == pytest.approx((cell.shank_diameter - cell.head.hole_diameter) / 2, rel=0.02)


def test_places_are_read_where_their_names_say():
    cell, mesh, body = model().cell, model().mesh, heat_body()
    places = cell_places(cell, mesh, body)
    height = body.places[2]
    assert places["block deck at the gasket"](height) == pytest.approx(0.0, abs=1e-9)
    assert places["sealing line"](height) == pytest.approx(cell.joint.gasket.thickness / 2)
    assert places["chamber face"](height) == pytest.approx(cell.joint.gasket.thickness, rel=0.01)
    middle = -cell.block.height / 2
    assert places["block mean"](height) == pytest.approx(middle, rel=0.05)
    assert places["hottest of the chamber face"](np.hypot(*body.places[:2])) == pytest.approx(
        np.hypot(*mesh.points[:2, np.unique(np.hstack(mesh.chamber))]).max(), rel=0.02
    )


def test_a_wall_that_bulges_alike_all_round_is_round_between_its_levels_too():
    """Columns of corner nodes have nodes midway up the elements, those between them have none."""
    levels, across = np.array([-60.0, -30.0, -10.0, 0.0]), np.radians(np.arange(0.0, 91.0, 7.5))
    middles = (levels[1:] + levels[:-1]) / 2.0
    places = [
        (angle, z) for n, angle in enumerate(across) for z in np.sort(np.concatenate([levels, middles][: 2 - n % 2]))
    ]
    angle, z = np.array(places).T
    for height in (-43.0, -20.0, -3.0):
        _, radial = _between_levels(angle, z, 1e-5 * z**2, height)
        assert len(radial) == len(across)
        assert np.ptp(radial) < 1e-15
    # at a middle it is what nodes there have, a parabola being the elements' own
    assert _between_levels(angle, z, 1e-5 * z**2, -45.0)[1] == pytest.approx(np.full(len(across), 1e-5 * 45.0**2))


@pytest.mark.parametrize("count", [2, 3, 4, 7])
def test_walls_between_heights_follow_cubics_that_do_not_overshoot(count):
    rng = np.random.default_rng(count)
    for _ in range(30):
        heights = np.sort(rng.uniform(-90.0, 0.0, count))
        values = np.round(rng.normal(size=(5, count)), rng.integers(0, 4))  # level pieces among them
        for at in (heights[0], heights[-1], rng.uniform(heights[0], heights[-1])):
            other = PchipInterpolator(heights, values, axis=1)(at)
            assert _cubic_at(heights, values, at) == pytest.approx(other, abs=1e-13)


def test_a_bore_that_is_shifted_or_grows_stays_round():
    turn = np.radians(np.arange(0.0, 360.0, 5.0))
    oval = 1.5e-3 * np.cos(2.0 * turn)
    orders, distortion = bore_orders(turn, 5e-3 + 2e-3 * np.cos(turn - 0.5) + oval)
    assert [orders[k] for k in (0, 1, 2)] == pytest.approx([5e-3, 2e-3, 1.5e-3])
    assert distortion == pytest.approx(oval, abs=1e-12)
