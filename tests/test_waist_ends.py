"""What the guide's `service` page says of the ends of a waist is what `validation.waist_ends` finds."""

from __future__ import annotations

import dataclasses
import re

import pytest

from headjoint.cases.command.stated_files import shipped_files
from validation.waist_ends import STUDS, LeftOut, found, left_out
from validation.waisted_stud import Served, Stud

PAGE = " ".join(shipped_files("guide")["service"].read_text("utf-8").split())
SERVED = Served(
    first=70e3, stretch=1.0, hot=60e3, fired=65e3, run=55e3, cold=50e3, let_go=0.40, strain=0.010, again=1.5,
    longer=0.60, strain_again=0.015,
)  # fmt: skip


def test_figures_are_shares_above_the_solid_s_and_the_idle_end_is_what_growth_lacks_of_strain():
    # 50 mm at 1 % would grow by 0.5 mm: 0.1 mm less is 10 mm less, 5 mm or half a diameter at either end
    own = dataclasses.replace(SERVED, cold=48e3, let_go=0.44, strain=0.009, stretch=1.05)
    told = left_out(Stud(40.0, 50.0), own, SERVED)
    assert told.lost == pytest.approx(22.0 / 20.0 - 1.0)
    assert told.clamps == pytest.approx((0.0, 0.0, 0.0, -0.04))
    assert (told.longer[0], told.strain, told.elongation[0]) == pytest.approx((0.10, -0.10, 0.05))
    assert told.idle == pytest.approx((0.5, 0.5))


def studs(waist: float, hardening: float) -> list[LeftOut]:
    return [found(name) for name, one in STUDS.items() if (one.waist, one.hardening) == (waist, hardening)]


def percents(*shares: float, sign: str = "") -> str:
    """Return the least and the greatest of shares as the page writes them."""
    low, high = (round(100.0 * share) for share in (min(shares), max(shares)))
    return f"{sign}{low} to {sign}{high} %"


@pytest.mark.long  # ten services of a solid that flows: half a minute of processor time
def test_the_guide_tells_what_the_ends_of_a_waist_change():
    for hardening, words in ((5000.0, "at 5,000 MPa"), (1000.0, "at 1,000,"), (500.0, "at 500")):
        idle = [share for name, one in STUDS.items() if one.hardening == hardening for share in found(name).idle]
        assert f"{min(idle):.2f} to {max(idle):.2f} {words}" in PAGE
    sharp, fillet = studs(50.0, 5000.0)
    rows = {
        "clamp, hot, fired and cold again": [
            f"{100.0 * min(one.clamps):.1f} to {100.0 * max(one.clamps):.1f} %" for one in (sharp, fillet)
        ],
        "clamp lost to heat and gas": [f"{100.0 * one.lost:+.1f} %" for one in (sharp, fillet)],
        "longer for good": [percents(*one.longer, sign="+") for one in (sharp, fillet)],
        "elongation under a pull past yield": [
            f"+{100.0 * one.elongation[0]:.0f}, +{100.0 * one.elongation[1]:.0f} %" for one in (sharp, fillet)
        ],
        "strain half-way along, by heat": [f"{100.0 * one.strain:+.0f} %" for one in (sharp, fillet)],
    }
    for name, (without, rounded) in rows.items():
        assert re.search(rf"\| {re.escape(f'{name} | {without} | {rounded} |')}", PAGE), name
    assert max(share for name in STUDS for share in found(name).clamps) < 0.0  # no clamp is told too great
    assert max(abs(one.strain_again) for one in (sharp, fillet)) < 0.005
    for waist, hardening, words in (
        (30.0, 5000.0, "for a waist of three diameters"),
        (100.0, 5000.0, "for one of ten"),
        (50.0, 1000.0, "for one of five whose steel hardens by 1,000 MPa"),
        (50.0, 500.0, "where it hardens by 500"),
    ):
        assert f"by {percents(*(-one.strain for one in studs(waist, hardening)))} {words}" in PAGE
    growth = max(share for name in STUDS for share in found(name).longer)
    assert f"Growth is told too large then by up to {100.0 * growth:.0f} %" in PAGE
