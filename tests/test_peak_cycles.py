"""Peak pressure from cycle to cycle: the greatest of many cycles, and where joints meet it."""

import math

import numpy as np
import pytest

from headjoint.model.base.errors import InputError
from headjoint.model.peak_cycles import PeakCycles, peak_words
from headjoint.model.reading.reading import read_joint
from tests.conftest import shipped_text

STEEL = shipped_text("boosted-four-steel")
KNOCK = PeakCycles(0.08, 1e6, 0.01, 0.2)


def stated(tmp_path, more: str):
    path = tmp_path / "joint.toml"
    path.write_text(STEEL.replace("[gas]\n", f"[gas]\npeaks = {more}\n", 1))
    return read_joint(path)


def test_the_greatest_of_a_million_normal_peaks_lies_4_83_deviations_above_the_mean():
    # 1 - 0.5^(1e-6) = 6.9315e-7, and tables of the normal distribution give Q(4.8280) = 6.9e-7:
    # Q(z) ~ exp(-z^2/2)/(z sqrt(2 pi)) (1 - 1/z^2 + 3/z^4) = 8.668e-6/12.102 * 0.9626 = 6.895e-7 at z = 4.828
    assert PeakCycles(0.08, 1e6).greatest() == pytest.approx(1.0 + 0.08 * 4.827, abs=1e-4)


def test_the_greatest_of_one_cycle_is_the_mean():
    assert PeakCycles(0.1, 1).greatest() == pytest.approx(1.0)


def test_the_median_of_the_greatest_of_two_has_a_chance_of_root_half():
    # F^2 = 1/2, F = 0.70711: tables give z = 0.5450
    assert PeakCycles(0.1, 2).greatest() == pytest.approx(1.0545, abs=1e-4)


def test_knock_lengthens_the_tail_as_drawn_peaks_do():
    random = np.random.default_rng(7)
    peaks = 1.0 + 0.08 * random.standard_normal(4_000_000)
    knocks = random.random(peaks.size) < 0.01
    peaks[knocks] += random.exponential(0.2, int(knocks.sum()))
    for over in (0.1, 0.3, 0.6):
        share = float((peaks > 1.0 + over).mean())
        # five standard deviations of a counted share
        assert KNOCK.beyond(over) == pytest.approx(share, abs=5.0 * math.sqrt(share / peaks.size))


def test_far_out_the_tail_of_knock_is_exponential():
    # share s exp(v^2/2r^2 - y/r) with s = 0.01, v/r = 0.4: at y = 2 it is 0.01 exp(0.08 - 10) = 4.918e-7
    assert KNOCK.beyond(2.0) == pytest.approx(4.918e-7, rel=1e-3)


def test_a_joint_is_judged_at_the_greatest_peak_in_load_cases_history_and_heat(tmp_path):
    joint = stated(tmp_path, "{ variation = 0.08 }")
    (tmp_path / "plain.toml").write_text(STEEL)
    before = read_joint(tmp_path / "plain.toml")
    factor = 1.0 + 0.08 * 4.827
    for one, other in zip(joint.load_cases, before.load_cases, strict=True):
        assert one.gas_pressure == pytest.approx(factor * other.gas_pressure, rel=1e-4)
        assert one.gas_force == pytest.approx(factor * other.gas_force, rel=1e-4)
    assert max(joint.heat.gas_pressure.values) == pytest.approx(factor * max(before.heat.gas_pressure.values), rel=1e-4)
    assert joint.heat.gas_film == before.heat.gas_film


def test_a_file_that_says_nothing_takes_its_peak_as_the_greatest():
    assert "taken as the greatest" in peak_words(None)
    assert "1.386 times" in peak_words(PeakCycles(0.08, 1e6))


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ("{ variation = 0.08, knock_share = 0.01 }", "needs both"),
        ("{ variation = 0.08, knock_share = 0.01, knock_rise = 0.001 }", "at least 0.1 times"),
    ],
)
def test_knock_stated_by_half_is_refused(tmp_path, more, said):
    with pytest.raises(InputError, match=said):
        stated(tmp_path, more)
