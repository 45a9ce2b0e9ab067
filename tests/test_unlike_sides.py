"""A side of the row unlike the other: stated, meshed over the whole width, and a row that answers as one mesh of it."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import lru_cache, partial
from types import SimpleNamespace

import numpy as np
import pytest
from conftest import COARSE

import headjoint
from headjoint.cases.condensed import stud_rows
from headjoint.cases.condensed.cell_condensation import cell_model, condense_cell
from headjoint.cases.condensed.stiffness_key import stiffness_key
from headjoint.cases.condensed.watched_cell import watched_cell
from headjoint.cases.elements.solid import SolidBody
from headjoint.cases.load_cases.load_history import run, without_gas
from headjoint.cases.models.condensed import condensed_cell
from headjoint.cases.whole_head import solved
from headjoint.cases.whole_head.face_modes import FaceModes, face_modes
from headjoint.cases.whole_head.free_end import with_end
from headjoint.cases.whole_head.free_tile import Face, free_tile
from headjoint.cases.whole_head.kept_tile import packed, unpacked
from headjoint.cases.whole_head.numbering import gathered, gathered_at_ends, numbered
from headjoint.cases.whole_head.row import fasteners_of, row_of
from headjoint.cases.whole_head.row_stiffness import Repeated, RowStiffness
from headjoint.cases.whole_head.tile import CondensedEnd, CondensedTile, ParityTile, condensed_tile
from headjoint.meshes.solid import plan as plans
from headjoint.meshes.solid.bore_cell import build_cell
from headjoint.meshes.solid.end_piece import build_tile_and_end
from headjoint.meshes.solid.plan_mesh import PlanMesh
from headjoint.model.base.errors import InputError, MeshError
from headjoint.model.cell import ExhaustSide
from headjoint.model.reading.reading import parse_cell
from headjoint.model.row import OddStud, RowAsFound
from headjoint.postproc.cell.stuck_nuts import stud_bending
from headjoint.postproc.verdict.model_seen import cell_seen, without_a_coarse_cell
from headjoint.postproc.whole_head.answer import HeadAnswer
from headjoint.postproc.whole_head.findings import assess_head
from tests.test_odd_row import states_of
from tests.test_row_ends import CLOSED, END, FINE, OF_END, check_solved_at_once
from tests.test_row_ends import one_mesh as one_mesh_with_end
from tests.test_whole_head import (
    ACROSS,
    ALIKE,
    ALONG,
    AT,
    BANK,
    CLOSURES,
    HALF_PITCH,
    HIDDEN,
    MODES,
    REFINEMENT,
    TILE,
    coarse,
    coarse_row,
    firing,
    in_parity,
    watching,
)

EXHAUST = 'half_width = "64 mm"\nside_wall = "8 mm"'


def stated(side, extra="", text=BANK):
    return text.replace("[block]", f"[exhaust_side]\n{side}\n\n[block]", 1).replace(
        'kind = "bank"', f'kind = "bank"\n{extra}'
    )


# --- the file


def test_a_side_has_what_the_file_states_and_else_what_the_other_has():
    both = parse_cell(stated(EXHAUST)).layout
    assert both.exhaust == ExhaustSide(64.0, 8.0)
    assert both.half_widths == (70.0, 64.0)
    assert both.extent == "half"  # nothing is symmetric about the row's middle line
    assert parse_cell(stated('side_wall = "8 mm"')).layout.exhaust == ExhaustSide(70.0, 8.0)
    assert parse_cell(stated('half_width = "64 mm"')).layout.exhaust == ExhaustSide(64.0, 13.0)


def test_a_side_stated_as_the_other_is_leaves_the_cell_as_it_is():
    alike = parse_cell(stated('half_width = "70 mm"\nside_wall = "0.013 m"'))
    assert alike.layout == parse_cell(BANK).layout
    assert stiffness_key(alike) == stiffness_key(parse_cell(BANK))
    assert stiffness_key(parse_cell(stated(EXHAUST))) != stiffness_key(parse_cell(stated('side_wall = "8 mm"')))


def test_one_stud_bears_a_mean_of_both_sides():
    # 4 studs, each half, on 98 mm by 70 and by 64 mm: the mean of the two is 67 mm
    areas = [
        sum(
            np.pi / 4.0 * (zone.outer_diameter**2 - zone.inner_diameter**2)
            for zone in parse_cell(text).joint.gasket.zones
        )
        for text in (BANK, stated(EXHAUST))
    ]
    assert areas[0] - areas[1] == pytest.approx(2.0 * 49.0 * (70.0 - 67.0))


def test_one_stud_of_sides_that_differ_is_never_kinder_than_the_worse_of_them():
    alike, differ, narrow = (
        headjoint.estimate(parse_cell(text)).verdict
        for text in (BANK, stated(EXHAUST), BANK.replace('half_width = "70 mm"', 'half_width = "64 mm"'))
    )
    assert narrow.criterion("crush").value < alike.criterion("crush").value
    assert differ.criteria == ()  # their mean lies between
    assert differ.holds is None
    judged = {one.key for one in alike.criteria}
    assert {one.key for one in differ.undecided if "`headjoint solve` without --model judges both" in one.why} == judged
    assert without_a_coarse_cell(parse_cell(stated(EXHAUST)), "more than one tile").mean_of_sides
    assert not cell_seen(parse_cell(stated(EXHAUST))).mean_of_sides


def test_no_designs_are_compared_by_one_stud_of_sides_that_differ(tmp_path):
    (tmp_path / "engine.toml").write_text(stated(EXHAUST))
    with pytest.raises(InputError, match=r"exhaust_side: sides differ.*leave --model out"):
        headjoint.size(tmp_path / "engine.toml", model="stud")


def test_what_the_side_leaves_out_is_told_as_assumed():
    told = {one.field for one in parse_cell(stated('side_wall = "8 mm"')).joint.assumed}
    assert "exhaust_side.half_width" in told
    assert not {one.field for one in parse_cell(BANK).joint.assumed} & {"exhaust_side.half_width"}


@pytest.mark.parametrize(
    ("side", "extra", "expected"),
    [
        ("", "", "exhaust_side: states nothing that is unlike the other side: give `half_width` or `side_wall`"),
        (EXHAUST, 'extent = "quarter"', "layout.extent: has both sides alike, and [exhaust_side] says that they are not"),
        ('half_width = "3 mm"', "", "exhaust_side.half_width: at the exhaust side: must lie between 5 mm and 5000 mm"),
        (
            'half_width = "60 mm"', "",
            "layout.studs[0]: at the exhaust side: must lie in the first quarter, 0 <= x <= 49 mm, its column, boss or "
            "washer (24 mm wide) clear of y = 0 and of the outer side (60 mm)",
        ),
    ],
)  # fmt: skip
def test_a_side_that_cannot_be_is_refused(side, extra, expected):
    with pytest.raises(InputError, match=re.escape(expected)):
        parse_cell(stated(side, extra))


# --- the mesh


def by_side(mesh):
    """The volume (mm3) of every part at positive and at negative y."""
    _, weight = SolidBody(mesh.points, mesh.cells, np.zeros((len(mesh.part), 6, 6))).places()
    own, y = weight.sum(axis=1) * mesh.shares, mesh.points[1, mesh.cells[:8]].mean(axis=0)
    return [
        {name: float(own[(mesh.part == index) & there].sum()) for index, name in enumerate(mesh.parts)}
        for there in (y > 0.0, y < 0.0)
    ]


def test_both_sides_have_the_volumes_of_their_drawing():
    mesh = build_cell(parse_cell(stated(EXHAUST) + COARSE), 0.6)
    hole, shank = np.pi * 6.0**2 / 2.0, np.pi * 5.1**2 / 2.0  # half a stud on each side

    def within(r):  # of a quarter circle round the bore, what lies at x < 49
        return (49.0 * np.sqrt(r**2 - 49.0**2) + r**2 * np.arcsin(49.0 / r)) / 2.0

    jacket = (within(55.0) - within(51.0)) * 54.0
    for found, width, wall in zip(by_side(mesh), (70.0, 64.0), (13.0, 8.0), strict=True):
        # decks of 20 and 14 mm; between them a side wall, half a web of 24 mm with the column in it, a centre column of 44
        coolant = (49.0 - 12.0) * (width - wall) - np.pi * 22.0**2 / 4.0
        assert found["head"] == pytest.approx((49.0 * width - hole) * 100.0 - coolant * 66.0, rel=1e-3)
        block = (49.0 * width - np.pi * 43.0**2 / 4.0) * 120.0
        assert found["block"] == pytest.approx(block - jacket - hole * 10.0 - shank * 22.0, rel=1e-3)


def test_both_sides_of_an_end_have_the_volumes_of_their_drawing():
    cell = parse_cell(stated(EXHAUST, 'in_row = 4\nend_length = "40 mm"\nend_wall = "11 mm"') + COARSE)
    cell = replace(cell, layout=replace(cell.layout, bores=1))
    _, end = build_tile_and_end(cell, 0.6)
    hole = np.pi * 6.0**2 / 2.0
    for found, width, wall in zip(by_side(end), (70.0, 64.0), (13.0, 8.0), strict=True):
        # half a web of 12 mm, which holds the column, an end wall of 11 and the side's wall leave 17 mm of coolant
        head = (40.0 * width - hole) * 100.0 - 17.0 * (width - wall) * 66.0
        assert found["head"] == pytest.approx(head, rel=1e-3)


def test_plans_that_do_not_meet_between_the_bores_are_refused(monkeypatch):
    places = np.array([[0.0, 49.0, 49.0, 0.0, 24.5, 49.0, 24.5, 0.0], [0.0, 0.0, 70.0, 70.0, 0.0, 35.0, 70.0, 35.0]])
    square = PlanMesh(places, np.arange(8)[:, None])
    monkeypatch.setattr(plans, "_tried", lambda *_: (square, 1.0))
    tile = plans.Rectangle(49.0, 70.0), [], lambda x, y: 1.0
    assert plans.tile_plan("bore cell", *tile, middle=(0.0, 24.5, 49.0)) is square
    for other in ((0.0, 49.0), (0.0, 24.4, 49.0)):
        with pytest.raises(MeshError, match="bore cell: the plans of its two sides do not meet"):
            plans.tile_plan("bore cell", *tile, middle=other)


# --- the tile


def test_nothing_of_a_tile_of_both_sides_is_held_between_the_bores():
    _, tile = tile_of_both_sides()
    assert tile.across == (0,)
    points, transform = tile.model.mesh.points, tile.model.transform.tocsc()
    for along, components in ((1, {0}), (-1, {1, 2})):
        held = tile.held((along, 0))
        rows = transform[:, held[held < transform.shape[1]]].indices
        # closures of both faces depend on what is held; all of it is on the bore's cross plane
        assert np.abs(points[0, rows // 3]).max() < 1e-6
        assert components <= set(rows % 3)
    on_middle = (np.abs(points[1]) < 1e-6) & (np.abs(points[0]) > 1e-6)
    assert on_middle.sum() > 100


def test_a_body_of_both_sides_shifts_both_ways_and_turns_by_modes_of_its_face():
    y = np.array([-2.0, -1.0, 1.0, 2.0])
    # displacements of four nodes along y and z, then along the row; rigid: across, along, turned, up, and two tilts
    body = np.zeros((6, 12))
    body[0, :4] = body[1, 8:] = body[3, 4:8] = 1.0
    body[2, 8:], body[4, 4:8] = -y, y
    root = RANDOM.normal(size=(2, 12, 12))
    stiffness = {1: root[0] @ root[0].T, -1: root[1] @ root[1].T}
    face = Face(np.arange(8), np.arange(8, 12), (body,), np.empty((0, 12)))
    found = face_modes(face, 0, stiffness, 0, [], 0.0)

    def left_of(wanted, modes):
        own = found.modes[:, modes]
        return np.abs(wanted - own @ np.linalg.lstsq(own, wanted, rcond=None)[0]).max()

    assert left_of(body[0], found.shift) < 1e-12
    assert left_of(body[1], found.shift) < 1e-12
    assert left_of(body[2], found.shift) > 0.5
    assert left_of(body[2], np.concatenate([found.shift, found.turn])) < 1e-12


# --- the row, put together from invented stiffness: one tile of both sides, two copies of it in a bore

WHOLE = (1, 0), (-1, 0)
RANDOM = np.random.default_rng(11)


def invented_tile():
    every = ALONG + ACROSS
    modes = FaceModes(
        modes=np.eye(every),
        beyond=np.zeros((every, 0)),
        stiffness=10.0,
        mode_normal=np.arange(every) >= ALONG,
        beyond_normal=np.zeros(0, dtype=bool),
        shift=np.array([0, ALONG]),
        turn=np.array([ALONG + 1]),
    )
    nothing = np.zeros((0, CLOSURES + every))
    end = CondensedEnd({0: ParityTile(OF_END, np.zeros((0, len(OF_END))), watching(13, len(OF_END)))}, {0: 0.0})
    return CondensedTile(
        {parity: ParityTile(in_parity(parity), nothing, watching(13, nothing.shape[1])) for parity in WHOLE},
        {0: modes},
        end,
    )


def invented_row(bores):
    tile = invented_tile()
    numbers, normal = numbered(bores, AT, HALF_PITCH, tile.modes, END), tile.modes[0].mode_normal
    blocks = [Repeated.of(tile.parts[one].stiffness, numbers.taken(one, normal)) for one in WHOLE]
    blocks.append(Repeated.of(OF_END, numbers.taken_by_ends(0, normal)))
    return tile, numbers, RowStiffness(tuple(blocks), np.zeros(numbers.count))


def copies_put_together(numbers, bores):
    """The row's stiffness from the tile and its mirror image in every bore, and an end at either side of the row."""
    size = numbers.count + bores * HIDDEN
    total = np.zeros((size, size))

    def add(piece, closures, face, along, hidden=0):
        take = np.zeros((len(piece), size))
        take[np.arange(len(closures)), closures] = 1.0
        for mode in range(ALONG + ACROSS):  # what is normal to the face points the other way in a mirror image
            take[len(closures) + mode, numbers.modes[0][face, mode]] = along if mode >= ALONG else 1.0
        if hidden:  # displacements on the plane x = 0, along it and across it
            take[-2, hidden], take[-1, hidden + 1] = 1.0, along
        return take.T @ piece @ take

    for bore in range(bores):
        for first, along in enumerate((1.0, -1.0)):
            place = numbers.count + bore * HIDDEN
            total += add(TILE, numbers.interfaces[bore, first, 0], bore + 1 - first, along, place)
    for end, (face, along) in enumerate(((bores, 1.0), (0, -1.0))):
        total += add(OF_END, numbers.ends[end, 0], face, along)
    seen, rest = slice(0, numbers.count), slice(numbers.count, size)
    return total[seen, seen] - total[seen, rest] @ np.linalg.solve(total[rest, rest], total[rest, seen])


