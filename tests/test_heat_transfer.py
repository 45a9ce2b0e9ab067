"""Formulas of heat transfer: rough contacts by pressure, films of the gas averaged over a cycle."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from headjoint.model.base.errors import InputError
from headjoint.model.heat.transfer import (
    FILM_UNIT,
    ZERO_CELSIUS,
    IdealCycle,
    RoughContact,
    film,
    gas_film,
    hohenberg,
    woschni,
)

LAPPED = RoughContact(
    roughness=1e-3,
    slope=0.1,
    hardness=2000.0,
    conductivity_lower=0.050,
    conductivity_upper=0.150,
    gap_conductivity=3e-5,
)
CYCLE = IdealCycle(86.0, 86.0, 10.0, 5000.0, 0.095, 60.0, 6.0)


def test_solid_spots_conduct_by_the_formula_worked_by_hand():
    # k_s = 75 W/(m K), m/sigma = 1e5 1/m, p/H = 0.01: 1.25 * 75 * 1e5 * 0.01^0.95 = 118 kW/(m2 K)
    assert LAPPED.spots(20.0) / FILM_UNIT == pytest.approx(1.25 * 75.0 * 1e5 * 0.0125893, rel=1e-5)


def test_more_pressure_conducts_more_and_none_leaves_the_gap():
    found = [LAPPED.conductance(pressure) for pressure in (0.0, 0.1, 1.0, 10.0, 100.0)]
    assert found == sorted(found)
    assert found[0] == LAPPED.gap(0.0) > 0.0
    assert LAPPED.gap(0.0, opening=0.1) == pytest.approx(3e-5 / 0.1, rel=0.06)
    assert replace(LAPPED, gap_conductivity=0.0).conductance(0.0) == 0.0


def test_a_rough_contact_that_cannot_be_is_refused():
    for field in ("roughness", "slope", "hardness", "conductivity_lower"):
        with pytest.raises(InputError, match="above 0"):
            replace(LAPPED, **{field: 0.0})
    with pytest.raises(InputError, match="0 or more"):
        replace(LAPPED, gap_conductivity=-1.0)


def test_the_ideal_cycle_meets_its_stated_pressures_and_the_gas_law():
    for angle in (-1.5 * math.pi, -1.0, -1e-9):
        p, T, motored = CYCLE.gas(angle)
        assert p == motored
    p, T, _ = CYCLE.gas(0.0)
    assert p == pytest.approx(6.0)
    V_1, T_1 = CYCLE.volume(math.pi), 60.0 + ZERO_CELSIUS
    for angle in (-2.0, -0.5, 0.0, 0.5, 2.0):
        p, T, _ = CYCLE.gas(angle)
        assert p * CYCLE.volume(angle) / T == pytest.approx(0.095 * V_1 / T_1)
    assert V_1 / CYCLE.volume(0.0) == pytest.approx(10.0)
    assert V_1 - CYCLE.volume(0.0) == pytest.approx(CYCLE.swept_volume)


def test_films_follow_their_formulas_worked_by_hand():
    # motored side, 60 degrees before top: no combustion term
    angle = -math.pi / 3.0
    p, T, _ = CYCLE.gas(angle)
    c_m = 2.0 * 0.086 * 5000.0 / 60.0
    by_woschni = 3.26 * 0.086**-0.2 * (1e3 * p) ** 0.8 * T**-0.55 * (2.28 * c_m) ** 0.8
    assert woschni(CYCLE, angle) / FILM_UNIT == pytest.approx(by_woschni)
    by_hohenberg = 130.0 * (CYCLE.volume(angle) * 1e-9) ** -0.06 * (10.0 * p) ** 0.8 * T**-0.4 * (c_m + 1.4) ** 0.8
    assert hohenberg(CYCLE, angle) / FILM_UNIT == pytest.approx(by_hohenberg)


@pytest.mark.parametrize("law", ["woschni", "hohenberg"])
def test_load_and_speed_raise_the_film_and_steps_do_not_matter(law):
    side = gas_film(CYCLE, law)
    assert gas_film(replace(CYCLE, speed=6000.0), law).coefficient > side.coefficient
    assert gas_film(replace(CYCLE, intake_pressure=0.15, peak_pressure=9.5), law).coefficient > side.coefficient
    finer = gas_film(CYCLE, law, steps=14400)
    assert side.coefficient == pytest.approx(finer.coefficient, rel=1e-4)
    assert side.temperature == pytest.approx(finer.temperature, rel=1e-4)


def test_a_cycle_that_cannot_be_is_refused():
    with pytest.raises(InputError, match="at least that of compression"):
        replace(CYCLE, peak_pressure=1.0)
    with pytest.raises(InputError, match="compression ratio"):
        replace(CYCLE, compression_ratio=1.0)
    with pytest.raises(InputError, match="woschni, hohenberg"):
        gas_film(CYCLE, "guess")
    with pytest.raises(InputError, match="0 or more"):
        film(math.nan)
