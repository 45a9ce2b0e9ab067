"""The axisymmetric element: rates, patch, rigid motion, free expansion."""

from __future__ import annotations

import math

import numpy as np
import pytest

from validation.elasticity import body_of, grid, radial_pressure, solved, unknowns_at


def test_the_bore_of_a_thick_cylinder_converges_at_the_rate_of_quadratic_elements():
    # Lame, held ends: u(r) = C1 r + C2/r
    a, b, p, E, nu = 100.0, 200.0, 60.0, 210e3, 0.3
    C1 = (1 + nu) * (1 - 2 * nu) / E * p * a**2 / (b**2 - a**2)
    C2 = (1 + nu) / E * p * a**2 * b**2 / (b**2 - a**2)
    errors = []
    for count in (2, 4, 8):
        body = body_of(grid(np.linspace(a, b, count + 1), np.linspace(0.0, 20.0, 2)), E, nu)
        ends = unknowns_at(body, 1, lambda r, z: (z < 1e-9) | (z > 20.0 - 1e-9))
        displacement = solved(body, p * radial_pressure(body, a), ends)
        r = body.basis.global_coordinates()[0]
        field = body.basis.interpolate(displacement[::2])
        errors.append(math.sqrt(float(np.sum(body.weight * (field - C1 * r - C2 / r) ** 2))))
    rates = [math.log2(coarse / fine) for coarse, fine in zip(errors, errors[1:], strict=False)]
    assert min(rates) > 2.7


def test_uniform_strain_is_met_exactly_on_an_uneven_mesh():
    body = body_of(grid(np.array([5.0, 6.0, 9.0, 9.5]), np.array([0.0, 0.3, 4.0])), 1000.0, 0.3)
    r, z = body.basis.doflocs
    displacement = np.zeros(body.unknowns)
    displacement[::2], displacement[1::2] = 1e-3 * r, -2e-3 * z
    stress = body.stress(displacement, np.zeros(body.D.shape[0]))
    assert np.ptp(stress, axis=(0, 1)) == pytest.approx(0.0, abs=1e-12)


def test_a_rigid_shift_along_the_axis_costs_nothing():
    body = body_of(grid(np.linspace(0.0, 4.0, 4), np.linspace(0.0, 3.0, 3)), 1000.0, 0.3)
    shift = np.zeros(body.unknowns)
    shift[1::2] = 1.0
    assert np.abs(body.matrix(body.element_stiffness()) @ shift).max() < 1e-9


def test_free_expansion_leaves_no_stress():
    body = body_of(grid(np.linspace(0.0, 4.0, 4), np.linspace(0.0, 3.0, 3)), 1000.0, 0.3)
    load = body.vector(body.element_thermal_load(2e-3))
    held = np.concatenate([unknowns_at(body, 1, lambda r, z: z < 1e-9), unknowns_at(body, 0, lambda r, z: r < 1e-9)])
    displacement = solved(body, load, held)
    assert displacement[1::2] == pytest.approx(2e-3 * body.basis.doflocs[1], abs=1e-14)
    assert np.abs(body.stress(displacement, np.full(body.D.shape[0], 2e-3))).max() < 1e-11