@pytest.mark.parametrize("bores", [1, 3])
def test_a_row_of_both_sides_is_the_tile_and_its_mirror_images_along_the_row(bores):
    _, numbers, stiffness = invented_row(bores)
    # of eight closures three on x = 0 are there once, the others twice; a bore more shares one on the face with the last
    assert len(np.unique(numbers.interfaces)) == 3 + 2 * 5 + (bores - 1) * (3 + 2 * 5 - 1)
    expected = copies_put_together(numbers, bores)
    assert stiffness.dense() == pytest.approx(expected, rel=1e-10, abs=1e-10 * np.abs(expected).max())


def test_at_a_plane_of_symmetry_a_body_of_both_sides_may_shift_along_the_row_and_across_it():
    own = invented_tile().modes
    modes = numbered(3, AT, HALF_PITCH, own).modes[0]
    # tangential modes are free there; of the two normal ones that which shifts the body along the row
    assert (modes[[0, -1]] >= 0).tolist() == [[True, True, True, True, False]] * 2
    assert (modes[1:-1] >= 0).all()


def test_a_row_of_both_sides_alike_along_itself_is_solved_at_once():
    check_solved_at_once(*invented_row(3))


def test_a_tile_of_both_sides_comes_back_from_its_square_as_it_was():
    tile = invented_tile()
    parts, ends = dict(tile.parts), dict(tile.end.parts)
    load, of_end = RANDOM.normal(size=len(parts[1, 0].stiffness)), RANDOM.normal(size=len(OF_END))
    given, of_studs = {"head": np.zeros(0)}, {"head": RANDOM.normal(size=13)}
    watched = [replace(one.studs, loads=of_studs) for one in (parts[1, 0], ends[0])]
    parts[1, 0] = replace(parts[1, 0], loads={"head": load}, loads_beyond=given, studs=watched[0])
    ends[0] = replace(ends[0], loads={"head": of_end}, loads_beyond=given, studs=watched[1])
    stored = CondensedTile(parts, tile.modes, CondensedEnd(ends, {0: 1.5}))
    found = unpacked(packed(stored).ravel(), ["head"], ["head"], (0,))
    assert all((found.parts[one].stiffness == parts[one].stiffness).all() for one in WHOLE)
    assert (found.parts[1, 0].loads["head"] == load).all()
    assert (found.parts[1, 0].studs.loads["head"] == of_studs["head"]).all()
    assert (found.end.parts[0].loads["head"] == of_end).all()
    assert found.end.softness == {0: 1.5}
    assert found.modes[0].turn.tolist() == [ALONG + 1]


