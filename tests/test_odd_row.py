"""A row as it was found: one stud, one bore, one ring or one place of the deck that is unlike the others."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from types import SimpleNamespace

import click
import numpy as np
import pytest
import scipy.sparse as sp
from click.testing import CliRunner

import headjoint
from headjoint.cases.command.odd_options import odd_options, order_option
from headjoint.cases.condensed.cell_interfaces import InterfacePoints
from headjoint.cases.condensed.interface_laws import BEARING, PointGroup
from headjoint.cases.condensed.reduced_joint import Demand, Equilibrium, ReducedJoint
from headjoint.cases.load_cases.load_history import History, TighteningStep, cases_of, reached, run, slackened
from headjoint.cases.whole_head import solved
from headjoint.cases.whole_head.as_found import HeadModel, as_found, hollow_gap
from headjoint.cases.whole_head.numbering import gathered
from headjoint.cases.whole_head.solved import HeadState, advanced, check_head, tightened_head
from headjoint.model.base.errors import InputError
from headjoint.model.formulas.sealing import Seal, SealNeed
from headjoint.model.formulas.tightened import by_formula
from headjoint.model.gasket.shipped_laws import gasket_law
from headjoint.model.reading.reading import parse_cell
from headjoint.model.reading.row_reading import with_hotter, with_slack
from headjoint.model.row import Damage, Hollow, OddBore, OddStud, RowAsFound
from headjoint.postproc.cell.assessment import judged_level
from headjoint.postproc.cell.tightening import tightening_sheets
from headjoint.postproc.verdict.model_seen import ModelSeen, cell_seen
from headjoint.postproc.verdict.requirement import LEVELS, Judged
from headjoint.postproc.verdict.state_figures import level_of, zone_limits
from headjoint.postproc.verdict.table import requirement
from headjoint.postproc.verdict.verdict import judge
from headjoint.postproc.whole_head.findings import head_state_findings, not_seen
from headjoint.postproc.whole_head.odd_words import odd_section
from tests.test_whole_head import BANK, bank, coarse_row

TEXT = BANK.replace('kind = "bank"', 'kind = "bank"\nin_row = 4')
ODD = """
[[row.studs]]
stud = 5
slack = true
[[row.studs]]
stud = 6
preload = 0.9
retorque = 1.0
longer = "20 mm"
[[row.bores]]
bore = 2
hotter = { head = "27 degF", block = "5 K" }
damage = [{ zone = "bead", law = "multi-layer steel body", step = "0.1 mm", start = "350 deg", end = "20 deg" }]
[[row.hollows]]
after_bore = 2
depth = "0.03 mm"
"""


def test_a_file_says_what_is_odd_in_its_row():
    row = parse_cell(TEXT + ODD).row
    assert row.studs == (OddStud(4, slack=True), OddStud(5, preload=0.9, retorque=1.0, longer=20.0))
    (bore,) = row.bores
    # 27 degF more are 15 K more; the gasket's is the mean of both
    assert bore.hotter == pytest.approx({"head": 15.0, "block": 5.0, "gasket": 10.0})
    assert bore.damage[0].law is gasket_law("multi-layer steel body")
    assert row.hollows == (Hollow(1, 0.03, 98.0),)
    assert not parse_cell(TEXT).row


def test_the_answer_lists_what_is_odd():
    (section,) = odd_section(parse_cell(TEXT + ODD), "si")
    assert section.texts == (
        "stud 5: carries nothing (left slack, or broken)",
        "stud 6: tightened to 90 % of the preload of the others, turned once more, after all others, to 100 % of the "
        "preload, longer by 20.00 mm",
        "bore 2: hotter than stated wherever the head is warm: head by 15 K, block by 5 K, gasket by 10 K",
        'bore 2: bead damaged from 350 to 20 deg, anticlockwise from the row: law "multi-layer steel body", clearance '
        "100.0 um",
        "between bores 2 and 3 head and deck are hollow by 30.00 um, over 98.00 mm across the row",
    )
    assert odd_section(parse_cell(TEXT), "si") == ()


@pytest.mark.parametrize(
    ("stated", "expected"),
    [
        # five places along the row, two across
        ("[[row.studs]]\nstud = 11\nslack = true", "row.studs[0].stud: there are 10 studs, 1 to 10 (got 11)"),
        ("[[row.studs]]\nstud = 1\nslack = true\nretorque = 1.0", "row.studs[0].retorque: means nothing for a stud that"),
        ("[[row.studs]]\nstud = 1\n[[row.studs]]\nstud = 1", "row.studs[1]: stud 1 is stated twice"),
        ("[[row.bores]]\nbore = 5", "row.bores[0].bore: there are 4 bores (got 5)"),
        ("[[row.bores]]\nbore = 5.5", "row.bores[0].bore"),
        ("[[row.hollows]]\nafter_bore = 4\ndepth = 0.1", "after_bore: there are 4 bores, so 3 places between two"),
        ("[[row.hollows]]\nafter_bore = 1\ndepth = 5", "row.hollows[0].depth: is more than faces lack that are used"),
        ("[[row.bores]]\nbore = 1\ndamage = [{zone = 'beed', step = 1}]", "zone: unknown zone of the gasket; nearest: bead"),
        ("[[row.bores]]\nbore = 1\ndamage = [{zone = 'bead'}]", "damage[0]: state the law or the step"),
        ("[[row.bores]]\nbore = 1\ndamage = [{zone = 'bead', law = 'x'}]", "damage[0].law: unknown gasket law"),
        ("[[row.bores]]\nbore = 1\ndamage = [{zone = 'bead', step = 1, start = '1 deg'}]", "give start and end"),
        (
            "[[row.bores]]\nbore = 1\ndamage = [{zone = 'bead', step = 1, start = '360 deg', end = '0 deg'}]",
            "damage[0].end: is where it starts, too",
        ),
        ("[row]\nstuds = []\nslack = [1]", "slack"),
    ],
)  # fmt: skip
def test_a_stud_bore_or_law_that_is_not_there_is_refused(stated, expected):
    with pytest.raises(InputError, match=re.escape(expected)):
        parse_cell(f"{TEXT}\n{stated}")


def test_what_is_odd_belongs_to_a_whole_row():
    with pytest.raises(InputError, match="row: means something for the whole row only: state `in_row`"):
        parse_cell(BANK + ODD)


def test_options_say_the_same_as_the_file():
    cell = with_hotter(with_slack(parse_cell(TEXT), [5]), {2: "15 K"})
    assert cell.row.studs == (OddStud(4, slack=True),)
    assert cell.row.bores[0].hotter == {"head": 15.0, "block": 15.0, "gasket": 15.0}
    with pytest.raises(InputError, match="slack: there are 10 studs, 1 to 10"):
        with_slack(parse_cell(TEXT), [11])
    with pytest.raises(InputError, match="hotter: unit 'bar' is no unit of temperature difference"):
        with_hotter(parse_cell(TEXT), {2: "15 bar"})


@pytest.mark.parametrize("number", [1.5, "x", True, 0, np.float64(2.0)])
def test_what_is_no_number_of_a_stud_or_bore_is_refused(number):
    with pytest.raises(InputError, match="slack: there are 10 studs, 1 to 10"):
        with_slack(parse_cell(TEXT), [number])
    with pytest.raises(InputError, match="hotter: there are 4 bores"):
        with_hotter(parse_cell(TEXT), {number: "15 K"})


def test_an_order_of_nuts_is_looked_at_before_anything_is_meshed(tmp_path, monkeypatch):
    monkeypatch.setattr(solved, "build_cell", lambda *_: pytest.fail("meshed"))
    (tmp_path / "at_once.toml").write_text(TEXT)
    (tmp_path / "in_passes.toml").write_text(TEXT.replace("# passes = ", "passes = "))
    with pytest.raises(InputError, match=r"order: must name each of the 10 studs once, 1 to 10 \(got '\[1, 2\]'\)"):
        headjoint.head(tmp_path / "in_passes.toml", order=[1, 2])
    with pytest.raises(InputError, match="order: means nothing where all nuts are tightened at once"):
        headjoint.head(tmp_path / "at_once.toml", order=list(range(1, 11)))


def test_a_row_whose_studs_are_all_slack_is_refused():
    check_head(with_slack(parse_cell(TEXT), range(1, 10)))
    with pytest.raises(InputError, match="slack: no stud is left that carries anything"):
        check_head(with_slack(parse_cell(TEXT), range(1, 11)))


@click.command()
@order_option
@odd_options
def told_back(**given):
    """Say what the options of a head are."""
    click.echo(given)


@pytest.mark.parametrize(
    ("told", "expected"),
    [
        (["--slack", "²"], "give numbers of studs, such as 5,6"),
        (["--slack", "5,"], "give numbers of studs, such as 5,6"),
        (["--slack", "1234567"], "give numbers of studs, such as 5,6"),
        (["--order", "1,²"], "give numbers of studs, such as 5,6"),
        (["--hotter", "²=30 K"], "give a bore and how much hotter it is"),
        (["--hotter", "2=30 K", "--hotter", " 2 = 15 K"], "bore 2 is told twice"),
    ],
)
def test_options_of_the_head_take_plain_numbers(told, expected):
    answer = CliRunner().invoke(told_back, told)
    assert answer.exit_code == 2
    assert expected in answer.output


def test_options_of_the_head_are_numbers_of_studs_and_bores():
    answer = CliRunner().invoke(told_back, ["--order", "2, 1", "--slack", "5", "--hotter", "2=30 K"])
    assert answer.output == "{'order': [2, 1], 'slack': [5], 'hotter': {2: '30 K'}}\n"


def test_a_hollow_is_deepest_between_its_bores_and_ends_at_their_centres():
    """depth cos^2(pi dx/pitch) cos^2(pi y/width): a quarter of the pitch off, cos^2 45 deg = 1/2; so is it of the width."""
    places = np.array([[147.0, 122.5, 98.0, 147.0, 147.0, 250.0], [0.0, 0.0, 0.0, 15.0, 30.0, 0.0]])
    gap = hollow_gap([Hollow(after=1, depth=0.04, width=60.0)], 98.0, places)
    assert gap == pytest.approx([0.04, 0.02, 0.0, 0.02, 0.0, 0.0], abs=1e-12)


def invented(odd, bores=3):
    """A row of three bores with a gasket point at every 30 degrees of every bead, and one bearing point."""
    cell = parse_cell(TEXT)
    cell = replace(cell, row=odd, layout=replace(cell.layout, bores=bores))
    turn = np.radians(np.arange(15.0, 375.0, 30.0))
    along = np.concatenate([98.0 * bore + 46.0 * np.cos(turn) for bore in range(bores)])
    across = np.tile(46.0 * np.sin(turn), bores)
    count = len(along)
    zone = cell.sealing_zone
    groups = (
        PointGroup("bead", "gasket", np.arange(count), zone.law, zone.step),
        PointGroup("bearing", "bearing", np.array([count]), BEARING),
    )
    nothing = np.empty(0, dtype=np.int64)
    points = InterfacePoints(
        sp.csr_matrix((count + 1, 8)), np.ones(count + 1), np.vstack([np.append(along, 0.0), np.append(across, 0.0)]),
        np.zeros(count + 1, dtype=int), nothing, groups, (), 0.0, nothing, nothing, nothing, nothing,
    )  # fmt: skip
    reduced = ReducedJoint(
        np.eye(8), {}, points.B, points.weight, points.weight, groups, np.arange(8), np.full(8, 1e-7), np.ones(8)
    )
    return as_found(HeadModel(cell, reduced, points, {}))


def test_a_damaged_ring_has_its_law_where_it_is_damaged_and_nowhere_else():
    tired = gasket_law("multi-layer steel body")
    damage = Damage("bead", tired, step=0.05, start=math.radians(330.0), end=math.radians(60.0))
    model = invented(RowAsFound(bores=(OddBore(1, damage=(damage,)),)))
    hurt, rest, bearing = model.reduced.groups
    # of the second bore's points at 15, 45, ..., 345 degrees those at 15, 45 and 345
    assert hurt.points.tolist() == [12, 13, 23]
    assert hurt.law is tired
    assert hurt.step == pytest.approx(0.05)
    assert rest.law is model.cell.sealing_zone.law
    assert len(rest.points) == 33
    assert bearing.points.tolist() == [36]


def test_damage_where_the_mesh_has_no_point_is_refused():
    """Points lie at 15, 45, ..., 345 degrees: between 16 and 44 degrees there is none."""
    law = gasket_law("multi-layer steel body")
    there = Damage("bead", law, None, math.radians(14.0), math.radians(44.0))
    nowhere = replace(there, start=math.radians(16.0))
    assert len(invented(RowAsFound(bores=(OddBore(1, damage=(there,)),))).reduced.groups) == 3
    expected = "row.bores[0].damage[1]: no point of the mesh lies in bead at bore 2 from 16 to 44 deg"
    with pytest.raises(InputError, match=re.escape(expected)):
        invented(RowAsFound(bores=(OddBore(1, damage=(there, nowhere)),)))
    with pytest.raises(InputError, match="no point of the mesh lies in stopper at bore 3 from 0 to 360 deg"):
        invented(RowAsFound(bores=(OddBore(2, damage=(Damage("stopper", law, None, 0.0, 2.0 * math.pi),)),)))


def test_a_damaged_zone_is_crushed_by_the_least_that_any_law_of_it_bears():
    own, weak, unknown = (
        replace(gasket_law("multi-layer steel body"), crush_pressure=at) for at in (300.0, 120.0, None)
    )
    hurt = [Damage("bead", law, None, 0.0, 1.0) for law in (weak, unknown)]
    row = RowAsFound(bores=(OddBore(0), OddBore(1, damage=tuple(hurt))))
    assert row.crush_pressure("bead", own) == 120.0
    assert row.crush_pressure("body", own) == 300.0
    assert row.crush_pressure("bead", unknown) == 120.0
    assert RowAsFound(bores=(OddBore(1, damage=(hurt[1],)),)).crush_pressure("bead", own) == 300.0
    joint = parse_cell(TEXT).joint
    limits = {zone: limit for zone, _, limit in zone_limits(joint, [("bead", 90.0), ("body", 9.0)], {"bead": 120.0})}
    assert limits["bead"] == 120.0
    assert limits["body"] == next(zone.law.crush_pressure for zone in joint.gasket.zones if zone.name == "body")


def pulled(model, force, left_over=0.0):
    """A state of an invented row, pulled to a force; what the solver leaves of a slack stud's is `left_over`."""
    nothing, case = np.zeros(model.reduced.points), model.joint.load_cases[0]
    asked, overlap = slackened(model, model.slack, force=np.full(8, force))
    demand = Demand(np.zeros(8), nothing, 20.0, 1.0, asked, overlap)
    found = np.where(model.slack, left_over, force)
    at = Equilibrium(np.zeros(8), nothing, nothing + 90.0, nothing, found, np.zeros(8), 1, 0.0)
    return reached(model, case, demand, nothing, at, 0.0)


