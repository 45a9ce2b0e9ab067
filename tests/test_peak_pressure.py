"""Peak pressure from compression ratio, boost and ignition: by hand, within what burning can do, and safe in its range."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from headjoint.model.base.errors import InputError
from headjoint.model.formulas.peak_pressure import EXPONENTS, RISES, peak_pressure


def test_a_boosted_spark_engine_by_hand():
    # 1.9 bar absolute, ratio 9.5, spark 6 degrees later than for best torque:
    # ln 9.5 = 2.25129; r^1.31 = exp(2.94919) = 19.091; p_c = 0.19 * 19.091 = 3.6272 MPa
    # peak = 3.6272 * 2.9 * (1 - 6 * 0.03) = 3.6272 * 2.378 = 8.6255 MPa
    # least: 0.19 exp(1.28 * 2.25129) * 2.6 * (1 - 0.24) = 0.19 * 17.844 * 1.976 = 6.6995 MPa
    # most: 0.19 exp(1.34 * 2.25129) * 3.3 * (1 - 0.12) = 0.19 * 20.424 * 2.904 = 11.269 MPa
    found = peak_pressure(0.19, 9.5, "spark", 6.0)
    assert found.compression.likely == pytest.approx(3.6272, rel=1e-4)
    assert (found.peak.low, found.peak.likely, found.peak.high) == pytest.approx((6.6995, 8.6255, 11.269), rel=2e-4)


def test_a_boosted_diesel_by_hand():
    # 2.5 bar absolute, ratio 17: ln 17 = 2.83321; 0.25 exp(1.35 * 2.83321) = 0.25 * 45.825 = 11.456 MPa, times 1.45
    assert peak_pressure(0.25, 17.0, "compression").peak.likely == pytest.approx(16.611, rel=1e-4)


def test_no_spark_rises_further_than_burning_at_constant_volume():
    # mixture of 340 K compressed tenfold: 340 * 10^0.31 = 694 K; petrol burnt with just enough air gives 2.75 MJ per kg
    # of mixture, which at c_v = 1.0 kJ/(kg K) of hot burnt gas (from memory, medium confidence) is 2750 K more:
    # p3/p2 = T3/T2 = (694 + 2750)/694 = 4.96. Real burning takes time while the piston moves away
    assert RISES["spark"].high < (694.0 + 2750.0) / 694.0


def test_compression_stays_below_that_without_heat_loss():
    # air without heat loss has n = 1.4 when cold and less when hot; every exponent used lies below
    assert all(1.2 < n.low < n.likely < n.high < 1.4 for n in EXPONENTS.values())


ratios, manifolds, degrees = st.floats(5.0, 25.0), st.floats(0.02, 0.7), st.floats(0.0, 15.0)


@given(ratios, manifolds, degrees)
def test_the_range_holds_the_likely_value_and_never_falls_below_compression(ratio, manifold, held_back):
    found = peak_pressure(manifold, ratio, "spark", held_back)
    assert found.peak.low < found.peak.likely < found.peak.high
    assert found.peak.low >= found.compression.low


@given(ratios, manifolds, st.floats(1.0, 3.0))
def test_peak_pressure_goes_with_absolute_manifold_pressure(ratio, manifold, more):
    if manifold * more <= 0.7:
        once, again = (peak_pressure(p, ratio, "compression").peak.likely for p in (manifold, manifold * more))
        assert again == pytest.approx(more * once)


@pytest.mark.parametrize(
    ("asked", "field"),
    [
        ((1.9, 9.5, "spark"), "manifold pressure"),
        ((0.19, 95.0, "spark"), "compression ratio"),
        ((0.19, 9.5, "spark", 40.0), "knock margin"),
        ((0.19, 17.0, "compression", 5.0), "knock margin"),
        ((math.nan, 9.5, "spark"), "manifold pressure"),
    ],
)
def test_what_no_engine_has_is_refused(asked, field):
    with pytest.raises(InputError) as caught:
        peak_pressure(*asked)
    assert caught.value.field == field