def test_every_stud_of_a_closed_row_is_whole():
    """Two studs, at positive and at negative y, are the last two unknowns of a tile and of an end; at its face each is half."""
    at = np.array([[10.0, 49.0, 49.0], [5.0, 48.5, -48.5]])
    halves = tuple(SimpleNamespace(x=49.0, y=y, share=0.5) for y in (48.5, -48.5))
    piece = SimpleNamespace(at=at[:, 1:], model=SimpleNamespace(mesh=SimpleNamespace(fasteners=halves)))
    end = SimpleNamespace(shared=np.array([1, 2]), piece=piece)
    numbers = numbered(3, at, HALF_PITCH, invented_tile().modes, end)
    found = fasteners_of(piece.model, numbers, 98.0, end)
    assert found.share.tolist() == [1.0] * 8
    assert found.places[0].tolist() == [-49.0, -49.0, 49.0, 49.0, 147.0, 147.0, 245.0, 245.0]
    assert found.places[1].tolist() == [48.5, -48.5] * 4


def test_two_copies_bear_a_load_in_shares_whose_squares_are_its_energy():
    # q'f of two copies alike: with q = sqrt 2 u of each, the load is sqrt 2 f
    loads = {"head": np.array([2.0])}
    assert gathered(loads, {"head": 0.5}, 2, 1, sides=1).ravel() == pytest.approx([np.sqrt(2.0)] * 2)
    assert gathered_at_ends(loads, {"head": 0.5}, 2, 1, sides=1).ravel() == pytest.approx([1.0, 1.0])