def level_judged(model, states, zones=()):
    """What is judged of an assembled and a cold state."""
    line = SimpleNamespace(seal=Seal(1.0, 1.0), need=SealNeed(0.0, 0.0))
    shown = [
        SimpleNamespace(
            name=kind, kind=kind, forces=one.force, force_amplitudes=None, temperatures=one.case.temperatures,
            gas_pressure=0.0, worst=line, sealing_without_gas=None, stroke=None, separation_factor=None, zones=zones,
        )
        for kind, one in zip(("assembly", "cold"), states, strict=True)
    ]  # fmt: skip
    history = History(model, tuple(states), (), by_formula(model.joint, 50e3, 8))
    return judged_level("least", history, shown, [np.zeros(8)] * 2, [None] * 2, separated=False)


@pytest.mark.parametrize("left_over", [1e-7, -1e-7])
def test_a_slack_stud_has_no_clamp_to_keep_whatever_the_solver_leaves_over(left_over):
    """The others keep 45 of 50 kN: nine tenths, on whichever side of nothing rounding leaves the slack one."""
    model = invented(RowAsFound(studs=(OddStud(3, slack=True),)))
    cold = level_judged(model, [pulled(model, 50e3, left_over), pulled(model, 45e3, -left_over)]).states[1]
    assert cold.force / cold.assembled == pytest.approx(0.9)


