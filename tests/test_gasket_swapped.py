"""A whole gasket, or a whole table, in place of the engine's own; and one stud of an engine in every study."""

from __future__ import annotations

import json
import subprocess
import sys
from itertools import pairwise
from pathlib import Path

import pytest
from conftest import joint_file, shipped_text

import headjoint
from headjoint.cases.command.new_file import new_engine
from headjoint.cases.command.stated_files import RETIRED, shipped_cells, shipped_joints
from headjoint.model.base.errors import InputError
from headjoint.model.gasket.shipped_gaskets import gaskets, shipped_gasket
from headjoint.model.gasket.shipped_laws import library
from headjoint.model.reading.overrides import changed
from headjoint.model.reading.reading import joint_of, parse_content
from headjoint.postproc.designs.outcome import source_of
from headjoint.postproc.studies.compare import Asked, candidates_of

ENGINE = parse_content(shipped_cells()["boosted-four"].read_text("utf-8"))
JOINT = parse_content(shipped_text("boosted-four-steel"))


def command(*arguments: str, folder: Path) -> subprocess.CompletedProcess[str]:
    whole = [sys.executable, "-m", "headjoint.cases.cli", *arguments]
    return subprocess.run(whole, cwd=folder, capture_output=True, text=True, timeout=300, check=False)


# --- whole gaskets


def test_every_shipped_gasket_names_shipped_laws_and_fits_outwards_from_the_bore():
    for one in gaskets().values():
        assert {one.body_law, *(ring.law for ring in one.rings)} <= set(library())
        edges = one.edges(86.0, 5.0)
        assert edges[0] == 86.0 + 2 * 0.15 * 5.0  # 0.15 of the band is left free beside the bore
        assert edges[-1] == 96.0  # the last ring ends with the band
        assert all(inner < outer for inner, outer in pairwise(edges))


def test_the_shipped_engine_has_the_gasket_of_its_kind():
    # 86 mm bore, rings to 96 mm: a band of 5 mm; stopper 87.5 to 91, bead 91 to 96
    swapped = joint_of(changed(ENGINE, {"gasket": "multi-layer steel"}))
    # the engine's bead has a law of its own, computed from its shape
    typical = joint_of(changed(ENGINE, {"gasket.rings[1].law": "multi-layer steel bead"}))
    assert swapped.zones == typical.zones
    assert swapped.joint.gasket == typical.joint.gasket


def test_a_gasket_by_name_fills_the_band_of_the_old_one_and_leaves_nothing_of_it():
    own = ENGINE | {"gasket": ENGINE["gasket"] | {"holes": [{"x": "24 mm", "y": "60 mm", "diameter": "8 mm"}]}}
    made = changed(own, {"gasket": "copper"})
    cell = joint_of(made)
    ring, body = cell.zones
    assert (ring.inner_diameter, ring.outer_diameter, ring.sealing) == (87.5, 96.0, True)
    assert ring.law.name == body.law.name == "solid copper"
    assert body.step == 0.0  # that of the steel body, 0.105 mm, is gone
    assert cell.joint.gasket.thickness == 1.1
    assert len(cell.holes) == 1  # coolant goes through every gasket
    assert "bead" not in json.dumps(made["gasket"])


def test_a_new_engine_has_the_gasket_that_a_swap_gives():
    facts = {"bores": "4", "bore": "86 mm", "pitch": "98 mm", "stud": "M11x1.25", "head": "aluminium", "across": "50 mm",
             "fire_deck": "14 mm", "torque": "103 N.m", "peak": "80 bar"}  # fmt: skip
    made = {name: parse_content(new_engine(facts | {"gasket": name}, "si", Path())[0])["gasket"] for name in gaskets()}
    steel = parse_content(new_engine(facts | {"gasket": "multi-layer steel"}, "si", Path())[0])
    for name, gasket in made.items():
        swapped = changed(steel, {"gasket": name})["gasket"]
        assert gasket["thickness"] == swapped["thickness"]
        assert gasket["body"] == swapped["body"]
        for one, other in zip(gasket["rings"], swapped["rings"], strict=True):
            assert one["law"] == other["law"]
            for end in ("inner_diameter", "outer_diameter"):  # a new file rounds to 0.05 mm
                assert float(one[end].split()[0]) == pytest.approx(float(other[end].split()[0]), abs=0.06)


def test_a_gasket_is_found_with_hyphens_and_a_slip_is_met_with_the_nearest():
    assert shipped_gasket("multi-layer-steel").name == "multi-layer steel"
    with pytest.raises(InputError, match="unknown gasket; nearest: composite"):
        shipped_gasket("compsite")
    with pytest.raises(InputError, match="a joint of one fastener has none"):
        changed(JOINT, {"gasket": "copper"})


# --- whole tables


def test_a_whole_table_takes_the_place_of_the_old_one_with_all_its_keys():
    turned = {"method": "torque and angle", "torque": "40 N.m", "angle": "60 deg"}
    made = changed(JOINT, {"tightening": turned})
    assert made["tightening"] == turned  # a key of the other method left over would be refused
    assert joint_of(made).tightening.method == "torque and angle"
    assert JOINT["tightening"]["method"] == "torque"  # the source is as it was


def test_a_key_is_changed_after_the_table_that_it_stands_in():
    turned = {"method": "torque", "torque": "40 N.m"}
    made = changed(JOINT, {"tightening.torque": "60 N.m", "tightening": turned})
    assert made["tightening"] == {"method": "torque", "torque": "60 N.m"}