def nut(x, y, *planes):
    return SimpleNamespace(x=x, y=y, cut_planes=planes)


def test_in_a_cell_of_unlike_sides_nothing_but_the_nuts_holds_the_head_across_the_row():
    cell = parse_cell(stated(EXHAUST))
    alike = replace(cell, layout=replace(cell.layout, exhaust=None))
    # two studs on the far end, and one that no plane cuts, whose nut slips along the row as well
    nuts = (nut(49.0, 48.5, (1.0, 0.0)), nut(49.0, -48.5, (1.0, 0.0)), nut(10.0, 40.0))
    along, ends = np.array([0, 1, 2, 2]), np.array([0, 1])
    model = SimpleNamespace(cell=cell, mesh=SimpleNamespace(fasteners=nuts))
    # rows along planes, of the free nut along the row and across it, then those across the far end
    assert stud_rows._loose(model, along, 6).ravel().tolist() == [-1.0, -1.0, 0.0, -1.0, 0.0, 0.0]
    assert stud_rows._loose(SimpleNamespace(cell=alike, mesh=model.mesh), along, 6).shape == (6, 0)
    # those on the far end give way as pulled outwards, so that their shears are in balance
    outwards = stud_rows._outwards(model, along, ends)
    assert {number: shears.tolist() for number, shears in outwards.items()} == {0: [1, -1, 0, 0], 1: [-1, 1, 0, 0]}
    middle = SimpleNamespace(cell=cell, mesh=SimpleNamespace(fasteners=(nut(49.0, 0.0), *nuts[1:])))
    assert stud_rows._outwards(middle, along, ends)[0].tolist() == [1, 0, 0, 0]


