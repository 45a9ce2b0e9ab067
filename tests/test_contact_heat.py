"""Heat across gasket, bearing faces and the gap round the shank: more with pressure, less where they stand open."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from conftest import shipped_text

from headjoint.model.base.errors import InputError
from headjoint.model.formulas.contact_heat import conductance_of_bearing, conductance_of_gasket, shank_gap_conductance
from headjoint.model.heat.transfer import FILM_UNIT, RoughContact
from headjoint.model.library.materials import material
from headjoint.model.reading.reading import parse_joint

STEEL = shipped_text("boosted-four-steel")
PRESSURE = np.array([-1.0, 0.0, 1e-4, 0.1, 5.0, 60.0, 400.0])
OPENING = np.array([0.2, 0.01, 0.0, 0.0, 0.0, 0.0, 0.0])
FACES = """
[heat.bearing_faces]
roughness = "1.5 um"
slope = 0.12
hardness = "900 MPa"
gap_conductivity = "0.14 W/mK"
[heat.gasket_faces]
roughness = "3 um"
slope = 0.2
hardness = "300 MPa"
gap_conductivity = "0.03 W/mK"
jump_distance = "0.4 um"
body_conductivity = "2 W/mK"
"""


def joint_with(heat: str = ""):
    return parse_joint(f"{STEEL}\n{heat}")


def test_bearing_faces_conduct_as_the_scalar_reference_says():
    steel, aluminium = material("AISI 8740"), material("EN AC-42100")
    law = conductance_of_bearing(joint_with(FACES), aluminium, steel)
    k_1, k_2 = (1e-3 * one.conductivity.at(100.0) for one in (aluminium, steel))
    reference = RoughContact(1.5e-3, 0.12, 900.0, k_1, k_2, 0.14e-3)
    expected = [reference.conductance(float(p), float(gap)) for p, gap in zip(PRESSURE, OPENING, strict=True)]
    assert law.conductance(PRESSURE, OPENING) == pytest.approx(expected, rel=1e-12)


def test_a_gasket_is_its_lower_face_its_body_and_its_upper_face_in_series():
    joint = joint_with(FACES)
    iron, aluminium = (1e-3 * part.material.conductivity.at(100.0) for part in (joint.block, joint.head))
    lower = RoughContact(3e-3, 0.2, 300.0, iron, 2e-3, 0.03e-3, 4e-4)
    upper = dataclasses.replace(lower, conductivity_lower=2e-3, conductivity_upper=aluminium)
    body = 2e-3 / joint.gasket.thickness
    expected = [
        1.0 / (1.0 / lower.conductance(float(p)) + 1.0 / body + 1.0 / upper.conductance(float(p), float(gap)))
        for p, gap in zip(PRESSURE, OPENING, strict=True)
    ]
    assert conductance_of_gasket(joint).conductance(PRESSURE, OPENING) == pytest.approx(expected, rel=1e-12)


def test_typical_faces_conduct_some_kilowatts_per_square_metre_and_more_where_pressed():
    joint = joint_with()
    still = np.zeros(4)
    gasket = conductance_of_gasket(joint).conductance(np.array([0.0, 5.0, 50.0, 200.0]), still) / FILM_UNIT
    bearing = conductance_of_bearing(joint, joint.head.material, joint.seat.material).conductance(
        np.array([0.0, 5.0, 50.0, 200.0]), still
    )
    assert (np.diff(gasket) > 0.0).all()
    assert (np.diff(bearing) > 0.0).all()
    assert 1e3 < gasket[0] < gasket[-1] < 5.0 / 0.75e-3  # never more than the body alone
    assert bearing[-1] > 0.1


def test_without_anything_in_the_gaps_faces_that_do_not_touch_pass_nothing():
    joint = joint_with("[heat]\ngasket_faces = { gap_conductivity = 0 }\nbearing_faces = { gap_conductivity = 0 }")
    nothing = np.zeros(3)
    assert (conductance_of_gasket(joint).conductance(nothing, nothing) == 0.0).all()
    assert (
        conductance_of_bearing(joint, joint.head.material, joint.seat.material).conductance(nothing, nothing) == 0.0
    ).all()


def test_a_stated_conductance_holds_at_every_pressure():
    joint = joint_with('[heat]\ngasket_conductance = "5000 W/m2K"\nbearing_conductance = 2e4')
    assert conductance_of_gasket(joint).conductance(PRESSURE, OPENING) == pytest.approx(np.full(7, 5e-3))
    assert conductance_of_bearing(joint, joint.head.material, joint.seat.material).conductance(PRESSURE, OPENING)[
        0
    ] == pytest.approx(2e-2)


def test_the_gap_round_the_shank_conducts_as_a_hollow_cylinder():
    # 0.03 W/(m K), 11 mm in 12 mm: 2 pi k/ln(12/11) per length over 2 pi r_s = 0.03/(5.5e-3 * 0.087011) = 62.7 W/(m2 K)
    found = shank_gap_conductance(0.03e-3, np.array([5.5, 5.5]), np.array([6.0, 60.0]))
    assert found[0] / FILM_UNIT == pytest.approx(0.03 / (5.5e-3 * math.log(12 / 11)))
    assert found[0] / FILM_UNIT == pytest.approx(62.7, abs=0.05)
    assert found[1] < found[0]
    with pytest.raises(InputError, match="larger than the shank"):
        shank_gap_conductance(0.03e-3, 6.0, 6.0)


@pytest.mark.parametrize(
    ("stated", "conductivity"),
    [("", 0.03e-3), ('"oil"', 0.13e-3), ('"none"', 0.0), ('"0.6 W/mK"', 0.6e-3), ("0.2", 0.2e-3)],
)
def test_what_fills_the_gap_is_named_or_stated(stated, conductivity):
    assert joint_with(f"[heat]\nshank_gap = {stated}" if stated else "").heat.shank_gap == pytest.approx(conductivity)


@pytest.mark.parametrize(
    ("heat", "place", "problem"),
    [
        ('gasket_conductance = 5000\ngasket_faces = { slope = 0.1 }', "heat.gasket_conductance", "not both"),
        ('bearing_conductance = 5000\nbearing_faces = { slope = 0.1 }', "heat.bearing_conductance", "not both"),
        ('bearing_faces = { slop = 0.1 }', "heat.bearing_faces.slop", "did you mean 'slope'"),
        ('bearing_faces = { body_conductivity = 1 }', "heat.bearing_faces.body_conductivity", "unknown key"),
        ('gasket_faces = { roughness = "0 um" }', "heat.gasket_faces.roughness", "greater than 0"),
        ('gasket_faces = { hardness = "-1 GPa" }', "heat.gasket_faces.hardness", "greater than 0"),
        ('gasket_faces = { body_conductivity = "-1 W/mK" }', "heat.gasket_faces.body_conductivity", "greater than 0"),
        ('shank_gap = "water"', "heat.shank_gap", "'none', 'air', 'oil', or a conductivity"),
        ('shank_gap = "-1 W/mK"', "heat.shank_gap", "at least 0"),
        ('gasket_conductance = "-1 W/m2K"', "heat.gasket_conductance", "at least 0"),
    ],
)  # fmt: skip
def test_faces_that_cannot_be_are_refused_by_name(heat, place, problem):
    with pytest.raises(InputError, match=problem) as caught:
        joint_with(f"[heat]\n{heat}")
    assert caught.value.field == place


def test_a_material_of_unknown_conductivity_is_named():
    bare = joint_with().head.material
    unknown = dataclasses.replace(bare, name="a bare metal", conductivity=None)
    with pytest.raises(InputError, match="conductivity of a bare metal is not known"):
        conductance_of_bearing(joint_with(), unknown, bare)
