"""The work sheet: what the bench is told follows from the file, and the order of nuts from the plan."""

from __future__ import annotations

import subprocess
import sys

import pytest
from conftest import bank_text, joint_file

import headjoint
from headjoint.model.cell import Bank, Ring
from headjoint.model.reading.reading import parse_cell
from headjoint.postproc.joint.nut_order import crosswise, from_the_middle, plan_of_nuts, studs_of
from headjoint.postproc.joint.work_sheet import work_sheet

CELL = bank_text()
RETORQUED = """
[[history]]
do = "tighten"
torque = ["30 N.m", "60 N.m"]
angle = "90 deg"

[[history]]
do = "wait"
duration = "45 min"

[[history]]
do = "retorque"
name = "retorque"
torque = "100 N.m"
"""


def sheet_of(stated, units: str = "si") -> str:
    return work_sheet(stated, headjoint.estimate(stated).verdict, units)


def words(text: str) -> str:
    return " ".join(text.split())


def bank(*studs: tuple[float, float], extent: str = "quarter") -> Bank:
    return Bank(86.0, 98.0, 70.0, studs, 1, extent)


@pytest.mark.parametrize(
    ("studs", "in_row", "number"),
    [
        # four round every bore, the two between neighbours shared: 2 (N + 1)
        (((49.0, 50.0),), 4, 10),
        (((49.0, 50.0),), 1, 4),
        # two more beside each bore: 2 (N + 1) + 2 N
        (((0.0, 70.0), (49.0, 50.0)), 4, 18),
    ],
)
def test_an_engine_has_as_many_studs_as_its_bores_share(studs, in_row, number):
    assert len(studs_of(bank(*studs), in_row)) == number


def test_both_sides_of_an_engine_have_studs_whatever_of_it_is_modelled():
    both = studs_of(bank((49.0, 50.0), extent="half"), 2)
    assert both == studs_of(bank((49.0, 50.0)), 2)
    assert sorted({y for _, y in both}) == [-50.0, 50.0]


def test_nuts_of_a_bank_are_turned_from_the_middle_outward_each_after_the_one_diagonally_opposite():
    places = studs_of(bank((49.0, 50.0)), 4)
    order = from_the_middle(places)
    assert sorted(order) == list(range(10))
    middle = 1.5 * 98.0
    distances = [abs(places[nut][0] - middle) for nut in order]
    assert distances == sorted(distances)
    for first, second in zip(order[::2], order[1::2], strict=True):
        assert places[first][0] - middle == pytest.approx(middle - places[second][0])
        assert places[first][1] == -places[second][1]


def test_the_plan_shows_every_nut_once_with_its_turn():
    places = studs_of(bank((49.0, 50.0)), 2)
    # by hand: middle pair first, then right behind, left before, left behind, right before
    assert plan_of_nuts(places, from_the_middle(places), [0.0, 98.0]) == [
        "   5       1       3",
        "       O       O",
        "   4       2       6",
    ]


def test_nuts_round_a_ring_are_turned_crosswise():
    # by hand: 1 and the opposite 4, then the next pairs
    assert crosswise(4) == [0, 2, 1, 3]
    assert crosswise(6) == [0, 3, 1, 4, 2, 5]
    # of eight, the second pair stands square to the first
    assert crosswise(8) == [0, 4, 2, 6, 1, 5, 3, 7]
    assert crosswise(5) == [0, 2, 4, 1, 3]
    assert crosswise(7) == [0, 3, 6, 2, 5, 1, 4]


def test_a_ring_counts_its_nuts_clockwise():
    first, second = studs_of(Ring(86.0, 4, 140.0, 200.0, "full"))[:2]
    assert first == pytest.approx((70.0, 0.0))
    assert second == pytest.approx((0.0, -70.0))


def test_a_torque_without_passes_is_reached_in_thirds_and_says_whose_they_are():
    sheet = sheet_of(headjoint.read(joint_file("boosted-four-steel")))  # 68 lbf.ft = 92.2 N.m
    for turn in ("1. every nut: 31 N.m", "2. every nut: 61 N.m", "3. every nut: 92 N.m"):
        assert turn in sheet
    assert "common practice, no source; the file states none" in sheet
    assert "3. every nut: 68 lbf.ft" in sheet_of(headjoint.read(joint_file("boosted-four-steel")), "workshop")


def test_passes_of_the_file_are_shares_of_its_torque():
    cell = parse_cell(CELL.replace('method = "torque"', 'method = "torque"\npasses = [0.4, 1.0]'))
    torque = cell.joint.tightening.torque / 1e3
    sheet = sheet_of(cell)
    assert f"1. every nut: {0.4 * torque:.0f} N.m" in sheet
    assert f"2. every nut: {torque:.0f} N.m" in sheet
    assert "thirds" not in sheet


def test_stages_angles_wait_and_retorque_are_those_of_the_service():
    sheet = sheet_of(parse_cell(CELL + RETORQUED))
    for said in ("1. every nut: 30 N.m", "2. every nut: 60 N.m", "3. every nut: 90 deg further", "wait 45 min",
                 "retorque: every nut, same order: 100 N.m"):  # fmt: skip
        assert said in sheet


def test_a_fastener_is_done_with_when_its_weakest_length_has_grown_by_the_limit():
    # all growth in the shortest of the weakest lengths, the engaged core of d/2 = 5.5 mm: 1 % of it is 0.055 mm
    sheet = words(sheet_of(headjoint.read(joint_file("boosted-four-steel"))))
    assert "more than 0.055 mm longer than new: 1 % ([ageing] permanent_limit) of the 5.5 mm" in sheet


def test_what_does_not_hold_says_so_before_anything_is_turned():
    bad = sheet_of(headjoint.read(joint_file("boosted-four-copper")))
    assert headjoint.estimate(joint_file("boosted-four-copper")).verdict.holds is False
    assert "DOES NOT HOLD" in bad.split("FASTENER")[0]


def test_a_bank_is_drawn_only_where_the_file_says_how_many_bores_the_engine_has():
    assert "in_row" in sheet_of(parse_cell(CELL))
    drawn = sheet_of(parse_cell(CELL.replace('kind = "bank"', 'kind = "bank"\nin_row = 4')))
    plan = drawn.split("seen from above\n")[1].splitlines()[:3]
    assert sorted(int(word) for line in (plan[0], plan[2]) for word in line.split()) == list(range(1, 11))
    assert plan[1].split() == ["O"] * 4


@pytest.mark.parametrize("name", ["boosted-four", "iron-diesel", "six-stud-ring", "yield-tightened-bolt"])
def test_the_sheet_is_one_page(name):
    lines = sheet_of(headjoint.read(name), "workshop").splitlines()
    assert len(lines) <= 60
    assert max(map(len, lines)) <= 78


def test_the_command_prints_in_the_units_of_the_file_or_writes_a_file(tmp_path):
    def command(*more: str) -> str:
        whole = [sys.executable, "-m", "headjoint.cases.cli", "worksheet", joint_file("boosted-four-steel"), *more]
        return subprocess.run(whole, cwd=tmp_path, capture_output=True, text=True, timeout=60, check=True).stdout

    assert command().startswith("WORK SHEET  boosted four")
    assert command("--output", "sheet.txt") == "wrote sheet.txt\n"
    assert (tmp_path / "sheet.txt").read_text("utf-8") == command()