def test_a_table_inside_a_table_and_an_entry_by_its_name_are_replaced_too():
    bead = {
        "name": "bead",
        "law": "solid copper",
        "inner_diameter": "91 mm",
        "outer_diameter": "96 mm",
        "sealing": True,
    }
    made = changed(ENGINE, {"gasket.body": {"law": "solid copper"}, "gasket.rings.bead": bead})
    assert made["gasket"]["body"] == {"law": "solid copper"}
    assert [ring["law"] for ring in made["gasket"]["rings"]] == ["multi-layer steel stopper", "solid copper"]


def test_a_key_that_only_variants_state_besides_is_still_found_by_its_last_name():
    assert "torque" in json.dumps(ENGINE["variants"])
    assert changed(ENGINE, {"torque": "60 N.m"})["tightening"]["torque"] == "60 N.m"


def test_a_table_that_the_file_cannot_have_is_refused():
    with pytest.raises(InputError, match="no such quantity in the file"):
        changed(JOINT, {"gaskt": {"thickness": "1 mm"}})
    with pytest.raises(InputError, match="angle"):
        joint_of(changed(JOINT, {"tightening": {"method": "torque", "torque": "40 N.m", "angle": "90 deg"}}))


# --- what is compared


def test_gaskets_asked_for_take_the_place_of_the_files_own_variants():
    source = source_of(shipped_cells()["boosted-four"])
    names = [one.name for one in candidates_of([source], Asked(gaskets=["multi-layer-steel", "copper"]))]
    assert names == ["as stated", "multi-layer steel gasket", "copper gasket"]
    assert "M10 stud" in [one.name for one in candidates_of([source], Asked())]
    with pytest.raises(InputError, match="--gasket: unknown gasket; nearest: copper"):
        candidates_of([source], Asked(gaskets=["coper"]))
    with pytest.raises(InputError, match="one fastener has none"):
        candidates_of([source_of(shipped_joints()["yield-tightened-bolt"])], Asked(gaskets=["copper"]))


def test_variants_of_a_shipped_engine_can_all_be_built():
    for name in ("boosted-four", "iron-diesel"):
        source = source_of(shipped_cells()[name])
        for one in candidates_of([source], Asked(gaskets=list(gaskets()))) + candidates_of(
            [source], Asked(["gas=1, 1.1"])
        ):
            source.design(one.changes)


# --- one stud of an engine in a study


def test_one_stud_of_an_engine_holds_in_no_study_and_says_what_it_does_not_see():
    compared = headjoint.compare(
        ["boosted-four"], ["torque=60, 75 lbf.ft"], gaskets=["copper"], model="stud", workers=1
    )
    outcomes = dict(
        zip((one.name for one in compared.comparison.candidates), compared.comparison.outcomes, strict=True)
    )
    assert outcomes["75 lbf.ft"].met
    assert outcomes["75 lbf.ft"].holds is None
    assert outcomes["copper gasket, 75 lbf.ft"].holds is False  # what fails for one stud fails
    assert not compared.holds
    report = compared.report()
    assert "one fastener" in report.seen
    assert any("Not judged, though it decides: sealing between the studs" in one for one in report.sentences)
    assert "meet all that this model judges" in report.sentences[0]
    assert json.loads(compared.json())["candidates"][1]["holds"] is None
    assert " holds" not in " ".join(word for line in report.sections[1].lines for word in line)


def test_a_study_of_one_stud_gives_what_solve_gives_of_it():
    swept = headjoint.sweep("boosted-four", ["requirements.clamp_kept=0.7, 0.8"], model="stud", workers=1)
    solved = headjoint.solve(headjoint.read("boosted-four", "stud")).verdict
    for one in swept.sweep.outcomes[1].criteria:
        value = solved.criterion(one.key).value
        assert one.value == (None if value is None else pytest.approx(value, rel=2e-3)), one.key


@pytest.mark.long
@pytest.mark.slow
def test_every_command_that_takes_an_engine_takes_one_stud_of_it(tmp_path):
    done = command("mesh", "boosted-four", "--model", "stud", "--output", "m.vtu", folder=tmp_path)
    assert done.stdout.startswith("Model: one fastener")
    done = command("cutaway", "boosted-four", folder=tmp_path)
    assert done.returncode == 2
    assert "give --model stud" in done.stderr
    more = ("--model", "stud", "--workers", "1", "--json", "-")
    scattered = command("scatter", "boosted-four", "--samples", "16", *more, "--strict", folder=tmp_path)
    assert scattered.returncode == 1, scattered.stderr  # nothing decided is not all met
    sized = command("size", "boosted-four", "--find", "torque", *more, "--strict", folder=tmp_path)
    assert sized.returncode == 1, sized.stderr


# --- former names


@pytest.mark.parametrize("name", RETIRED)
def test_a_joint_file_that_was_an_engine_says_what_to_write_instead(tmp_path, name):
    engine, instead = RETIRED[name]
    assert engine in shipped_cells()
    done = command("solve", name, folder=tmp_path)
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert f"the engine {engine} has one description; write: {instead}" in done.stderr
    assert command("law", name, folder=tmp_path).returncode == 2
    (tmp_path / name).write_text(shipped_text(name))  # a file of one's own by that name is still read
    assert headjoint.read(joint_file(name))
