"""An engaged thread gives once: what is meshed round it and what is put in series make VDI 2230's two terms together."""

import dataclasses

import numpy as np
import pytest
from conftest import joint_file, shipped_text

from headjoint.cases.condensed.condensation import condense, full_model
from headjoint.cases.condensed.reduced_joint import overlap_compliance
from headjoint.meshes.one_fastener.single_stud import build
from headjoint.model.formulas.resilience import BLOCK_LAYER, clamped_resilience, fastener_resilience
from headjoint.model.joint import Joint
from headjoint.model.reading.reading import read_joint

RIGID = 1e6  # times as stiff


def meshed(joint: Joint) -> float:
    """Compliance (mm/N) of a joint's meshed bodies, gasket and faces as good as rigid."""
    reduced = condense(joint, full_model(joint, build(joint)))
    slope = np.full(reduced.points, 1e7)
    return float(overlap_compliance(reduced, slope)[0, 0] - reduced.series_compliance[0])


def rigid(joint: Joint, *parts: str) -> Joint:
    for name in parts:
        part = getattr(joint, name)
        material = dataclasses.replace(part.material, E=part.material.E.times(RIGID))
        joint = dataclasses.replace(joint, **{name: dataclasses.replace(part, material=material)})
    return joint


def terms_of(joint: Joint, *starts: str) -> float:
    terms = (*fastener_resilience(joint), *clamped_resilience(joint))
    return sum(term.value for term in terms if term.name.startswith(starts))


@pytest.mark.parametrize("name", ["iron-diesel-steel", "yield-tightened-bolt"])
def test_core_block_and_teeth_of_a_tapped_hole_add_up_to_the_standard(name):
    joint = read_joint(joint_file(name))
    others = [part for part in ("seat", "washer", "head", "block") if getattr(joint, part) is not None]
    # with all else rigid the fastener shows its free lengths and the core in the hole
    core = meshed(rigid(joint, *others)) - terms_of(joint, "segment")
    # the block shows what it gives round the thread, and the layer beside the counterbore that is clamped
    block = meshed(joint) - meshed(rigid(joint, "block")) - terms_of(joint, BLOCK_LAYER)
    standard = terms_of(joint, "core in the block", "tapped thread")
    assert core + block + joint.fastener.meshed_compliance == pytest.approx(standard, rel=0.04)
    # with the whole tooth term in series it would be too soft
    assert core + block + joint.fastener.series_compliance > 1.06 * standard


def test_a_nut_and_its_core_give_as_the_standard_says():
    joint = read_joint(joint_file("boosted-four-steel"))
    cast = rigid(joint, "washer", "head", "block")
    both = meshed(rigid(cast, "seat")) - terms_of(joint, "segment")
    nut = meshed(joint) - meshed(rigid(joint, "seat"))
    standard = terms_of(joint, "core in the nut", "nut and its thread")
    assert joint.fastener.nut_teeth is not None
    # both ends have the same thread here, and half of the core each
    assert both / 2.0 + nut + joint.fastener.nut_teeth == pytest.approx(standard, rel=0.04)


def test_what_a_file_states_of_the_teeth_is_put_in_series_as_it_is(tmp_path):
    path = tmp_path / "joint.toml"
    text = shipped_text("iron-diesel-steel")
    path.write_text(text.replace("[fastener]\n", '[fastener]\nthread_compliance = "0.5 um/kN"\n', 1))
    fastener = read_joint(path).fastener
    assert fastener.meshed_compliance == fastener.series_compliance == pytest.approx(0.5e-6)
