"""Files from anybody: refused in words and in no time, whatever they hold; nothing of other files leaks."""

from __future__ import annotations

import csv
import dataclasses
import math
import os
import time

import pytest
from conftest import shipped_text
from test_cli import headjoint

from headjoint.cases.command.stated_files import shipped_files
from headjoint.model.base.errors import InputError
from headjoint.model.base.named_files import ALLOWED
from headjoint.model.base.units import parse
from headjoint.model.reading.credible import RANGES, incredible
from headjoint.model.reading.reading import parse_cell, parse_joint, read_joint
from headjoint.model.rig.log import MOST_ROWS, read_log
from headjoint.postproc.studies.table import write_tables

STEEL = shipped_text("boosted-four-steel")
HOT = 'temperatures = { head = "118 degC", fastener = "108 degC", block = "104 degC" }'
LONGEST_REFUSAL = 2.0  # s


def changed(old: str, new: str) -> str:
    assert old in STEEL
    return STEEL.replace(old, new, 1)


BAD = {
    "an integer of 400 digits": (changed('"88 mm"', "8" * 400), "head.height: is too large a number"),
    "a shank of next to nothing": (
        changed('diameter = "10.2 mm"', 'diameter = "1e-300 mm"'),
        "outside the credible range of a length",
    ),
    "an integer of 5,000 digits": (changed('"88 mm"', "8" * 5000), "a whole number of more than 4,300 digits"),
    "lists within each other": (changed('"88 mm"', "[" * 9000 + "]" * 9000), "lists or tables within each other"),
    "text of 400 digits": (changed('"88 mm"', f'"{"8" * 400} mm"'), "outside the credible range of a length"),
    "a key of 1,500 parts": (f"{STEEL}\n[{'.'.join(['a'] * 1500)}]\nb = 1\n", "a key of more than 30 parts"),
    "a key of 10,000 quoted parts": (f"""{STEEL}\n{'."a b".'.join(["x"] * 10_000)} = 1\n""", "more than 30 parts"),
    "lists in lists": (f"{STEEL}\nx = {'[' * 200}{']' * 200}\n", "nested deeper"),
    "a unit of 50,000 letters": (changed('"88 mm"', f'"88 {"m" * 50_000}"'), "cannot read the unit"),
    "powers of powers": (changed('"88 mm"', '"88 mm**9**9**9"'), "cannot read the unit"),
    "a power of ten digits": (changed('"88 mm"', '"88 mm^9999999999"'), "cannot read the unit"),
    "an escape sequence": (changed('name = "boosted', 'name = "\\u001b[31mboosted'), "control character"),
    "an escape sequence in a key": (f'{STEEL}\n"a\\u001b[31m" = 1\n', "must be plain text"),
    "a distribution misspelt": (
        f'{STEEL}\n[scatter.inputs]\n"thread friction" = {{ distribution = "normall" }}\n',
        "scatter.inputs.thread friction.distribution: must be 'normal'",
    ),
    "a fragment elsewhere": (f'include = "../../../../etc/passwd"\n{STEEL}', "lies outside the folder"),
    "a table elsewhere": (
        changed('law = "multi-layer steel bead"', 'law = "mine"') + '\n[gasket.laws.mine]\nfile = "/dev/zero"\n',
        "lies outside the folder",
    ),
}


@pytest.mark.parametrize("bad", BAD)
def test_is_refused_at_once_in_few_plain_words(bad):
    text, words = BAD[bad]
    start = time.process_time()
    with pytest.raises(InputError) as refused:
        parse_joint(text, file="a.toml")
    assert time.process_time() - start < LONGEST_REFUSAL
    said = str(refused.value)
    assert words in said
    assert len(said) < 1800
    assert said.isprintable()
    assert "root:" not in said


def test_usual_powers_in_units_are_read():
    assert parse("1 N/mm**2", "pressure") == pytest.approx(1.0)
    assert parse("2 kg*m/s^2/mm^2", "pressure") == pytest.approx(2.0)
    assert parse("1 mm^-1*N*mm^(-1)", "pressure") == pytest.approx(1.0)