# --- the row against one mesh, and what statics says of it

UNLIKE, SWAPPED = ("70", "12", "66", "7"), ("66", "7", "70", "12")


def coarse_unlike(sides, extra=""):
    """The coarse bank with widths and walls (mm) of both sides."""
    width, wall, other_width, other_wall = sides
    text = coarse(extra).replace('half_width = "70 mm"', f'half_width = "{width} mm"')
    text = text.replace('side_wall = "13 mm"', f'side_wall = "{wall} mm"')
    return stated(f'half_width = "{other_width} mm"\nside_wall = "{other_wall} mm"', text=text)


@lru_cache
def tile_of_both_sides():
    cell = parse_cell(coarse_unlike(UNLIKE))
    return cell, free_tile(cell, build_cell(cell, REFINEMENT), HALF_PITCH)


@lru_cache
def condensed_both():
    return condensed_tile(tile_of_both_sides()[1], MODES)


def unlike_row(bores, odd=ALIKE):
    cell, tile = tile_of_both_sides()
    return row_of(replace(cell, row=odd), tile, condensed_both(), bores)


def one_mesh(text):
    cell = parse_cell(text)
    assembled = cell_model(cell, build_cell(cell, REFINEMENT))
    return condensed_cell(assembled, condense_cell(assembled))


