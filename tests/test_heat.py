"""Heat: energy is kept, errors in time are what is stated, contacts and films do what their names say."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from conftest import shipped_text
from scipy.linalg import eigvalsh, expm

from headjoint.cases.command.stated_files import shipped_cells
from headjoint.cases.condensed.cell_condensation import cell_model
from headjoint.cases.condensed.condensation import condense, full_model
from headjoint.cases.heat.conduction import axisymmetric_heat_body, solid_heat_body
from headjoint.cases.heat.problem import Contact, EnergyBalance, Film, Flux, HeatProblem, HeatSource, Prescribed, steady
from headjoint.cases.heat.surfaces import contact, pair_contact, surface
from headjoint.cases.heat.transient import HeatHistory, _Run, transient
from headjoint.meshes.one_fastener import single_stud
from headjoint.meshes.solid.bore_cell import build_cell
from headjoint.meshes.solid.solid_mesh import FacePair
from headjoint.meshes.solid.tetrahedra import EDGES
from headjoint.model.base.errors import InputError, SolveError
from headjoint.model.base.property_table import PropertyTable
from headjoint.model.base.time_table import TimeTable
from headjoint.model.heat.transfer import ThermalProperties, film, properties, thermal_properties
from headjoint.model.library.materials import bare_material, material
from headjoint.model.reading.reading import parse_cell, parse_joint
from validation.bore_cell_limits import COARSE
from validation.elasticity import grid
from validation.heat_bodies import at, cuboid, faces_where, nodes_where, ring
from validation.heat_limits import STEEL, two_discs

CHANGING = ThermalProperties(
    PropertyTable((0.0, 100.0), (0.050, 0.030)), PropertyTable((0.0, 50.0, 100.0), (0.003, 0.004, 0.006))
)
BRICK = (np.linspace(0.0, 12.0, 4), np.linspace(0.0, 7.0, 3), np.linspace(0.0, 5.0, 3))


def small_ring(given: ThermalProperties = STEEL):
    return ring(np.linspace(10.0, 20.0, 5), np.linspace(0.0, 12.0, 4), given)


def small_brick(given: ThermalProperties = STEEL):
    return cuboid(*BRICK, given)


def small_tetrahedra(given: ThermalProperties = STEEL):
    """Return a brick cut into tetrahedra, six to a box."""
    xs, ys, zs = BRICK
    shape = (len(xs), len(ys), len(zs))
    points = np.array([[x, y, z] for x in xs for y in ys for z in zs]).T
    corners = []
    for i, j, k in np.ndindex(*(n - 1 for n in shape)):
        for steps in ((0, 1, 2), (1, 2, 0), (2, 0, 1), (0, 2, 1), (2, 1, 0), (1, 0, 2)):
            place = [i, j, k]
            cell = [np.ravel_multi_index(place, shape)]
            for axis in steps:
                place[axis] += 1
                cell.append(np.ravel_multi_index(place, shape))
            right_handed = np.linalg.det(points[:, cell[1:]].T - points[:, cell[0]]) > 0.0
            corners.append(cell if right_handed else [cell[0], cell[2], cell[1], cell[3]])
    corners = np.array(corners).T
    ends = np.sort([[corners[a], corners[b]] for a, b in EDGES], axis=1)
    unique, number = np.unique(ends.transpose(0, 2, 1).reshape(-1, 2), axis=0, return_inverse=True)
    points = np.hstack([points, points[:, unique].mean(axis=2)])
    cells = np.vstack([corners, points.shape[1] - len(unique) + number.reshape(len(EDGES), -1)])
    return solid_heat_body(points, cells, np.zeros(cells.shape[1], dtype=int), (given,))


BODIES = pytest.mark.parametrize("make", [small_ring, small_brick, small_tetrahedra])


def uneven(body) -> np.ndarray:
    return 60.0 + 50.0 * np.sin(0.3 * body.places[0]) * np.cos(0.2 * body.places[-1])


def cooled_ring() -> HeatProblem:
    """Return a ring with a film in its bore and its top held at a temperature that rises for 4 s."""
    body = small_ring()
    bore = surface(body, faces_where(body, lambda r, z: at(10.0)(r)))
    top = Prescribed(nodes_where(body, lambda r, z: at(12.0)(z)), 50.0)
    return HeatProblem(body, (Film(bore, film(3000.0), 300.0, "gas"),), prescribed=(top,))


def exact_in_time(problem: HeatProblem, initial: float, time: float) -> np.ndarray:
    """Return the temperatures of a linear problem at a time by the exponential of its matrices."""
    body, free = problem.body, problem.free
    start = problem.impose(np.full(body.count, initial), 0.0)
    settled = steady(problem).temperature
    C = body.capacity_matrix(start).toarray()[np.ix_(free, free)]
    K = (body.conductivity_matrix(start) + problem.exchange(0.0)).toarray()[np.ix_(free, free)]
    found = settled.copy()
    found[free] += expm(-np.linalg.solve(C, K) * time) @ (start - settled)[free]
    return found


@BODIES
def test_an_insulated_body_keeps_its_energy_to_rounding(make):
    body = make(CHANGING)
    start = uneven(body)
    history = transient(HeatProblem(body), start, 20.0, 0.01)
    before, after = body.heat(start).sum(), body.heat(history.temperatures[-1]).sum()
    assert np.ptp(history.temperatures[-1]) < 0.9 * np.ptp(start)
    assert after == pytest.approx(before, rel=1e-10)
    assert history.balance.error < 1e-9


@BODIES
def test_heat_content_is_the_integral_of_capacity(make):
    body = make(CHANGING)
    T, way = uneven(body), np.cos(body.places[0])
    slope = body.capacity_matrix(T) @ way
    errors = [np.abs(body.heat(T + h * way) - body.heat(T - h * way) - 2.0 * h * slope).max() / h for h in (1e-3, 1e-4)]
    assert errors[1] < 1e-6 * np.abs(slope).max()
    assert body.capacity_matrix(np.full(body.count, 25.0)).sum() == pytest.approx(0.0035 * body.volume)


@BODIES
def test_flows_without_a_matrix_are_those_of_the_matrix(make):
    body = make(CHANGING)
    T = uneven(body)
    K = body.conductivity_matrix(T)
    assert body.conduction(T) == pytest.approx(K @ T, abs=1e-11 * abs(K).max() * 100.0)
    assert abs(K - K.T).max() < 1e-14 * abs(K).max()
    assert np.abs(K @ np.ones(body.count)).max() < 1e-12 * abs(K).max()


@BODIES
def test_every_field_of_temperature_stores_heat(make):
    body = make()
    C = body.capacity_matrix(np.full(body.count, 20.0)).toarray()
    assert eigvalsh(C)[0] > 1e-4 * C.diagonal().min()
    assert C.sum() == pytest.approx(STEEL.capacity.values[0] * body.volume)


@pytest.mark.parametrize("make", [small_brick, small_tetrahedra])
def test_capacity_of_a_quadratic_field_is_exact(make):
    body = make()
    x, y, _ = body.places
    field = x**2 - 3.0 * x * y
    # integral of (x^2 - 3 x y)^2 over the brick
    X, Y, Z = (lines[-1] for lines in BRICK)
    exact = Z * (X**5 / 5.0 * Y - 6.0 * X**4 / 4.0 * Y**2 / 2.0 + 9.0 * X**3 / 3.0 * Y**3 / 3.0)
    C = body.capacity_matrix(np.full(body.count, 20.0))
    assert field @ C @ field == pytest.approx(STEEL.capacity.values[0] * exact, rel=1e-12)


@BODIES
def test_a_linear_field_conducts_evenly(make):
    body = make()
    rising = 3.0 * body.places[-1]
    inside = nodes_where(body, lambda *x: (x[-1] > 1e-9) & (x[-1] < x[-1].max() - 1e-9))
    flow = body.conduction(rising)
    low = nodes_where(body, lambda *x: at(0.0)(x[-1]))
    area = body.volume / body.places[-1].max()
    assert np.abs(flow[inside]).max() < 1e-12 * np.abs(flow).max()
    assert flow[low].sum() == pytest.approx(-3.0 * STEEL.conductivity.values[0] * area)


def test_a_hot_cylinder_converges_at_the_rate_of_quadratic_elements():
    a, b = 10.0, 40.0
    errors = []
    for count in (2, 4, 8, 16):
        body = ring(np.linspace(a, b, count + 1), np.array([0.0, 10.0]), STEEL)
        ends = [Prescribed(nodes_where(body, lambda r, z, x=x: at(x)(r)), T) for x, T in ((a, 100.0), (b, 0.0))]
        T = steady(HeatProblem(body, prescribed=tuple(ends))).temperature
        r = body.basis.global_coordinates()[0]
        field = body.basis.interpolate(T)
        errors.append(math.sqrt(float(np.sum(body.weight * (field - 100.0 * np.log(b / r) / math.log(b / a)) ** 2))))
    rates = [math.log2(coarse / fine) for coarse, fine in zip(errors, errors[1:], strict=False)]
    assert rates[-1] > 2.7


def test_a_transient_ends_in_the_steady_state():
    body = small_ring(CHANGING)
    bore = surface(body, faces_where(body, lambda r, z: at(10.0)(r)))
    outside = surface(body, faces_where(body, lambda r, z: at(20.0)(r)))
    problem = HeatProblem(body, (Film(bore, film(2000.0), 200.0, "gas"), Film(outside, film(1000.0), 40.0, "air")))
    settled = steady(problem)
    history = transient(problem, 20.0, 2000.0, 0.1)
    assert history.temperatures[-1] == pytest.approx(settled.temperature, abs=1e-4)
    assert settled.balance.supplied["gas"] == pytest.approx(-settled.balance.supplied["air"], rel=1e-10)
    assert settled.iterations > 2, "conductivity falls by 40 %: one iteration cannot do"


def test_half_the_tolerance_means_less_error_and_the_estimate_bounds_it():
    problem = cooled_ring()
    times = np.linspace(0.25, 3.0, 12)
    exact = np.array([exact_in_time(problem, 20.0, time) for time in times])
    errors = []
    for tolerance in (1.0, 0.5, 0.25, 0.125, 0.0625):
        history = transient(problem, 20.0, 3.0, tolerance, output_times=times)
        errors.append(float(np.abs(history.temperatures - exact).max()))
        assert errors[-1] <= history.estimated_error <= tolerance
    assert all(later < earlier for earlier, later in zip(errors, errors[1:], strict=False))


def test_steps_half_as_long_err_a_quarter_as_much():
    problem = cooled_ring()
    start = exact_in_time(problem, 20.0, 0.5)
    exact = exact_in_time(problem, 20.0, 1.5)
    errors = []
    for count in (8, 16, 32):
        run = _Run(problem, start, 0.5, 1.5, 1e-6, math.inf, True)
        for number in range(count):
            _, run.state, *_ = run._step(1.0 / count, 0.5 + (number + 1) / count)
        errors.append(np.abs(run.state.T - exact).max())
        run.release()
    assert [math.log2(a / b) for a, b in zip(errors, errors[1:], strict=False)] == pytest.approx([2.0, 2.0], abs=0.15)


def test_kept_factors_change_the_work_and_not_the_answer():
    problem = cooled_ring()
    kept, new = (transient(problem, 20.0, 30.0, 0.1, reuse=reuse) for reuse in (True, False))
    assert kept.factorisations < new.factorisations / 1.5
    assert kept.temperatures == pytest.approx(new.temperatures, abs=0.02)


def test_output_times_and_bends_of_tables_are_landed_on():
    body = small_ring()
    bore = surface(body, faces_where(body, lambda r, z: at(10.0)(r)))
    # nothing happens for 500 s, then one second of heat that a long step would jump over
    pulse = TimeTable((500.0, 500.5, 501.0), (0.0, 2.0, 0.0))
    history = transient(
        HeatProblem(body, fluxes=(Flux(bore, pulse, "pulse"),)), 20.0, 1000.0, 0.5, output_times=[0.0, 7.0, 500.0]
    )
    assert history.times == pytest.approx([0.0, 7.0, 500.0, 1000.0])
    assert history.at(500.0) == pytest.approx(np.full(body.count, 20.0))
    assert history.balance.supplied["pulse"] == pytest.approx(bore.area * 1.0, rel=1e-9)
    assert body.mean(history.at(1000.0)) - 20.0 == pytest.approx(
        bore.area / STEEL.capacity.values[0] / body.volume, rel=1e-6
    )
    with pytest.raises(InputError, match="nearest: 500 s"):
        history.at(400.0)


def test_a_source_warms_an_insulated_part_by_what_it_frees():
    body = small_brick()
    density = np.full(body.cells.shape[1], 1e-3)
    history = transient(
        HeatProblem(body, sources=(HeatSource(density, TimeTable((0.0, 10.0), (0.0, 2.0))),)), 20.0, 10.0, 0.1
    )
    assert history.temperatures[-1] == pytest.approx(np.full(body.count, 20.0 + 1e-2 / STEEL.capacity.values[0]))


def test_a_reversed_time_table_is_refused():
    with pytest.raises(InputError, match="must ascend"):
        TimeTable((0.0, 5.0, 4.0), (1.0, 2.0, 3.0))
    with pytest.raises(InputError, match="steep ramp"):
        TimeTable((0.0, 5.0, 5.0), (1.0, 2.0, 3.0))
    with pytest.raises(InputError, match="finite"):
        TimeTable((0.0, math.nan), (1.0, 2.0))
    with pytest.raises(InputError, match="value for every time"):
        TimeTable((0.0, 1.0), (1.0,))
    table = TimeTable.from_rows([[1.0, 10.0], [3.0, 30.0]])
    assert [table(time) for time in (0.0, 1.0, 2.0, 3.0, 9.0)] == [10.0, 10.0, 20.0, 30.0, 30.0]


def test_a_negative_film_or_conductance_is_refused():
    body = small_ring()
    bore = surface(body, faces_where(body, lambda r, z: at(10.0)(r)))
    for wrong in (-1e-6, np.full(bore.weight.shape, -1e-6), TimeTable((0.0, 1.0), (1e-3, -1e-3)), math.nan):
        with pytest.raises(InputError, match="0 or more"):
            Film(bore, wrong, 20.0)
        with pytest.raises(InputError, match="0 or more"):
            Contact(bore, wrong)
    with pytest.raises(InputError, match="0 or more"):
        steady(HeatProblem(body, (Film(bore, lambda time: -1e-3, 20.0),)))
    with pytest.raises(InputError, match="0 or more"):
        film(-5.0)


def test_times_and_tolerances_without_sense_are_refused():
    problem = cooled_ring()
    for end, tolerance, outputs in ((-1.0, 0.1, ()), (1.0, 0.0, ()), (1.0, 0.1, (2.0,))):
        with pytest.raises(InputError):
            transient(problem, 20.0, end, tolerance, output_times=outputs)


def test_a_contact_that_opens_insulates():
    body, joint, below, above = two_discs(film(5000.0))
    hot, cold = (Prescribed(np.unique(_nodes(body, faces)), T) for faces, T in ((below, 200.0), (above, 50.0)))
    problem = HeatProblem(body, contacts=(joint,), prescribed=(hot, cold))
    opened = replace(problem, contacts=(replace(joint, conductance=0.0),))
    upper = nodes_where(body, lambda r, z: z > 30.5)
    assert np.ptp(steady(problem).temperature[upper]) > 1.0
    assert steady(opened).temperature[upper] == pytest.approx(np.full(len(upper), 50.0))
    # half the face open: the other half still conducts
    half = (joint.surface.places[0] < 10.0) * film(5000.0)
    partly = steady(replace(problem, contacts=(replace(joint, conductance=half),)))
    jump = joint.surface.evaluate @ partly.temperature
    assert jump[half == 0.0].min() > jump[half > 0.0].max()
    # and what nothing holds any more has no steady state
    with pytest.raises(SolveError, match="nothing fixes the temperature"):
        steady(replace(opened, prescribed=(hot,)))


def _nodes(body, facets):
    return surface(body, facets).evaluate.indices


def test_heat_flows_back_as_it_flowed_forth():
    body, joint, below, above = two_discs(film(3000.0))
    faces = surface(body, below), surface(body, above)
    flows = []
    for T_below, T_above in ((300.0, 100.0), (100.0, 300.0)):
        films = (Film(faces[0], film(900.0), T_below, "below"), Film(faces[1], film(900.0), T_above, "above"))
        flows.append(steady(HeatProblem(body, films, (joint,))).balance.supplied)
    assert flows[0]["below"] == pytest.approx(-flows[1]["below"], rel=1e-10)
    turned = contact(body, faces_where(body, lambda r, z: at(31.0)(z)), faces_where(body, lambda r, z: at(30.0)(z)))
    matrices = [one.exchange_matrix(film(3000.0)) for one in (joint.surface, turned)]
    assert abs(matrices[0] - matrices[1]).max() < 1e-12 * abs(matrices[0]).max()


def two_bricks(upper_lines: np.ndarray):
    """Return two bricks 0.5 mm apart, the upper with its own lines along x and y, and their faces."""
    lines = np.linspace(0.0, 12.0, 4)
    low = cuboid(lines, lines, np.linspace(0.0, 10.0, 3), STEEL)
    high = cuboid(upper_lines, upper_lines, np.linspace(10.5, 18.5, 3), STEEL)
    cells = np.hstack([low.cells, high.cells + low.count])
    body = solid_heat_body(np.hstack([low.places, high.places]), cells, np.zeros(cells.shape[1], dtype=int), (STEEL,))
    return body, *(faces_where(body, lambda x, y, z, h=h: at(h)(z)) for h in (0.0, 10.0, 10.5, 18.5))


@pytest.mark.parametrize("upper_lines", [np.linspace(0.0, 12.0, 4), np.linspace(0.0, 12.0, 6)])
@pytest.mark.parametrize("on_upper", [False, True])
def test_bricks_with_like_and_unlike_faces_pass_the_same_heat(upper_lines, on_upper):
    body, foot, lower, upper, top = two_bricks(upper_lines)
    matching = len(upper_lines) == 4
    if matching:
        order = [np.lexsort(np.round(body.places[:2, faces].mean(axis=1), 6)) for faces in (lower, upper)]
        lower, upper = lower[:, order[0]], upper[:, order[1]]
    pair = FacePair("gasket", lower, upper, matching, on_upper)
    joint = Contact(pair_contact(body, pair), film(4000.0))
    films = (Film(surface(body, foot), film(1000.0), 100.0, "foot"), Film(surface(body, top), film(1000.0), 0.0, "top"))
    state = steady(HeatProblem(body, films, (joint,)))
    q = 100.0 / (2.0 / 1000.0 + 1.0 / 4000.0 + 0.018 / 50.0)
    tolerance = 1e-9 if matching else 2e-4  # even points integrate quadratic functions to 1/64 of a face
    assert state.balance.supplied["foot"] == pytest.approx(q * 0.012**2, rel=tolerance)
    assert joint.surface.mean(state.temperature) == pytest.approx(q / 4000.0, rel=20.0 * tolerance)


def test_a_face_that_an_edge_cuts_passes_heat_by_its_share():
    body, _, lower, upper, _ = two_bricks(np.linspace(0.0, 12.0, 4))
    order = [np.lexsort(np.round(body.places[:2, faces].mean(axis=1), 6)) for faces in (lower, upper)]
    share = np.linspace(0.2, 1.0, lower.shape[1])
    pair = FacePair("gasket", lower[:, order[0]], upper[:, order[1]], share=share)
    # nine faces of 4 mm by 4 mm
    assert pair_contact(body, pair).weight.reshape(9, -1).sum(axis=1) == pytest.approx(16.0 * share)


def test_faces_that_do_not_lie_opposite_are_refused():
    body, foot, lower, upper, _ = two_bricks(np.linspace(0.0, 12.0, 4))
    with pytest.raises(InputError, match="out of place"):
        contact(body, lower, upper[:, ::-1])
    with pytest.raises(InputError, match="pair off"):
        contact(body, lower, upper[:, :3])
    beside = FacePair("gasket", lower, faces_where(body, lambda x, y, z: at(10.5)(z) & (x < 9.0)), matching=False)
    with pytest.raises(InputError, match="none opposite"):
        pair_contact(body, beside)


def test_a_slanted_facet_has_the_area_of_its_cone():
    mesh = grid(np.array([10.0, 20.0]), np.array([0.0, 5.0]))
    mesh.p[1] += 0.5 * mesh.p[0]
    body = axisymmetric_heat_body(mesh, np.zeros(1, dtype=int), (STEEL,))
    slanted = faces_where(body, lambda r, z: at(0.0)(z - 0.5 * r))
    assert surface(body, slanted).area == pytest.approx(math.pi * (10.0 + 20.0) * math.hypot(10.0, 5.0))


def test_contact_points_of_a_stud_are_its_mechanical_points():
    joint = parse_joint(shipped_text("boosted-four-steel"))
    mesh = single_stud.build(joint)
    reduced = condense(joint, full_model(joint, mesh))
    used = np.unique(mesh.part)
    given = tuple(thermal_properties(joint.part_material(mesh.parts[index])) for index in used)
    body = axisymmetric_heat_body(mesh.mesh, np.searchsorted(used, mesh.part), given)
    for interface, group in zip(mesh.interfaces, reduced.groups, strict=True):
        found = contact(body, interface.lower, interface.upper)
        # those at the edges of a zone have no area and conduct nothing
        own = group.points[reduced.weight[group.points] > 0.0]
        assert found.places[0] == pytest.approx(reduced.radius[own])
        assert found.weight == pytest.approx(reduced.weight[own])


@pytest.mark.slow
def test_contact_points_of_a_cell_are_its_mechanical_points():
    cell = parse_cell(shipped_cells()["boosted-four"].read_text("utf-8") + COARSE)
    mesh = build_cell(cell)
    points = cell_model(cell, mesh).points
    body = solid_heat_body(mesh.points, mesh.cells, np.zeros(len(mesh.part), dtype=int), (STEEL,))
    first = 0
    for pair in mesh.pairs:
        found = pair_contact(body, pair)
        own = slice(first, first + len(found.weight))
        assert points.places[:, own] == pytest.approx(found.places[:2])
        assert points.weight[own] == pytest.approx(found.weight)
        first += len(found.weight)


def test_a_balance_that_is_off_is_an_error():
    with pytest.raises(SolveError, match="energy is not kept"):
        EnergyBalance({"gas": 1.0}, -1.0, 1e-5, 2.0).check()


def test_properties_are_turned_into_internal_units_once():
    found = properties(50.0, 7800.0, 500.0)
    assert found.conductivity.values == pytest.approx((0.050,))
    assert found.capacity.values == pytest.approx((3.9e-3,))
    assert thermal_properties(material("EN AC-42100")).capacity.at(20.0) == pytest.approx(2680.0 * 900.0 * 1e-9)
    with pytest.raises(InputError, match="conductivity"):
        thermal_properties(bare_material("mine", 70e3, 0.3, 2e-5))
    with pytest.raises(InputError, match="above 0"):
        properties(0.0, 7800.0, 500.0)


def test_a_body_held_everywhere_follows_what_holds_it():
    body = small_ring()
    problem = HeatProblem(body, prescribed=(Prescribed(np.arange(body.count), TimeTable((0.0, 9.0), (20.0, 110.0))),))
    history = transient(problem, 20.0, 9.0, 0.1)
    assert history.temperatures[-1] == pytest.approx(np.full(body.count, 110.0))
    assert history.balance.through_prescribed == pytest.approx(90.0 * STEEL.capacity.values[0] * body.volume)
    assert steady(problem, 9.0).temperature == pytest.approx(np.full(body.count, 110.0))


def test_a_history_knows_its_cost():
    history = transient(cooled_ring(), 20.0, 3.0, 0.1)
    assert isinstance(history, HeatHistory)
    assert history.steps > 5
    assert history.solves > 3 * history.steps
