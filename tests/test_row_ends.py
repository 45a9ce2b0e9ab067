"""What closes a row beyond its last bores: stated, meshed, condensed, and joined so that the row answers as one mesh."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import lru_cache
from types import SimpleNamespace

import numpy as np
import pytest
import scipy.sparse as sp
from conftest import COARSE

from headjoint.cases.condensed.cell_condensation import cell_model, condense_cell
from headjoint.cases.condensed.newton_step import Tangent
from headjoint.cases.condensed.reduced_joint import solve
from headjoint.cases.condensed.stiffness_key import stiffness_key
from headjoint.cases.elements.solid import SolidBody
from headjoint.cases.load_cases.load_history import demand_of, run
from headjoint.cases.load_cases.solved import cell_on_mesh
from headjoint.cases.models.condensed import condensed_cell
from headjoint.cases.whole_head import solved
from headjoint.cases.whole_head.face_modes import AT_ENDS
from headjoint.cases.whole_head.free_end import with_end
from headjoint.cases.whole_head.free_tile import free_tile
from headjoint.cases.whole_head.iteration import product_with
from headjoint.cases.whole_head.kept_tile import packed, unpacked
from headjoint.cases.whole_head.left_out import figure_left_out, force_figure
from headjoint.cases.whole_head.numbering import gathered_at_ends, numbered
from headjoint.cases.whole_head.row import row_of
from headjoint.cases.whole_head.row_solver import near_row
from headjoint.cases.whole_head.row_stiffness import Repeated, RowStiffness
from headjoint.cases.whole_head.tile import CondensedEnd, CondensedTile, ParityTile, condensed_tile
from headjoint.meshes.solid import end_piece
from headjoint.meshes.solid.bore_cell import joined, layer_heights, layered
from headjoint.meshes.solid.end_piece import build_tile_and_end, filled_tiles_and_ends
from headjoint.meshes.solid.plan_mesh import PlanMesh
from headjoint.model.base.errors import InputError, MeshError
from headjoint.model.cell import RowEnd
from headjoint.model.reading.reading import parse_cell
from headjoint.postproc.cell.assessment import cell_on_one_mesh
from headjoint.postproc.whole_head.answer import HeadAnswer
from headjoint.postproc.whole_head.findings import assess_head, head_on_one_mesh
from tests.test_whole_head import (
    ACROSS,
    ALONG,
    AT,
    BANK,
    CLOSURES,
    HALF_PITCH,
    MODES,
    PARITIES,
    REFINEMENT,
    coarse,
    copies_put_together,
    invented_tile,
    watching,
)

# --- what is stated


# wide enough for a stud beside the bore, so that none stands at the ends
BESIDE_BORES = BANK.replace('half_width = "70 mm"', 'half_width = "110 mm"')
BESIDE_BORES = BESIDE_BORES.replace('x = "49 mm", y = "48.5 mm"', 'x = "0 mm", y = "85 mm"')


def stated(extra, text=BANK):
    return text.replace('kind = "bank"', f'kind = "bank"\n{extra}')


def test_an_end_is_as_long_and_its_wall_as_thick_as_stated():
    cell = parse_cell(stated('in_row = 4\nend_length = "24 mm"\nend_wall = "1 cm"'))
    assert cell.layout.end == RowEnd(24.0, 10.0)
    # else the wall is that of the side, 13 mm, and no thicker than the end is long
    assert parse_cell(stated('in_row = 4\nend_length = "24 mm"')).layout.end == RowEnd(24.0, 13.0)
    assert parse_cell(stated("in_row = 4")).layout.end is None


def test_the_end_wall_is_told_as_assumed_only_where_there_is_an_end():
    told = [
        {one.field for one in parse_cell(stated(extra)).joint.assumed}
        for extra in ("in_row = 4", 'in_row = 4\nend_length = "24 mm"')
    ]
    assert told[1] - told[0] == {"layout.end_wall"}


@pytest.mark.parametrize(
    ("extra", "expected"),
    [
        ('end_length = "24 mm"', "layout.end_length: means something for the whole row only: state `in_row`"),
        ('in_row = 4\nend_wall = "9 mm"', "layout.end_wall: means something only with `end_length`"),
        ('in_row = 4\nend_length = "24 mm"\nend_wall = "25 mm"', "layout.end_wall: must not exceed the length of the"),
        (
            'in_row = 4\nend_length = "12 mm"',
            "layout.end_length: the column of the studs at the ends (24 mm wide) stick",
        ),
        ('in_row = 4\nend_length = "24 in"', "layout.end_length: must lie between 2 mm and 196 mm, two pitches"),
    ],
)
def test_an_end_that_cannot_be_is_refused(extra, expected):
    with pytest.raises(InputError, match=re.escape(expected)):
        parse_cell(stated(extra))


def test_an_end_that_the_jacket_of_the_last_bore_reaches_is_refused():
    # 43 + 8 + 13 = 64 mm from the bore's centre, 15 mm beyond the middle of the bridge
    text = BESIDE_BORES.replace('jacket_width = "4 mm"', 'jacket_width = "13 mm"')
    with pytest.raises(InputError, match=re.escape("layout.end_length: the water jacket of the last bore reaches the")):
        parse_cell(stated('in_row = 4\nend_length = "9 mm"', text))


def test_a_repeating_cell_is_the_same_with_and_without_ends():
    alone, closed = parse_cell(stated("in_row = 4")), parse_cell(stated('in_row = 4\nend_length = "24 mm"'))
    assert stiffness_key(alone) == stiffness_key(closed)


# --- the mesh


def test_every_part_of_an_end_has_the_volume_of_its_drawing():
    # 40 x 70 mm beyond x = 49 mm, where the other half of the stud stands
    cell = parse_cell(stated('in_row = 4\nend_length = "40 mm"\nend_wall = "11 mm"') + COARSE)
    tile, end = build_tile_and_end(cell, 0.6)
    _, weight = SolidBody(end.points, end.cells, np.zeros((len(end.part), 6, 6))).places()
    own = weight.sum(axis=1) * end.shares
    found = {name: float(own[end.part == index].sum()) for index, name in enumerate(end.parts)}
    shank, hole = np.pi * 5.1**2 / 2.0, np.pi * 6.0**2 / 2.0

    def beyond(r):  # of a quarter circle round the last bore, what lies at x > 49
        return (r**2 * np.arccos(49.0 / r) - 49.0 * np.sqrt(r**2 - 49.0**2)) / 2.0

    # jacket from 51 to 55 mm radius between 16 and 70 mm depth; counterbore 10 mm, then 22 mm of thread
    jacket = (beyond(55.0) - beyond(51.0)) * 54.0
    assert found["block"] == pytest.approx(40.0 * 70.0 * 120.0 - jacket - hole * 10.0 - shank * 22.0, rel=1e-3)
    # decks of 20 and 14 mm; between them half a web of 24 mm, which holds the column, an end wall of 11 and a side wall
    # of 13 mm leave 17 x 57 mm of coolant
    head = (40.0 * 70.0 - hole) * 100.0 - 17.0 * 57.0 * 66.0
    assert found["head"] == pytest.approx(head, rel=1e-3)
    assert found["fastener"] == pytest.approx(shank * (22.0 + 10.0 + 0.75 + 100.0 + 4.0 + 11.0), rel=1e-3)
    assert found["nut"] == pytest.approx((np.pi * 8.5**2 / 2.0 - shank) * 11.0, rel=1e-3)
    assert found["washer"] == pytest.approx(np.pi * (12.0**2 - 6.0**2) / 2.0 * 4.0, rel=1e-3)
    # nodes on the face are those of the tile, but where only one of both has metal
    faces = [one.points[1:, np.abs(one.points[0] - 49.0) < 1e-6].T for one in (tile, end)]
    mine, other = ({tuple(place) for place in np.round(one, 5)} for one in faces)
    assert len(mine & other) > 0.9 * max(len(mine), len(other))
    heights = {y for y, _ in mine | other}
    assert heights == {y for y, _ in mine} == {y for y, _ in other}


def test_a_row_may_end_where_no_stud_stands():
    cell = parse_cell(stated('in_row = 2\nend_length = "20 mm"', BESIDE_BORES) + COARSE)
    tile, end = build_tile_and_end(cell, 0.3)
    closed = with_end(free_tile(cell, tile, 49.0), cell, end, 49.0).end
    assert closed.piece.model.mesh.fasteners == ()
    assert [one.name for one in closed.piece.model.points.groups] == ["body"]
    # the half that a bore's copies share on the plane x = 0 is no stud of an end
    assert (closed.shared >= 0).sum() == (np.abs(closed.piece.at[0] - 49.0) < 1e-6).sum()


# --- the row, put together from invented stiffness

END_AT = np.array([[49.0, 60.0, 60.0], [25.0, 10.0, 0.0]])  # on the face, inside, on y = 0
END_CLOSURES = END_AT.shape[1]
END = SimpleNamespace(shared=np.array([7, -1, -1]), piece=SimpleNamespace(at=END_AT))
RANDOM = np.random.default_rng(9)
ROOT = RANDOM.normal(size=(END_CLOSURES + ALONG + ACROSS, 12))
OF_END = ROOT @ ROOT.T  # springs between everything
WATCHED = watching(7, len(OF_END))


def closed_tile():
    """An invented tile with an end; in the antisymmetric parity nothing moves on y = 0."""
    opposite = OF_END.copy()
    opposite[2] = opposite[:, 2] = 0.0
    nothing = np.zeros((0, len(OF_END)))
    parts = {1: ParityTile(OF_END, nothing, WATCHED), -1: ParityTile(opposite, nothing, WATCHED)}
    return replace(invented_tile(), end=CondensedEnd(parts, {1: 0.0, -1: 0.0}))


def closed_row(bores):
    tile = closed_tile()
    numbers = numbered(bores, AT, HALF_PITCH, tile.modes, END)
    normal = {across: own.mode_normal for across, own in tile.modes.items()}
    blocks = [Repeated.of(tile.parts[one].stiffness, numbers.taken(one, normal[one[1]])) for one in PARITIES]
    blocks += [
        Repeated.of(part.stiffness, numbers.taken_by_ends(across, normal[across]))
        for across, part in tile.end.parts.items()
    ]
    return tile, numbers, RowStiffness(tuple(blocks), np.zeros(numbers.count))


@pytest.mark.parametrize("bores", [1, 3])
def test_ends_put_together_are_mirrored_copies_of_one(bores):
    _, numbers, stiffness = closed_row(bores)
    expected = copies_put_together(numbers, bores)
    for end, (face, along) in enumerate(((bores, 1.0), (0, -1.0))):
        for side, across in enumerate((1.0, -1.0)):
            take = np.zeros((len(OF_END), numbers.count))
            take[np.arange(END_CLOSURES), numbers.ends[end, side]] = 1.0
            for mode in range(ALONG + ACROSS):
                sign = along if mode >= ALONG else 1.0  # what is normal to the face points the other way at the left
                for parity in (1, -1):
                    turned = np.sqrt(0.5) * (across if parity < 0 else 1.0)
                    take[END_CLOSURES + mode, numbers.modes[parity][face, mode]] += sign * turned
            expected += take.T @ OF_END @ take
    assert stiffness.dense() == pytest.approx(expected, rel=1e-10, abs=1e-10 * np.abs(expected).max())
    # nothing is held at the ends, and of an end's closures two inside and one on y = 0 are new
    assert all((own >= 0).all() for own in numbers.modes.values())
    assert len(np.setdiff1d(numbers.ends, numbers.interfaces)) == 2 * (2 + 1)


def invented_points(count, closures):
    return SimpleNamespace(
        B=sp.csr_matrix(RANDOM.normal(size=(count, closures))), weight=np.ones(count), gasket_face_of=np.arange(count)
    )


def check_solved_at_once(tile, numbers, stiffness):
    """Hold a closed row whose interfaces are alike in all copies against its own product: no iteration is needed."""
    of_tile, of_end = invented_points(12, CLOSURES), invented_points(6, END_CLOSURES)
    tiles, ends = numbers.bores * numbers.copies, numbers.copies
    rows = []
    for points, ids in ((of_tile, numbers.interfaces.reshape(tiles, -1)), (of_end, numbers.ends.reshape(ends, -1))):
        for own in ids:
            take = sp.csr_matrix((np.ones(len(own)), (np.arange(len(own)), own)), shape=(len(own), numbers.count))
            rows.append(points.B @ take)
    whole = sp.vstack(rows).tocsr()
    slope = np.concatenate([np.tile(RANDOM.random(12) + 0.5, tiles), np.tile(RANDOM.random(6) + 0.5, ends)])
    spring = np.zeros(numbers.count)
    tangent = Tangent(stiffness, whole, whole.T.tocsr(), slope, spring, np.arange(numbers.count))
    near = near_row(of_tile, tile, numbers, tangent, None, of_end)
    wanted = RANDOM.normal(size=numbers.count)
    found = near.solved(product_with(tangent, wanted))
    assert found == pytest.approx(wanted, abs=2e-3)  # the factors are of single precision


def test_a_closed_row_alike_everywhere_is_solved_at_once():
    check_solved_at_once(*closed_row(3))


def test_a_closed_tile_comes_back_from_its_square_as_it_was():
    tile, size = closed_tile(), CLOSURES + ALONG + ACROSS
    parts, ends = dict(tile.parts), dict(tile.end.parts)
    parts[1, 1] = replace(parts[1, 1], loads={"gas 1": RANDOM.normal(size=size)}, loads_beyond={"gas 1": np.zeros(0)})
    load = RANDOM.normal(size=len(OF_END))
    studs = replace(WATCHED, loads={"head": RANDOM.normal(size=7)})
    ends[1] = replace(ends[1], loads={"head": load}, loads_beyond={"head": np.zeros(0)}, studs=studs)
    parts[1, 1] = replace(parts[1, 1], studs=replace(parts[1, 1].studs, loads={"gas 1": RANDOM.normal(size=7)}))
    stored = CondensedTile(parts, tile.modes, CondensedEnd(ends, {1: 1.5, -1: 1.25}))
    found = unpacked(packed(stored).ravel(), ["gas 1"], ["head"])
    assert found.end.softness == {1: 1.5, -1: 1.25}
    for across in (1, -1):
        assert (found.end.parts[across].stiffness == ends[across].stiffness).all()
    assert (found.end.parts[1].loads["head"] == load).all()
    assert (found.end.parts[1].studs.loads["head"] == studs.loads["head"]).all()
    assert (found.end.parts[-1].studs.rows == WATCHED.rows).all()
    assert (found.parts[1, 1].loads["gas 1"] == parts[1, 1].loads["gas 1"]).all()


def test_an_end_is_as_hot_as_the_bore_beside_it():
    found = gathered_at_ends({"head": np.array([2.0])}, {"head": 0.001, "head of bore 3": 0.0005}, 3, 1)
    # both copies of an end, each in a part symmetric about y = 0: sqrt 2 times one copy's load; the right end first
    assert found.ravel() == pytest.approx(np.sqrt(2.0) * 2.0 * np.array([0.0015, 0.001]))


# --- the row against one mesh of tiles and ends

# of what only the last faces do more is left out
FINE, ROUGH = MODES * AT_ENDS, 3e-3
CLOSED = 'in_row = 3\nend_length = "20 mm"\nend_wall = "9 mm"\n'


@lru_cache
def closed_meshes():
    cell = parse_cell(coarse(CLOSED))
    return cell, *build_tile_and_end(cell, REFINEMENT)


@lru_cache
def closed_free():
    cell, tile, end = closed_meshes()
    return cell, with_end(free_tile(cell, tile, HALF_PITCH), cell, end, HALF_PITCH)


@lru_cache
def closed_condensed(tolerance):
    return condensed_tile(closed_free()[1], tolerance)


def coarse_closed(bores, tolerance=FINE):
    cell, tile = closed_free()
    return row_of(cell, tile, closed_condensed(tolerance), bores)


def one_mesh(bores, extra="", text=coarse):
    """The row from the middle of its first bore to the end, meshed and condensed as one; text : of its file."""
    cell = parse_cell(text(f"{CLOSED}bores = {bores}\n{extra}"))
    tiles, ends = filled_tiles_and_ends(cell, REFINEMENT, followed=True)
    shift, plans = cell.layout.pitch, []
    for tile, end, across in zip(tiles, ends, (1.0, -1.0)[: 1 + (cell.layout.extent == "half")], strict=False):
        plans.append(tile.moved(np.diag([1.0, across]), (0.0, 0.0)))
        for bore in range(1, bores):
            plans += [tile.moved(np.diag([along, across]), (bore * shift, 0.0)) for along in (-1.0, 1.0)]
        plans.append(end.moved(np.diag([1.0, across]), ((bores - 1) * shift, 0.0)))
    mesh = layered(cell, joined(plans), layer_heights(cell, REFINEMENT))
    planes = tuple(
        (normal, nodes) for normal, nodes in mesh.planes
        if normal != (1.0, 0.0) or np.abs(mesh.points[0, nodes]).max() < 1e-6
    )  # fmt: skip
    studs = tuple(
        replace(one, share=1.0, cut_planes=()) if one.x > (bores - 1) * shift + 1.0 else one for one in mesh.fasteners
    )
    assembled = cell_model(cell, replace(mesh, planes=planes, travelling=(), fasteners=studs))
    return condensed_cell(assembled, condense_cell(assembled))


def test_an_end_that_lacks_one_node_of_the_face_is_refused():
    cell, _, end = closed_meshes()
    on_face = np.flatnonzero(np.abs(end.points[0] - HALF_PITCH) < 1e-6)
    points = end.points.copy()
    points[2, on_face[len(on_face) // 2]] += 1e-3
    with pytest.raises(MeshError, match="node for node"):
        with_end(replace(closed_free()[1], end=None), cell, replace(end, points=points), HALF_PITCH)


def test_an_end_follows_another_plan_of_its_tile(monkeypatch):
    made, kept = [], {}
    store = SimpleNamespace(load=kept.get, save=lambda name, row: kept.setdefault(name, row))
    monkeypatch.setattr(end_piece, "end_plan", lambda cell, tile, size: made.append(tile) or tile)
    plan = PlanMesh(np.arange(16.0).reshape(2, 8), np.arange(8)[:, None])
    other = PlanMesh(plan.points + [[1e-3], [0.0]], plan.quads)
    for tile in (plan, other, plan):
        found = end_piece._end(parse_cell(coarse(CLOSED)), tile, REFINEMENT, store, followed=True)
        assert found.points == pytest.approx(tile.points)
    assert len(made) == 2


def firing(row, *bores):
    return replace(row.model, cell=replace(row.model.cell, fired=bores))


@pytest.mark.long
@pytest.mark.slow
def test_a_closed_row_answers_as_one_mesh_of_it():
    """Three bores, both outer ones fired: from the middle of the row to the right that is two bores, the last one fired."""
    row = coarse_closed(3)
    model, whole = firing(row, 0, 2), one_mesh(2, "fired = [2]")
    assert row.model.reduced.share.tolist() == [1.0] * 8  # studs at the ends are whole
    for one, other in zip(run(model).states, run(whole).states, strict=True):
        assert one.force[[4, 6]] == pytest.approx(other.force, rel=1e-6)
        assert one.force[[2, 0]] == pytest.approx(other.force, rel=1e-6)
        assert row.at_springs(one.equilibrium.q) < 1e-9 * one.force.sum()
        for bore, line in enumerate(whole.lines(other.equilibrium)):
            mine = model.lines(one.equilibrium)[bore + 1]
            at = np.searchsorted(mine.angle, line.angle - 1e-6)
            assert mine.pressure[at] == pytest.approx(line.pressure, abs=1e-6 * mine.pressure.max())


@pytest.mark.long
@pytest.mark.slow
def test_studs_of_one_side_pull_as_in_one_mesh_of_both_sides():
    """What is antisymmetric about the middle line; and a single stud pulled turns nothing that is held."""
    row, half = coarse_closed(1), one_mesh(1, 'extent = "half"\n')
    case, tight = row.model.joint.load_cases[0], np.array([50e3, 40e3])
    nothing = np.zeros(row.model.reduced.points)
    mine = solve(row.model.reduced, demand_of(row.model, case, force=np.tile(tight, 2)), nothing)
    other = solve(half.reduced, demand_of(half, case, force=tight), np.zeros(half.reduced.points))
    assert mine.overlap[:2] == pytest.approx(other.overlap, rel=1e-6)
    assert mine.overlap[2:] == pytest.approx(other.overlap, rel=1e-6)
    odd = np.array([50e3, 40e3, 40e3, 40e3])
    alone = solve(row.model.reduced, demand_of(row.model, case, force=odd), nothing)
    assert row.at_springs(alone.q) < 1e-9 * odd.sum()
    assert alone.overlap[0] > alone.overlap[1:].max()


@pytest.mark.long
@pytest.mark.slow
def test_what_few_modes_leave_out_at_the_ends_is_within_what_is_said():
    fine, rough = coarse_closed(1), coarse_closed(1, ROUGH)
    for one, other in zip(run(firing(fine, 0)).states[1:], run(firing(rough, 0)).states[1:], strict=True):
        allowed = figure_left_out(rough, other, force_figure(rough, 0))
        assert np.abs(one.force - other.force).max() < allowed < 1e-3 * other.force.mean()


@pytest.mark.long
@pytest.mark.slow
def test_ends_are_not_felt_in_the_middle_of_a_long_row():
    """Five bores with ends, and as if the row went on: what the end does differently fades over two bores."""
    cell, tile = closed_free()
    closed = closed_condensed(ROUGH)
    rows = row_of(cell, tile, closed, 5), row_of(cell, replace(tile, end=None), replace(closed, end=None), 5)
    told = [firing(one, 2) for one in rows]
    for one, other in zip(*(run(model).states for model in told), strict=True):
        mine, endless = (model.lines(state.equilibrium) for model, state in zip(told, (one, other), strict=True))
        off = [np.abs(a.pressure - b.pressure).max() / b.pressure.max() for a, b in zip(mine, endless, strict=True)]
        assert off[2] < 0.02
        assert off[0] > 5.0 * off[2]


@pytest.mark.long
@pytest.mark.slow
def test_an_answer_says_what_it_judges_of_the_ends(monkeypatch):
    """The same tile with and without what the file states of its ends."""
    closed = closed_condensed(ROUGH)
    found = {}
    for name, ends, kept in (("closed", CLOSED, closed), ("endless", "in_row = 3\n", replace(closed, end=None))):
        cell = parse_cell(coarse(ends.replace("in_row = 3", "in_row = 1")))
        monkeypatch.setattr(solved, "kept_tile", lambda *_, kept=kept, **__: kept)
        head = solved.head_on_mesh(cell, lambda places: range(places.shape[1]), REFINEMENT)
        found[name] = HeadAnswer(assess_head(head), head, stated=(cell,))
    told = {name: answer.document()["finite_elements"] for name, answer in found.items()}
    assert [one["share"] for one in told["closed"]["studs"]] == [1.0] * 4
    assert [one["share"] for one in told["endless"]["studs"]] == [0.5] * 4
    assert [told[name]["ends"] for name in found] == ["as stated", "planes of symmetry"]
    keys = {name: {one.key for one in answer.verdict.not_judged} for name, answer in found.items()}
    assert "ends" in keys["endless"] - keys["closed"]
    assert found["endless"].verdict.holds is not True
    assert all(not {"yield", "fatigue"} & own for own in keys.values())
    # planes of symmetry at both ends of one bore: the repeating cell, whose head-room and stroke it has
    alone = cell_on_one_mesh(cell_on_mesh(cell, REFINEMENT))
    one = alone.states["least"]
    # and whose tension with bending, and amplitudes, in every state at every tightening
    row = head_on_one_mesh(found["endless"].solved).judged
    assert row.seen.solid
    levels = row.levels
    for level, judged in alone.judged.levels.items():
        for state, other in zip(judged.states, levels[level].states, strict=True):
            assert other.tension == pytest.approx(state.tension, rel=1e-3)
            assert other.bent
            if level == "greatest" and state.fired:
                assert state.force_amplitude > 0.0
                assert other.force_amplitude == pytest.approx(state.force_amplitude, rel=1e-3)
    for quantity in ("separation_factor", "stroke"):
        mine, alone = (
            [getattr(state, quantity) for state in states if state.gas_pressure]
            for states in (found["endless"].findings.states["least"], one)
        )
        assert mine == pytest.approx(alone, rel=1e-3)
    # faces of the gasket reach to the end of the block, 49 + 20 mm from the only bore's centre
    reach = {name: np.abs(answer.solved.row.outline[..., 0]).max() for name, answer in found.items()}
    assert reach == pytest.approx({"closed": 69.0, "endless": 49.0})
    area = {name: one.solved.row.model.points.weight[one.solved.row.model.reduced.gasket_points()].sum()
            for name, one in found.items()}  # fmt: skip
    # two ends of 20 x 140 mm, less four halves of holes of 12 mm
    assert area["closed"] - area["endless"] == pytest.approx(2 * 20.0 * 140.0 - 2.0 * np.pi * 6.0**2, rel=1e-3)
