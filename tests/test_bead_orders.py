"""A bead's elements and steps err as theory says, on meshes and in steps few enough to be quick."""

from __future__ import annotations

import pytest

from validation.bead_orders import CASES, ELEMENTS, STEPS, errors, order, step_errors


@pytest.mark.parametrize("name", list(CASES))
def test_displacement_of_a_bead_s_elements_is_found_to_the_third_power_of_their_size(name):
    found = errors(name, (2, 4))
    assert found[-1] < 5e-5  # mm, of 0.2 mm
    assert order(found) > ELEMENTS - 0.05


def test_stress_of_turning_strain_comes_as_near_to_the_rate_equations_as_steps_are_short():
    assert order(step_errors((20, 40))) == pytest.approx(STEPS, abs=0.05)