@pytest.mark.long
@pytest.mark.slow
def test_a_row_of_unlike_sides_answers_as_one_mesh_of_it():
    """Three bores, the middle one fired: right of its centre that is the bank of two, from the centre of the one that fires."""
    row, whole = unlike_row(3), run(one_mesh(coarse_unlike(UNLIKE, "bores = 2\nfired = [1]")))
    model = firing(row, 1)
    for one, other in zip(run(model).states, whole.states, strict=True):
        # at each place along the row the stud at positive y first, as in the bank
        assert one.force[[4, 5, 6, 7]] == pytest.approx(other.force, rel=1e-6)
        assert one.force[[2, 3, 0, 1]] == pytest.approx(other.force, rel=1e-6)
        assert row.at_springs(one.equilibrium.q) < 1e-9 * one.force.sum()
        for bore, line in enumerate(whole.model.lines(other.equilibrium)):
            mine = model.lines(one.equilibrium)[bore + 1]
            at = np.searchsorted(mine.angle, line.angle - 1e-6)
            assert mine.angle[at] == pytest.approx(line.angle)
            assert mine.pressure[at] == pytest.approx(line.pressure, abs=1e-6 * mine.pressure.max())
    # and the sides are unlike: where the wall is thin the head bends more over the hot bore
    firing_state = run(model).states[[case.name for case in model.joint.load_cases].index("firing")]
    assert firing_state.force[4] != pytest.approx(firing_state.force[5], rel=1e-4)


@pytest.mark.long
@pytest.mark.slow
def test_a_closed_row_of_unlike_sides_answers_as_one_mesh_of_it():
    cell = parse_cell(coarse_unlike(UNLIKE, CLOSED))
    one = replace(cell, layout=replace(cell.layout, bores=1))
    mesh, end = build_tile_and_end(one, REFINEMENT)
    tile = with_end(free_tile(one, mesh, HALF_PITCH), one, end, HALF_PITCH)
    row, whole = (
        row_of(one, tile, condensed_tile(tile, FINE), 1),
        one_mesh_with_end(1, text=partial(coarse_unlike, UNLIKE)),
    )
    model = firing(row, 0)
    assert row.model.reduced.share.tolist() == [1.0] * 4
    for mine, other in zip(run(model).states, run(whole).states, strict=True):
        assert mine.force[2:] == pytest.approx(other.force, rel=1e-6)
        assert mine.force[:2] == pytest.approx(other.force, rel=1e-6)
        # nothing is held: the head may turn and shift both ways
        assert row.at_springs(mine.equilibrium.q) < 1e-9 * mine.force.sum()


@pytest.mark.long
@pytest.mark.slow
def test_one_bore_of_unlike_sides_bends_its_studs_as_the_cell_of_both_sides():
    cell = parse_cell(coarse_unlike(UNLIKE))
    assembled = cell_model(cell, build_cell(cell, REFINEMENT))
    found, row = watched_cell(assembled), unlike_row(1)
    pairs = (found.bending, run(condensed_cell(assembled, found.reduced))), (row.watched.rows, run(firing(row, 0)))
    alone, mine = (stud_bending(rows, history, without_gas(history)) for rows, history in pairs)
    # nothing but the nuts holds the head across the row, in the cell as in the row: what they bear there is in balance
    assert alone[-1].shear[0] == pytest.approx(alone[-1].shear[1], rel=1e-2)
    for one, other in zip(alone, mine, strict=True):
        for name in ("stress", "sliding", "sticking", "shear"):
            # the studs at positive and at negative y, at either end of the bore
            expected = np.tile(getattr(one, name), 2)
            assert getattr(other, name) == pytest.approx(expected, abs=1e-3 * expected.max()), name
        if one.amplitude is not None:
            assert other.amplitude == pytest.approx(np.tile(one.amplitude, 2), abs=1e-3 * one.stress.max())
    assert mine[-1].stress[0] != pytest.approx(mine[-1].stress[1], rel=1e-2)


