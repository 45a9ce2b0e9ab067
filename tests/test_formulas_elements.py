"""Elements on one brick, one tetrahedron and one ring: uniform strains give Hooke's stress, energies are volumes times."""

from __future__ import annotations

import math

import numpy as np
import pytest

from headjoint.cases.elements import axisymmetric, solid
from headjoint.cases.elements.axisymmetric import axial_pressure_load, facet_row
from headjoint.meshes.solid.hexahedra import ABOVE
from headjoint.meshes.solid.tetrahedra import EDGES
from headjoint.model.heat.transfer import properties
from validation.elasticity import body_of, grid
from validation.heat_bodies import cuboid

# E = 2600 MPa, nu = 0.3: lambda = 1500, mu = 1000 MPa
E, NU, LAME, SHEAR = 2600.0, 0.3, 1500.0, 1000.0


def test_hooke_s_law_in_both_orders_of_strain():
    flat = axisymmetric.isotropic_stiffness(np.array([E]), np.array([NU]))[0]
    assert flat == pytest.approx(
        np.array([[3500, 1500, 1500, 0], [1500, 3500, 1500, 0], [1500, 1500, 3500, 0], [0, 0, 0, 1000]])
    )
    space = solid.isotropic_stiffness(np.array([E]), np.array([NU]))[0]
    assert space[:3, :3] == pytest.approx(flat[:3, :3])
    assert space[3:, 3:] == pytest.approx(1000.0 * np.eye(3))


# --- a ring of 2 to 4 mm radius and 3 mm height: volume 36 pi


def a_ring():
    return body_of(grid(np.linspace(2.0, 4.0, 2), np.linspace(0.0, 3.0, 3)), E, NU)


def test_a_ring_s_stiffness_gives_twice_the_energy_of_uniform_strains():
    body = a_ring()
    r, z = body.basis.doflocs
    K = body.matrix(body.element_stiffness())
    assert body.weight.sum() == pytest.approx(36 * math.pi)
    for along_r, along_z, twice_density in (
        (r, 0.0 * r, 2 * (LAME + 2 * SHEAR) + 2 * LAME),  # rr = tt = 1: 3500 + 3500 + 2 x 1500
        (0.0 * r, z, LAME + 2 * SHEAR),
        (0.0 * r, r, SHEAR),  # rz = 1
    ):
        u = np.zeros(body.unknowns)
        u[::2], u[1::2] = along_r, along_z
        assert u @ K @ u == pytest.approx(36 * math.pi * twice_density)


def test_a_ring_s_stress_is_hooke_s_less_what_expands_freely():
    body = a_ring()
    r, z = body.basis.doflocs
    u = np.zeros(body.unknowns)
    u[::2], u[1::2] = 1e-3 * r, 2e-3 * z + 5e-3 * r
    # strains 1, 2, 1 and a shear of 5 thousandths; 0.5 thousandths are free
    stress = body.stress(u, np.full(2, 0.5e-3))[0, 0]
    assert stress == pytest.approx([0.5 * 2 + 1.5 * 2.5, 1.5 * 2 + 1.5 * 2.5, 0.5 * 2 + 1.5 * 2.5, 5.0])
    # a free strain of 2e-3 loads the body as its volume times (3 lambda + 2 mu) times the strain of the field
    load = body.vector(body.element_thermal_load(2e-3))
    assert load @ u == pytest.approx(36 * math.pi * 2e-3 * (3 * LAME + 2 * SHEAR) * (1 + 2 + 1) * 1e-3)


def test_a_ring_s_faces_have_their_areas_and_take_pressure_upwards():
    body = a_ring()
    mesh = body.basis.mesh
    top = np.flatnonzero((np.abs(mesh.p[1][mesh.facets] - 3.0) < 1e-9).all(axis=0))
    row = facet_row(body.basis, top)
    assert row.weight.sum() == pytest.approx(12 * math.pi)
    assert np.sum(row.weight * row.radius) == pytest.approx(2 * math.pi / 3 * (64 - 8))
    assert body.basis.doflocs[0][row.nodes] == pytest.approx(np.array([[2.0, 4.0, 3.0]]))
    load = axial_pressure_load(body.basis, top, body.unknowns)
    assert (load[::2].sum(), load[1::2].sum()) == pytest.approx((0.0, 12 * math.pi))
    assert load[1::2] @ body.basis.doflocs[0] == pytest.approx(2 * math.pi / 3 * 56)


# --- a brick of 2 x 3 x 4 mm in two, and a straight tetrahedron with legs of 2, 3 and 4 mm


def brick() -> solid.SolidBody:
    body = cuboid(np.array([0.0, 1.2, 2.0]), np.array([0.0, 3.0]), np.array([0.0, 4.0]), properties(1.0, 1.0, 1.0))
    return solid.SolidBody(body.places, body.cells, solid.isotropic_stiffness(np.full(2, E), np.full(2, NU)))


def tetrahedron() -> solid.SolidBody:
    corners = np.array([[0.0, 0, 0], [2, 0, 0], [0, 3, 0], [0, 0, 4]]).T
    points = np.hstack([corners, np.column_stack([(corners[:, a] + corners[:, b]) / 2 for a, b in EDGES])])
    return solid.SolidBody(points, np.arange(10)[:, None], solid.isotropic_stiffness(np.array([E]), np.array([NU])))