def test_a_weaker_law_at_one_bore_lowers_what_the_zone_is_judged_by():
    weak = replace(gasket_law("multi-layer steel body"), crush_pressure=60.0)
    limits = []
    for damage in ((), (Damage("bead", weak, None, 0.0, 1.0),)):
        model = invented(RowAsFound(bores=(OddBore(1, damage=damage),)))
        one = HeadState("assembly", None, pulled(model, 50e3), ())
        found = {"least": by_formula(model.joint, 50e3, 8)}
        solved = SimpleNamespace(row=SimpleNamespace(model=model), levels={"least": (one,)}, found=found)
        zones = head_state_findings(solved, "least", one).zones
        (judged,) = (zone for zone in level_judged(model, [one.state] * 2, zones).states[0].zones if zone[0] == "bead")
        limits.append(judged[2])
    assert limits == [model.cell.sealing_zone.law.crush_pressure, 60.0]
    assert limits[0] is None or limits[0] > 60.0


@pytest.mark.parametrize(
    ("slack", "kind", "untried"), [(True, "tied", True), (True, "bearing", False), (False, "tied", False)]
)
def test_what_needs_other_gas_is_not_judged_where_none_was_tried_and_decides(slack, kind, untried):
    model = invented(RowAsFound(studs=(OddStud(3, slack=True),) if slack else ()))
    groups = [SimpleNamespace(kind="gasket"), SimpleNamespace(kind=kind)]
    law = replace(model.cell.sealing_zone.law, limits=SimpleNamespace(stroke=0.1))
    solved = SimpleNamespace(
        levels={"least": (SimpleNamespace(fired=None), SimpleNamespace(fired=0))},
        row=SimpleNamespace(model=SimpleNamespace(slack=model.slack, reduced=SimpleNamespace(groups=groups))),
        cell=SimpleNamespace(sealing_zone=SimpleNamespace(law=law)),
    )
    told = not_seen(solved)
    assert ("separation" in told, "stroke" in told) == (untried, untried)
    for key in ("separation", "stroke") if untried else ():
        judged = requirement(key).judge(Judged(model.joint, ModelSeen("a row", "ports", told), {}))
        assert judged.deciding
        assert "with a slack stud" in judged.why