@pytest.mark.long
@pytest.mark.slow
def test_sides_swapped_swap_the_answer():
    found = [run(one_mesh(coarse_unlike(sides))) for sides in (UNLIKE, SWAPPED)]
    for one, other in zip(*(history.states for history in found), strict=True):
        assert one.force == pytest.approx(other.force[::-1], rel=1e-7)
        (mine,), (mirrored,) = found[0].model.lines(one.equilibrium), found[1].model.lines(other.equilibrium)
        there = np.searchsorted(mirrored.angle, (-mine.angle) % 360.0 - 1e-6)
        assert mine.pressure == pytest.approx(mirrored.pressure[there], rel=1e-6)


@pytest.mark.long
@pytest.mark.slow
def test_sides_that_are_alike_answer_as_one_of_them_mirrored():
    cell = parse_cell(coarse())
    both = replace(cell, layout=replace(cell.layout, extent="half"))
    tile = free_tile(both, build_cell(both, REFINEMENT), HALF_PITCH)
    rows = row_of(both, tile, condensed_tile(tile, MODES), 2), coarse_row(2)
    assert (rows[0].places == rows[1].places).all()
    models = [firing(row, 0) for row in rows]
    for one, other in zip(*(run(model).states for model in models), strict=True):
        assert one.force == pytest.approx(other.force, rel=1e-6)
        lines = [model.lines(state.equilibrium) for model, state in zip(models, (one, other), strict=True)]
        for mine, mirrored in zip(*lines, strict=True):
            assert mine.pressure == pytest.approx(mirrored.pressure, abs=1e-6 * mirrored.pressure.max())


@pytest.mark.long
@pytest.mark.slow
def test_the_gasket_bears_the_lever_of_a_stud_that_is_slack_at_one_side():
    """Studs stand at y = 48.5 and -48.5 mm; of six the fourth, at the exhaust side, is slack.

    Gas lifts evenly about y = 0, so of the head's moment about the row's middle line the gasket answers what nuts press.
    """
    row = unlike_row(2, RowAsFound((OddStud(3, slack=True),)))
    assert row.places[1].tolist() == pytest.approx([48.5, -48.5] * 3)
    model, gasket = firing(row, 0), row.model.reduced.gasket_points()
    under_nuts = np.setdiff1d(np.flatnonzero(model.reduced.weight), gasket)
    for state in states_of(model):
        lever = state.equilibrium.pressure * model.reduced.weight * model.points.places[1]
        assert lever[gasket].sum() == pytest.approx(lever[under_nuts].sum(), rel=1e-6)
        # by hand: studs on planes bear half, the third stud has nobody opposite. Studs bend, so that their nuts press
        # some hundredths of a millimetre off the axis: 0.05 of 48.5 mm is 0.1 %
        F = state.force
        moment = 48.5 * (0.5 * (F[0] - F[1]) + F[2] + 0.5 * (F[4] - F[5]))
        assert F[3] == 0.0
        assert lever[gasket].sum() == pytest.approx(moment, rel=5e-3)
        assert state.balance < 1e-8


@pytest.mark.long
@pytest.mark.slow
def test_an_answer_says_which_side_a_stud_stands_at(monkeypatch):
    cell = parse_cell(coarse_unlike(UNLIKE, "in_row = 1\n"))
    monkeypatch.setattr(solved, "kept_tile", lambda *_, **__: condensed_both())
    head = solved.head_on_mesh(cell, lambda places: range(places.shape[1]), REFINEMENT)
    answer = HeadAnswer(assess_head(head), head, stated=(cell,))
    document = answer.document()
    assert document["finite_elements"]["sides"] == "as stated"
    assert [one["side"] for one in document["finite_elements"]["studs"]] == ["intake", "exhaust"] * 2
    assert document["cell"]["layout"]["exhaust"] == {"half_width": 66.0, "side_wall": 7.0}
    # the gasket as it is solved: over the whole width
    y = head.row.outline[..., 1]
    assert (y.min(), y.max()) == pytest.approx((-66.0, 70.0))
    area = head.row.model.points.weight[head.row.model.reduced.gasket_points()].sum()
    assert answer.verdict.holds is not True  # the ends of the row are not stated
    assert "ends" in [one.key for one in answer.verdict.undecided]
    # 98 x 136 mm less the opening of 91 mm at the bore and two whole holes of 12 mm in four halves
    assert area == pytest.approx(98.0 * 136.0 - np.pi / 4.0 * 91.0**2 - 2.0 * np.pi / 4.0 * 12.0**2, rel=2e-3)