def test_devices_and_pipes_are_no_files(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    for path in (tmp_path / "pipe", "/dev/zero", "/dev/full"):
        with pytest.raises(InputError, match="is no regular file"):
            read_joint(path)
        with pytest.raises(InputError, match="is no regular file"):
            read_log(path)


def test_a_log_without_end_is_refused_by_its_readings(tmp_path):
    row = "1.0,2.0\n"
    (tmp_path / "long.csv").write_text("force [kN],angle [deg]\n" + row * (MOST_ROWS + 1))
    with pytest.raises(InputError, match=f"more than {MOST_ROWS} readings"):
        read_log(tmp_path / "long.csv")


@pytest.mark.parametrize("use", ["0", "-1", "9" * 400, "9" * 5000, "\u00b2", "1.5"])
def test_a_use_that_nobody_counts_to_is_refused(use, tmp_path):
    (tmp_path / "log.csv").write_text(f"use,force [kN],angle [deg]\n{use},1.0,2.0\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"line 2, column 'use': must be a whole number from 1 to 9999"):
        read_log(tmp_path / "log.csv")


def test_a_reading_of_hundreds_of_digits_is_read_in_the_step_that_floats_can_tell(tmp_path):
    rows = [f"{force}.{'0' * 400}1,{angle}" for force, angle in ((1, 10), (2, 20), (3, 35), (4, 45), (5, 60))]
    rows.append("9" * 300 + ",65")  # a force beyond belief, which others look at
    (tmp_path / "log.csv").write_text("force [N],angle [deg]\n" + "\n".join(rows), encoding="utf-8")
    log = read_log(tmp_path / "log.csv")
    assert log.channels["force"][:3] == pytest.approx([1.0, 2.0, 3.0])
    assert log.resolution["force"] <= 1e-12
    assert log.resolution["angle"] == pytest.approx(math.radians(5.0))  # all are whole fives


def test_files_may_lie_in_a_folder_that_is_allowed(tmp_path, monkeypatch):
    (tmp_path / "laws").mkdir()
    (tmp_path / "own").mkdir()
    (tmp_path / "laws" / "bead.csv").write_text("closure [mm], pressure [MPa]\n0, 0\n0.1, 60\n")
    law = '\n[gasket.laws.mine]\nfile = "../laws/bead.csv"\nunloading_stiffness = "2000 MPa/mm"\n'
    text = changed('law = "multi-layer steel bead"', 'law = "mine"') + law
    with pytest.raises(InputError, match="outside the folder"):
        parse_joint(text, folder=tmp_path / "own")
    monkeypatch.setenv(ALLOWED, str(tmp_path / "laws"))
    try:
        parse_joint(text, folder=tmp_path / "own")
    except InputError as error:
        assert "outside" not in str(error)


@pytest.mark.parametrize(
    ("old", "new", "named"),
    [
        ('material = "EN AC-42100"', 'material = { base = "EN AC-42100", E = "70 MPa" }', "E of EN AC-42100"),
        ('height = "11 mm"', 'height = "0.01 mm"', "nut.height is 0.01 mm"),
        ('thickness = "0.75 mm"', 'thickness = "19 mm"', "gasket.thickness is 19 mm"),
        ('torque = "68 lbf.ft"', 'torque = "92 N.mm"', "tightening.torque is 92 N.mm"),
        ('head = "118 degC"', 'head = "590 degC"', "the head has 590 degC"),
        ('gas_pressure = "110 bar"', 'gas_pressure = "1000 bar"', "gas_pressure is 100 MPa"),
        ('gas_pressure = "110 bar"', 'gas_pressure = "30 psi"', "gas_pressure is 0.2068 MPa"),
        ("yield_factor = 1.05", "yield_factor = 0.01", "requirements.yield_factor is 0.01"),
        ("thread_friction = 0.12", "thread_friction = 0.9", "tightening.thread_friction is 0.9"),
        ("bearing_friction = 0.12", "bearing_friction = 0.6", "tightening.bearing_friction is 0.6"),
        ('force_area = "2460 mm2"', 'force_area = "246 mm2"', "gas.force_area over the area of its ring is 0.09"),
        (
            'thickness = "0.75 mm"',
            'thickness = "0.15 mm"',
            "closure of 'multi-layer steel bead' over the thickness of 'bead' is 1.333",
        ),
        (f'name = "hot"\nkind = "hot"\n{HOT}', 'name = "hot"\nkind = "hot"\ntemperature = "-8 degC"', "hot load case"),
        (
            'kind = "cold"\ntemperature = "20 degC"',
            'kind = "cold"\ntemperature = "118 degC"',
            "'cold again' is a cold load case, and all of it is as hot as 'hot'",
        ),
    ],
)
def test_what_nobody_means_is_named_with_its_reason(old, new, named):
    found = incredible(parse_joint(changed(old, new)))
    assert any(named in one for one in found), found


@pytest.mark.parametrize(
    ("step", "named"),
    [
        ('do = "run"\ncase = "firing"\ngas_pressure = "900 bar"', "history[1].steps[0].gas_pressure is 90 MPa"),
        ('do = "heat"\ntemperature = "650 degC"', "history[1].steps[0].temperatures.block is 650 degC"),
        ('do = "heat"\ntemperature = "590 degC"', "the head has 590 degC"),
        ('do = "cold start"\ncase = "firing"', "history[1].steps[0] is a cold start, and all of it is hotter than 60"),
    ],
)
def test_what_nobody_means_of_a_service_is_named_too(step, named):
    steps = f'[[history]]\ndo = "tighten"\n[[history]]\ndo = "repeat"\ntimes = 2\n[[history.steps]]\n{step}\nduration = "1 h"'
    found = incredible(parse_joint(f"{STEEL}\n{steps}\n"))
    assert any(named in one for one in found), found


@pytest.mark.parametrize(
    ("old", "new", "named"),
    [
        ('fire_deck = "20 mm"', 'fire_deck = "2 mm"', "head.fire_deck is 2 mm"),
        ('upper_deck = "14 mm"', 'upper_deck = "1 mm"', "head.upper_deck is 1 mm"),
        ('side_wall = "13 mm"', 'side_wall = "1.3 mm"', "head.side_wall is 1.3 mm"),
        ('wall = "8 mm"', 'wall = "0.8 mm"', "block.wall is 0.8 mm"),
        ('deck_thickness = "16 mm"', 'deck_thickness = "1.6 mm"', "block.deck_thickness is 1.6 mm"),
        (
            "[gasket]",
            '[liner]\nouter_diameter = "90 mm"\nprotrusion = "0.7 mm"\nmaterial = "EN-GJL-250"\n\n[gasket]',
            "liner.protrusion is 0.7 mm",
        ),
    ],
)
def test_what_nobody_means_of_an_engine_is_named_too(old, new, named):
    engine = shipped_files("cells")["boosted-four"]
    text = engine.read_text("utf-8")
    assert old in text
    found = incredible(parse_cell(text.replace(old, new, 1), folder=engine.parent))
    assert any(named in one for one in found), found


@pytest.mark.parametrize("boost", ["110 bar", "150 bar"])
def test_a_boost_that_is_no_less_than_what_burns_is_refused(boost):
    with pytest.raises(
        InputError, match=r"gas\.boost: must be less than the gas pressure .* 110 bar in load_cases\[2\]"
    ):
        parse_joint(changed('boost = "1.2 bar"', f'boost = "{boost}"'))
    engine = shipped_files("cells")["boosted-four"]
    text = engine.read_text("utf-8").replace('boost = "0.9 bar"', f'boost = "{boost}"')
    with pytest.raises(InputError, match=r"gas\.boost: must be less than .* 80 bar"):
        parse_cell(text, folder=engine.parent)


def test_a_name_that_a_spreadsheet_would_run_is_text_in_tables(tmp_path):
    columns = {"design": ["=1+1", "+cmd", "@a", "M11 stud"], "=head": [-1.5, 2.0, None, True]}
    write_tables(columns, tmp_path, "table")
    with (tmp_path / "table.csv").open(newline="") as file:
        rows = list(csv.reader(file))
    assert rows[0] == ["design", "'=head"]
    assert [row[0] for row in rows[1:]] == ["'=1+1", "'+cmd", "'@a", "M11 stud"]
    assert [row[1] for row in rows[1:]] == ["-1.5", "2.0", "", "true"]


def test_every_range_has_a_reason_and_the_shipped_joint_lies_in_all():
    assert all(one.low < one.high and len(one.why) > 10 for one in RANGES.values())
    assert incredible(parse_joint(STEEL)) == ()


def test_the_incredible_is_taken_when_it_is_meant(tmp_path):
    (tmp_path / "a.toml").write_text(changed('thickness = "0.75 mm"', 'thickness = "19 mm"'))
    refused = headjoint("estimate", "a.toml", folder=tmp_path)
    assert refused.returncode == 2
    assert "gasket.thickness is 19 mm" in refused.stderr
    assert "--accept" in refused.stderr
    taken = headjoint("estimate", "a.toml", "--accept", folder=tmp_path)
    assert "caution: accepted, though hard to believe: gasket.thickness is 19 mm" in taken.stderr
    assert taken.returncode in (0, 2)


def test_a_zone_that_begins_lower_leaves_less_to_close():
    """A law of 0.2 mm on a sheet of 0.75 mm, of which 0.6 mm are gone: 0.2 / 0.15."""
    joint = parse_joint(STEEL)
    for step, told in ((0.5, []), (0.6, ["closure of 'multi-layer steel bead' over the thickness of 'bead' is 1.333"])):
        zones = tuple(
            dataclasses.replace(one, step=step if one.name == "bead" else one.step) for one in joint.gasket.zones
        )
        lower = dataclasses.replace(joint, gasket=dataclasses.replace(joint.gasket, zones=zones))
        assert [one.split(",")[0].rstrip() for one in incredible(lower)] == told


@pytest.mark.parametrize(
    ("hot", "cold", "told"),
    [
        # as warm as some part of the hot case, or some hot case, is not as hot as the hottest
        ([(118.0, 108.0, 104.0)], (110.0, 110.0, 110.0), False),
        ([(118.0, 118.0, 118.0), (80.0, 80.0, 80.0)], (100.0, 100.0, 100.0), False),
        ([(118.0, 118.0, 118.0), (80.0, 80.0, 80.0)], (118.0, 118.0, 118.0), True),
        # one part that is cold makes it cold
        ([(118.0, 108.0, 104.0)], (130.0, 130.0, 20.0), False),
        ([(118.0, 108.0, 104.0)], (118.0, 118.0, 118.0), True),
        # up to 60 degC anything may be cold
        ([(58.0, 58.0, 58.0)], (59.0, 59.0, 59.0), False),
        ([(61.0, 61.0, 61.0)], (62.0, 62.0, 62.0), True),
    ],
)
def test_a_cold_case_is_doubted_where_all_of_it_is_as_hot_as_the_hottest(hot, cold, told):
    joint = parse_joint(STEEL)
    first, *others = joint.load_cases
    kinds = {one.kind: one for one in others}

    def at(kind, name, degrees):
        of_parts = dict(zip(("head", "fastener", "block"), degrees, strict=True))
        warm = {part: of_parts.get(part, degrees[0]) for part in kinds[kind].temperatures}
        # the gasket between head and block is neither the warmest nor the coldest part
        warm["gasket"] = (of_parts["head"] + of_parts["block"]) / 2.0
        return dataclasses.replace(kinds[kind], name=name, temperatures=warm)

    cases = (first, *(at("hot", f"hot {number}", one) for number, one in enumerate(hot)), at("cold", "cold", cold))
    found = incredible(dataclasses.replace(joint, load_cases=cases))
    assert [one.partition(" and")[0] for one in found] == (["'cold' is a cold load case,"] if told else [])


@pytest.mark.parametrize(("degrees", "told"), [(59.0, False), (61.0, True)])
def test_a_cold_start_is_doubted_above_60_degrees(degrees, told):
    steps = f'[[history]]\ndo = "tighten"\n[[history]]\ndo = "cold start"\ntemperature = "{degrees} degC"\n'
    found = incredible(parse_joint(f'{STEEL}\n{steps}gas_pressure = "60 bar"\n'))
    assert [one.partition(",")[0] for one in found] == (["history[1] is a cold start"] if told else [])


@pytest.mark.parametrize(("bore", "told"), [(86.0, []), (2000.0, ["layout.bore is 2000 mm"])])
def test_a_bore_that_no_engine_has_is_named(bore, told):
    engine = shipped_files("cells")["boosted-four"]
    cell = parse_cell(engine.read_text("utf-8"), folder=engine.parent)
    found = incredible(dataclasses.replace(cell, layout=dataclasses.replace(cell.layout, bore=bore)))
    assert [one.partition(",")[0] for one in found] == told