def test_a_hollow_takes_its_depth_off_the_closure_of_the_gasket_alone():
    model = invented(RowAsFound(hollows=(Hollow(0, 0.03, 98.0),)))
    bead, bearing = model.reduced.groups
    own = model.points.places[:, 0]
    by_hand = 0.03 * math.cos(math.pi * (own[0] - 49.0) / 98.0) ** 2 * math.cos(math.pi * own[1] / 98.0) ** 2
    assert bead.step[0] - model.cell.sealing_zone.step == pytest.approx(by_hand)
    assert by_hand > 0.02
    assert bearing.step == 0.0


def test_a_hot_bores_gasket_is_hot_in_warm_load_cases_only():
    model = invented(RowAsFound(bores=(OddBore(2, {"head": 20.0, "block": 10.0, "gasket": 15.0}),)))
    cases = {case.name: case for case in model.joint.load_cases}
    hot = model.under(cases["hot"]).reduced.groups
    assert [one.hotter for one in hot] == [15.0, 0.0, 0.0]
    assert hot[0].points.tolist() == list(range(24, 36))
    assert [one.hotter for one in model.under(cases["assembly"]).reduced.groups] == [0.0, 0.0]
    # beyond the others, the head there strains by what 20 K more do at 118 degC, and not at all when cold
    head = model.cell.part_material("head")
    more = head.free_strain(138.0, 20.0) - head.free_strain(118.0, 20.0)
    assert model.factors(cases["hot"])["head of bore 3"] == pytest.approx(more)
    assert more == pytest.approx(20.0 * 22e-6, rel=0.1)  # aluminium, some 22e-6 1/K, from memory
    assert "head of bore 3" not in model.factors(cases["assembly"])
    loads = gathered({"head": np.array([2.0])}, {"head": 0.001, "head of bore 3": 0.0005}, 3, 1)
    # half the sum of four copies: twice a tile's load
    assert loads.ravel() == pytest.approx([0.004, 0.004, 0.006])


