"""The shipped bolt that is turned past yield: what the trade says of such bolts holds together, and its own keys."""

import dataclasses
import math

import pytest

from headjoint.cases.command.stated_files import shipped_joints
from headjoint.cases.condensed.condensation import condense, full_model
from headjoint.meshes.one_fastener.single_stud import build
from headjoint.model.base.errors import InputError
from headjoint.model.formulas.turning import untwisted
from headjoint.model.library.plasticity import relaxation_range
from headjoint.model.reading.reading import read_joint
from tests.conftest import shipped_text
from validation.bolt_fit import BOLT, INPUTS, OBSERVATIONS, finite_elements, flow_curve, observed, with_inputs
from validation.trade_curves import clamped_share, gained_again

TEXT = shipped_text(BOLT)


@pytest.fixture(scope="module")
def joint():
    return read_joint(shipped_joints()[BOLT])


@pytest.fixture(scope="module")
def shown(joint):
    return observed(finite_elements(joint, condense(joint, full_model(joint, build(joint)))))


@pytest.mark.parametrize("name", list(OBSERVATIONS))
def test_every_observation_holds_in_its_band(shown, name):
    said = OBSERVATIONS[name]
    assert said.low <= shown[name] <= said.high, said.said


def test_the_torque_is_that_of_its_friction_and_clamp(joint, shown):
    # M12x1.5 at 0.248: d2 = 11.026, tan phi = 1.5/(pi 11.026) = 0.04330, tan rho' = 0.248/0.86603 = 0.28637;
    # 5.513 x (0.32967/0.98760) = 1.8403; D_Km = (12 + 19)/2 = 15.5: 7.75 x 0.248 = 1.9220; in all 3.7623 mm
    clamp = shown["share"] * 1050.0 * math.pi / 4.0 * 10.0**2
    assert shown["torque"] == pytest.approx(3.7623e-3 * clamp, rel=1e-3)


def test_the_shipped_inputs_lie_in_their_ranges(joint):
    fastener, tight = joint.fastener, joint.tightening
    stated = {
        "friction": tight.thread_friction,
        "dry": joint.ageing.dry_friction,
        "torsion": joint.ageing.torsion_left,
        "hot": fastener.flow.hot(118.0),
        "proof": fastener.flow.proof.at(20.0),
        "ultimate": fastener.ultimate_strength,
        "plateau": fastener.flow.strains[3],
        "relaxation": fastener.relaxation.loss_1000h / 4.0,
        "embedding": tight.embedding,
    }
    assert tight.bearing_friction == tight.thread_friction
    for name, value in stated.items():
        assert INPUTS[name].low - 1e-9 <= value <= INPUTS[name].high + 1e-9, name
    # the file and the fit mean the same bolt
    again = with_inputs(joint, stated)
    assert again.fastener.flow.stresses == pytest.approx(fastener.flow.stresses, rel=2e-3)


def test_a_steel_that_hardens_evenly_cannot_have_both_sayings(joint):
    # R_p/R_m = 0.9: n = ln(40)/ln(1/0.9) = 35.01, (0.009/0.002)^(1/n) = 1.0439; tau/sigma = 3 arm/d = 3 x 1.8403/10 =
    # 0.5521 at friction 0.248: sqrt(1 + 3 x 0.3048) = 1.3837; 0.9 x 1.0439/1.3837 = 0.6790
    assert clamped_share(joint, 0.9, 0.248) == pytest.approx(0.6790, rel=1e-3)
    assert gained_again(0.9) == pytest.approx(2.0 ** (1.0 / 35.01) - 1.0, rel=1e-3)
    for ratio in (0.55, 0.6, 0.7, 0.8, 0.9, 0.95):
        met = [
            OBSERVATIONS["share"].holds(clamped_share(joint, ratio, 0.25)),
            OBSERVATIONS["again"].holds(gained_again(ratio)),
        ]
        assert not all(met)


def test_all_torsion_springs_out_of_a_plain_shank_by_its_own_twist(joint):
    # 20 N.m: M l/(G J), G = 205e3/2.6 = 78846 MPa. Shank 81.75 x 10: J = 981.75; thread 22 + 6 mm of core d3 = 10.16:
    # J = 1046.1 -> 2e4/78846 x (81.75/981.75 + 28/1046.1) = 0.25366 x 0.11004 = 0.027913 rad
    assert untwisted(joint, 20e3) == pytest.approx(0.027913, rel=1e-3)


def test_strength_when_hot_is_the_stated_share(joint):
    assert joint.fastener.flow.hot(118.0) == pytest.approx(0.94)
    assert joint.fastener.yield_strength.at(118.0) == pytest.approx(0.94 * 595.0)
    # between rows: 0.94 - (159 - 118)/(200 - 118) x 0.05
    assert joint.fastener.flow.hot(159.0) == pytest.approx(0.915)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (("hot = [1.0, 0.94, 0.89]", "hot = [1.0, 0.94]"), "as many values"),
        (("hot = [1.0, 0.94, 0.89]", "hot = [0.98, 0.94, 0.89]"), "starts with 1"),
        (('["20 degC", "118 degC", "200 degC"]', '["20 degC", "200 degC", "118 degC"]'), "must rise"),
    ],
)
def test_strength_when_hot_is_refused_where_its_rows_make_no_sense(tmp_path, change, said):
    path = tmp_path / "joint.toml"
    path.write_text(TEXT.replace(*change))
    with pytest.raises(InputError, match=said):
        read_joint(path)


def test_the_curve_of_the_fit_goes_through_its_inputs():
    curve = flow_curve(600.0, 1000.0, 0.02, 0.95)
    assert curve.stresses[2] == 600.0
    assert curve.stresses[-1] == 1000.0
    assert curve.strains[3] == 0.02
    assert curve.hot(118.0) == pytest.approx(0.95)


def test_relaxation_is_known_to_a_factor_that_grows_beyond_the_tests():
    assert relaxation_range(0.6) == pytest.approx(2.0)
    assert relaxation_range(0.8) == pytest.approx(2.0)
    # half way to 0.95: 2^1.5
    assert relaxation_range(0.875) == pytest.approx(2.8284, rel=1e-4)
    assert relaxation_range(0.99) == pytest.approx(4.0)


def test_more_torsion_kept_leaves_less_room_when_hot(joint):
    reduced = condense(joint, full_model(joint, build(joint)))
    more = dataclasses.replace(joint, ageing=dataclasses.replace(joint.ageing, torsion_left=0.7))
    kept, lost = observed(finite_elements(joint, reduced)), observed(finite_elements(more, reduced))
    assert lost["hot"] < kept["hot"]
    assert lost["struck"] < kept["struck"]