BODIES = pytest.mark.parametrize(("make", "volume"), [(brick, 24.0), (tetrahedron, 4.0)])


def field(body: solid.SolidBody, gradient: np.ndarray) -> np.ndarray:
    return (gradient @ body.points).T.ravel()


@BODIES
def test_a_solid_s_stiffness_gives_twice_the_energy_of_uniform_strains(make, volume):
    body = make()
    K, _ = body.stiffness_and_free_strain()
    for entry, twice_density in (((0, 0), 3500.0), ((1, 1), 3500.0), ((2, 2), 3500.0), ((0, 1), 1000.0),
                                 ((1, 2), 1000.0), ((2, 0), 1000.0)):  # fmt: skip
        gradient = np.zeros((3, 3))
        gradient[entry] = 1.0
        u = field(body, gradient)
        assert u @ K @ u == pytest.approx(volume * twice_density)
    turned = field(body, np.array([[0.0, -1.0, 2.0], [1.0, 0.0, -3.0], [-2.0, 3.0, 0.0]]))
    assert np.abs(K @ turned).max() < 1e-9 * np.abs(K).max()


@BODIES
def test_a_solid_s_stress_is_hooke_s_less_what_expands_freely(make, volume):
    body = make()
    gradient = np.array([[1.0, 4.0, 0.0], [0.0, 2.0, 5.0], [6.0, 0.0, 3.0]]) * 1e-3
    none = np.zeros((len(body.cells), body.cells.shape[1]))
    stress = body.stress(field(body, gradient), np.full(body.cells.shape[1], 0.5e-3), none)
    # lambda x 4.5e-3 + 2 mu x (0.5, 1.5, 2.5)e-3; shears xy 4, yz 5, zx 6 thousandths
    assert stress[0, 0] == pytest.approx([7.75, 9.75, 11.75, 4.0, 5.0, 6.0])
    _, load = body.stiffness_and_free_strain()
    assert body.vector(load) @ field(body, gradient) == pytest.approx(volume * (3 * LAME + 2 * SHEAR) * 6e-3)


@BODIES
def test_a_travel_is_a_vertical_strain_over_the_free_length(make, volume):
    body = make()
    all_of_it = np.arange(body.cells.shape[1])
    travel = body.points[2, body.cells] / 4.0  # from 0 at the foot to 1 at 4 mm: a strain of 1/4
    force, stiffness = body.travel_load(all_of_it, travel)
    assert stiffness == pytest.approx(volume / 16 * 3500.0)
    # against a field that strains by 1e-3 in z: volume x 3500/4 x 1e-3
    gradient = np.zeros((3, 3))
    gradient[2, 2] = 1e-3
    assert force @ field(body, gradient) == pytest.approx(volume * 3500.0 / 4 * 1e-3)
    stress = body.stress(np.zeros(body.unknowns), np.zeros(len(all_of_it)), -0.01 * travel)
    assert stress[0, 0, :3] == pytest.approx([-1500 * 0.0025, -1500 * 0.0025, -3500 * 0.0025])


@BODIES
def test_points_of_a_solid_lie_in_it_and_weigh_its_volume(make, volume):
    places, weight = make().places()
    assert weight.sum() == pytest.approx(volume)
    # the middle of the brick, the quarter point of the tetrahedron
    middle = np.einsum("dmq,mq->d", places, weight) / volume
    assert middle == pytest.approx([1.0, 1.5, 2.0] if volume == 24.0 else [0.5, 0.75, 1.0])


def test_faces_have_their_areas_by_either_rule():
    body = brick()
    top = body.cells[ABOVE]
    for even in (None, 4):
        found = solid.face_points(body.points, top, even)
        assert found.weight.sum() == pytest.approx(6.0)
        assert np.abs(found.area[2]).sum() == pytest.approx(6.0)
        assert np.sum(found.places[0] * found.weight) == pytest.approx(6.0)  # the middle is at x = 1
    # the point rule is exact for squares, the even one of four points is a little low: 4/3 (1 - 1/16)
    exact, rough = (solid.face_points(body.points, top[:, :1], even) for even in (None, 4))
    assert np.sum(exact.places[1] ** 2 * exact.weight) == pytest.approx(1.2 * 9.0)
    assert np.sum(rough.places[1] ** 2 * rough.weight) == pytest.approx(1.2 * (9.0 - 27.0 / 12 / 16))
    slant = tetrahedron()
    # the face opposite to the origin: half of |(-2, 3, 0) x (-2, 0, 4)| = half of |(12, 8, 6)|
    corners = [1, 2, 3]
    middles = [4 + [set(map(int, edge)) for edge in EDGES].index({a, b}) for a, b in ((1, 2), (2, 3), (3, 1))]
    face = np.array([*corners, *middles])[:, None]
    for even in (None, 4):
        found = solid.face_points(slant.points, face, even)
        assert found.weight.sum() == pytest.approx(math.sqrt(144 + 64 + 36) / 2)
        assert np.abs(found.area.sum(axis=(1, 2))) == pytest.approx([6.0, 4.0, 3.0])