def test_a_longer_stud_is_softer_by_its_length_and_drawn_in_by_the_block_about_it():
    model = invented(RowAsFound(studs=(OddStud(2, longer=60.0),)))
    joint = model.joint
    E, area = joint.fastener.material.E.at(20.0), math.pi / 4.0 * 10.2**2
    softer = model.reduced.series_compliance - 1e-7
    assert softer[2] == pytest.approx(60.0 / (E * area), rel=1e-6)  # l / (E A), VDI 2230-1 sec. 5.1.1, from memory
    assert np.delete(softer, 2) == pytest.approx(np.zeros(7))
    hot = next(case for case in joint.load_cases if case.name == "hot")
    block = joint.block.material.free_strain(104.0, 20.0)
    stud = joint.fastener.material.free_strain(108.0, 20.0)
    assert model.drawn_in(hot)[2] == pytest.approx(60.0 * (block - stud), rel=1e-9)
    assert model.drawn_in(hot)[2] < 0.0  # the hotter steel stud grows more than the iron about it: it slackens


def states_of(model, cases=None):
    """Tighten, then every load case, or those given, in order with its fired bores."""
    found = by_formula(model.joint, model.joint.tightening.preload, len(model.reduced.overlaps))
    found = replace(found, forces=model.preload_shares * found.forces)
    state, turned, _ = tightened_head(model, found)
    states, overlap = [state], turned - model.joint.tightening.embedding
    for case in model.joint.load_cases[1:] if cases is None else cases:
        states.append(advanced(model, case, overlap, states[-1]))
    return states


