"""A name mistyped is met with the one that was meant."""

import pytest

from headjoint.model.base.errors import nearest
from headjoint.model.files.joint_file import BlockTable, TighteningTable
from headjoint.model.gasket import shipped_laws
from headjoint.model.library import materials
from headjoint.model.library.tightening import TIGHTENING_FACTORS
from headjoint.model.rig.log import CHANNELS, STEPS

LISTS = {"laws": list(shipped_laws.library()), "steps": list(STEPS), "channels": list(CHANNELS)}


def slips(name: str) -> set[str]:
    """Every name with one letter left out or two neighbours changed over."""
    left_out = {name[:at] + name[at + 1 :] for at in range(len(name))}
    changed_over = {name[:at] + name[at + 1] + name[at] + name[at + 2 :] for at in range(len(name) - 1)}
    return left_out | changed_over


@pytest.mark.parametrize(
    ("written", "names", "meant"),
    [
        ("tighen", STEPS, "tighten"),
        ("tihgten", STEPS, "tighten"),
        ("hlod", STEPS, "hold"),
        ("PULL", STEPS, "pull"),
        ("en-gjl-250", materials.library(), "EN-GJL-250"),
        ("ENGJL250", materials.library(), "EN-GJL-250"),
        ("aisi 8470", materials.library(), "AISI 8740"),
        ("temprature", CHANNELS, "temperature"),
        ("torque wrench tested", TIGHTENING_FACTORS, "torque wrench, tested on the joint"),
        ("steel bead multi-layer", shipped_laws.library(), "multi-layer steel bead"),
    ],
)
def test_the_name_that_was_meant_is_nearest(written, names, meant):
    assert nearest(written, names) == [meant]


@pytest.mark.parametrize(
    ("written", "table", "meant"),
    [
        ("torque [N.m]", TighteningTable, "torque"),
        ("torque_Nm", TighteningTable, "torque"),
        ("preload_kN", TighteningTable, "preload"),
        ("height_mm", BlockTable, "height"),
        ("counterbore_depth_mm", BlockTable, "counterbore_depth"),
        ("outer_diameter (mm)", BlockTable, "outer_diameter"),
    ],
)
def test_a_unit_written_into_a_key_does_not_hide_it(written, table, meant):
    assert nearest(written, table.__struct_fields__) == [meant]


@pytest.mark.parametrize("names", LISTS.values(), ids=LISTS)
def test_one_slip_of_the_fingers_never_leads_elsewhere(names):
    elsewhere = {(name, slip) for name in names for slip in slips(name) if nearest(slip, names) != [name]}
    assert not elsewhere


def test_the_best_comes_first_and_no_more_than_asked():
    names = ["fire deck", "firing", "hot", "assembly"]
    assert nearest("firign", names, limit=3)[0] == "firing"
    assert nearest("firing", names, limit=1) == ["firing"]


@pytest.mark.parametrize("nonsense", ["", "x", "qzw", "brzlpf"])
def test_what_looks_like_nothing_known_suggests_nothing(nonsense):
    assert nearest(nonsense, [*STEPS, *CHANNELS, *materials.library()]) == []