def fired(row, bore):
    return replace(row.model, cell=replace(row.model.cell, fired=(bore,)))


@pytest.mark.long
@pytest.mark.slow
def test_a_slack_stud_lowers_the_line_and_loads_its_neighbours():
    intact, slack = (
        fired(coarse_row(2, 1e-2, odd), 0) for odd in (RowAsFound(), RowAsFound((OddStud(3, slack=True),)))
    )
    sound, found = states_of(intact), states_of(slack)
    for one, other in zip(sound, found, strict=True):
        assert other.force[3] == 0.0
        assert other.balance < 1e-8
        least, without = (min(line.pressure.min() for line in intact.lines(at.equilibrium)) for at in (one, other))
        assert without <= least
    assert min(line.pressure.min() for line in slack.lines(found[1].equilibrium)) < 0.9 * min(
        line.pressure.min() for line in intact.lines(sound[1].equilibrium)
    )
    # bore 1 fires, and stud 4 is one of the four about it: stud 2 on its side and stud 3 across bear what it does not
    firing = [case.name for case in intact.joint.load_cases].index("firing")
    assert found[firing].force[1] > sound[firing].force[1] + 100.0
    assert found[firing].force[2] > sound[firing].force[2] + 20.0


@pytest.mark.long
@pytest.mark.slow
def test_a_nut_that_others_leave_loose_goes_on_from_what_it_was_turned_to():
    """As in a repeating cell: the joint must give up the room under the nut before it carries again."""
    model = fired(coarse_row(1, 1e-2, RowAsFound((OddStud(0, preload=0.02),))), 0)
    model = replace(model, cell=replace(model.cell, order=((1.0, (0, 1, 2, 3)),)))
    found = by_formula(model.joint, model.joint.tightening.preload, 4)
    found = replace(found, forces=model.preload_shares * found.forces)
    cell, head = run(model, found), states_of(model, cases_of(model.joint)[1:])
    assert [one.name for one in head] == [one.name for one in cell.states]
    for one, other in zip(head, cell.states, strict=True):
        assert one.force == pytest.approx(other.force, rel=1e-7, abs=1e-3)
    assert head[0].force[0] == 0.0
    # it stands clear of the head where it was turned to
    assert head[0].overlap[0] == pytest.approx(cell.steps[0].state.overlap[0], abs=1e-9)


@pytest.mark.long
@pytest.mark.slow
def test_bores_that_are_all_hotter_are_a_hotter_head():
    rises = {"head": 15.0, "block": 15.0, "gasket": 15.0}
    odd = fired(coarse_row(2, 1e-2, RowAsFound(bores=(OddBore(0, rises), OddBore(1, rises)))), 1)
    plain = fired(coarse_row(2, 1e-2), 1)
    cases = []
    for case in plain.joint.load_cases:
        warm = case.temperatures["head"] > 20.0
        hotter = {part: at + 15.0 * (warm and part in rises) for part, at in case.temperatures.items()}
        cases.append(replace(case, temperatures=hotter))
    joint = replace(plain.joint, load_cases=tuple(cases), gasket=replace(plain.joint.gasket, expansion=0.0))
    hot = replace(plain, cell=replace(plain.cell, joint=joint))
    own = replace(odd.joint, gasket=joint.gasket)
    odd = replace(odd, cell=replace(odd.cell, joint=own))
    for one, other in zip(states_of(odd), states_of(hot), strict=True):
        assert one.force == pytest.approx(other.force, rel=1e-7)
        assert one.permanent_set == pytest.approx(other.permanent_set, abs=1e-9)


@pytest.mark.long
@pytest.mark.slow
def test_an_odd_row_answers_as_the_odd_bank_condensed_whole():
    """Alike to left and right of the middle bore, so that the bank of two from its centre has the same."""
    law = gasket_law("multi-layer steel body")
    hurt = (Damage("bead", law, None, 0.0, 2.0 * math.pi),)
    ends, inner = {"slack": True}, {"longer": 60.0, "preload": 0.9}
    odd = RowAsFound(
        (*(OddStud(k, **ends) for k in (0, 1, 6, 7)), *(OddStud(k, **inner) for k in (2, 3, 4, 5))),
        (OddBore(0, damage=hurt), OddBore(2, damage=hurt)),
        (Hollow(0, 0.03, 80.0), Hollow(1, 0.03, 80.0)),
    )
    row = coarse_row(3, odd=odd)
    whole = bank("bores = 2\nfired = [1]")
    half = RowAsFound((OddStud(0, **inner), OddStud(1, **ends)), (OddBore(1, damage=hurt),), (Hollow(0, 0.03, 80.0),))
    whole = as_found(HeadModel(replace(whole.cell, row=half, fired=(0,)), whole.reduced, whole.points, whole.gas_lift))
    model = fired(row, 1)
    for one, other in zip(states_of(model), states_of(whole), strict=True):
        assert one.force[[4, 6]] == pytest.approx(other.force, rel=1e-6, abs=1e-3)
        assert one.balance < 1e-8
        for bore, line in enumerate(whole.lines(other.equilibrium)):
            mine = model.lines(one.equilibrium)[bore + 1]
            at = np.searchsorted(mine.angle, line.angle - 1e-6)
            assert mine.pressure[at] == pytest.approx(line.pressure, abs=1e-6 * mine.pressure.max())


def test_a_model_that_repeats_one_tile_does_not_judge_what_is_odd():
    joint = parse_cell(TEXT).joint
    levels = {name: level_of(name, by_formula(joint, 5e4), []) for name in LEVELS}
    for text, expected in ((TEXT, []), (TEXT + ODD, ["row"])):
        seen = cell_seen(parse_cell(text))
        verdict = judge(Judged(joint, seen, levels))
        assert [one.key for one in verdict.undecided if one.key == "row"] == expected
        assert ("[row]" in seen.line) == bool(expected)


def test_a_nut_that_is_turned_once_more_is_no_pass():
    after = SimpleNamespace(force=np.array([50e3, -1e-9]))
    steps = [TighteningStep(0, 0, after), TighteningStep(None, 0, after)]
    (sheet,) = tightening_sheets(steps, "si")
    assert sheet.lines == (("pass 1, stud 1", "50.00", "0.00"), ("again, stud 1", "50.00", "0.00"))
    assert [one.nth_pass for one in steps] == [1, None]
