"""Studs of a whole head bend as in one mesh of it: every stud the mean of its copies, nuts in balance, the verdict."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from headjoint.cases.condensed import cell_condensation
from headjoint.cases.condensed.cell_condensation import cell_model
from headjoint.cases.condensed.store import CondensedStore
from headjoint.cases.condensed.stud_copies import OF_STUD, fit_of_copy
from headjoint.cases.condensed.stud_rows import ShankPoints, against_shears
from headjoint.cases.condensed.watched import Rows
from headjoint.cases.condensed.watched_cell import watched_cell
from headjoint.cases.load_cases.load_history import run, without_gas
from headjoint.cases.load_cases.solved import solve_cell
from headjoint.cases.models.condensed import condensed_cell
from headjoint.cases.whole_head.left_out import bending_left_out
from headjoint.cases.whole_head.numbering import RowNumbers
from headjoint.cases.whole_head.row_bending import StudFigures, loose_ways, stud_figures, watched_row
from headjoint.cases.whole_head.row_stiffness import RowStiffness
from headjoint.cases.whole_head.solved import head_on_mesh
from headjoint.cases.whole_head.tile import StudPart
from headjoint.meshes.solid import symmetry
from headjoint.meshes.solid.bore_cell import build_cell, joined, layer_heights, layered
from headjoint.meshes.solid.end_piece import filled_tiles_and_ends
from headjoint.meshes.solid.symmetry import StudPlace
from headjoint.model.formulas.strength import service_utilisation
from headjoint.model.formulas.stud_bending import stiffened
from headjoint.model.formulas.turning import torsion_of
from headjoint.model.joint import Segment
from headjoint.model.reading.reading import parse_cell
from headjoint.model.row import OddStud, RowAsFound
from headjoint.postproc.cell.assessment import assess_cell
from headjoint.postproc.cell.stuck_nuts import StudBending, stud_bending
from headjoint.postproc.verdict.row_ends import ROW_ENDS
from headjoint.postproc.whole_head.findings import assess_head
from headjoint.postproc.whole_head.studs import between_bores, stud_stresses, studs_sheet, worst_words
from headjoint.postproc.whole_head.studs_picture import bent_towards, studs_in_plan
from tests.test_row_ends import CLOSED, FINE, ROUGH, closed_row, coarse_closed
from tests.test_whole_head import (
    ACROSS,
    ALONG,
    BANK,
    CLOSURES,
    HALF_PITCH,
    ON_X,
    ON_Y,
    REFINEMENT,
    coarse,
    coarse_row,
    firing,
    invented_row,
)

# --- put together from invented rows

RANDOM = np.random.default_rng(3)
ROWS, SIZE = OF_STUD + 1, CLOSURES + ALONG + ACROSS
OF_TILE, OF_END = RANDOM.normal(size=(ROWS, SIZE)), RANDOM.normal(size=(ROWS, 3 + ALONG + ACROSS))
ALONG_ROW = np.array([0, 2, 4])  # of a stud's rows: what a mirror across the row turns round
SHIFT = ROWS - 1


def watching(tile):
    """A tile, and its end, whose own stud, on the face between tiles, is watched by rows on what can be seen."""

    def seen(rows, held):
        own = rows.copy()
        own[:, held] = 0.0
        return StudPart(own, np.zeros((ROWS, 0)), np.zeros((ROWS, ROWS)))

    parts = {}
    for (along, across), part in tile.parts.items():
        held = np.union1d(ON_X if along < 0 else [], ON_Y if across < 0 else []).astype(int)
        parts[along, across] = replace(part, studs=seen(OF_TILE, held))
    if tile.end is None:
        return replace(tile, parts=parts)
    ends = {
        across: replace(one, studs=seen(OF_END, [2] if across < 0 else [])) for across, one in tile.end.parts.items()
    }
    return replace(tile, parts=parts, end=replace(tile.end, parts=ends))


def studs_of(numbers):
    """The numbers of studs on the faces, two at each: the last interface unknown of a tile is its stud's."""
    found = np.unique(numbers.interfaces[..., -1:], return_inverse=True)[1].reshape(numbers.interfaces[..., -1:].shape)
    ends = np.empty((4, 0), dtype=np.int64)
    if numbers.ends is not None:  # right and left, at positive and at negative y
        ends = np.array([found[-1, 0, 0], found[-1, 0, 1], found[0, 1, 0], found[0, 1, 1]])
    return found, ends


def displaced(numbers: RowNumbers, q, interfaces, face, along, across, normal_from):
    """The displacement of one mirrored copy by the row's unknowns: closures, then modes, turned by 45 degrees."""
    found = [q[interfaces]]
    modes = np.zeros(ALONG + ACROSS)
    for parity in (1, -1):
        own = numbers.modes[parity][face]
        at = np.where(own >= 0, q[own], 0.0) * np.sqrt(0.5) * (across if parity < 0 else 1.0)
        modes += np.where(np.arange(len(own)) >= normal_from, along, 1.0) * at
    return np.concatenate([*found, modes])


@pytest.mark.parametrize("ends", [False, True])
def test_a_stud_is_the_mean_of_its_mirrored_copies(ends):
    bores = 3
    tile, numbers, stiffness = closed_row(bores) if ends else invented_row(bores)
    tile, (of_copy, of_ends) = watching(tile), studs_of(numbers)
    found = stud_figures(tile, numbers, stiffness, [], of_copy, of_ends)
    q = RANDOM.normal(size=numbers.count)
    sums, copies = np.zeros((int(of_copy.max()) + 1, OF_STUD)), np.zeros(int(of_copy.max()) + 1)

    def add(stud, figures, along, across, halved):
        turned = np.where(np.isin(np.arange(ROWS), [*ALONG_ROW, SHIFT]), along, across) * figures
        if halved:  # cut by a plane at the row's end: no bending along it, and the nut slips as the plane parts
            turned[ALONG_ROW] = [0.0, 0.0, turned[SHIFT]]
        sums[stud] += turned[:OF_STUD]
        copies[stud] += 1.0

    for bore in range(bores):
        for first, along in enumerate((1.0, -1.0)):
            for second, across in enumerate((1.0, -1.0)):
                face = bore + 1 - first
                own = displaced(numbers, q, numbers.interfaces[bore, first, second], face, along, across, ALONG)
                halved = not ends and face in (0, bores)
                add(of_copy[bore, first, second, 0], OF_TILE @ own, along, across, halved)
    for end, (face, along) in enumerate(((bores, 1.0), (0, -1.0))) if ends else ():
        for side, across in enumerate((1.0, -1.0)):
            own = displaced(numbers, q, numbers.ends[end, side], face, along, across, ALONG)
            add(of_ends[2 * end + side, 0], OF_END @ own, along, across, halved=False)
    assert sorted(copies) == ([2.0] * 8 if ends else [1.0] * 4 + [2.0] * 4)
    expected = (sums / copies[:, None]).ravel()
    assert found.rows.on_unknowns @ q == pytest.approx(expected, rel=1e-10, abs=1e-12)
    assert found.halved.tolist() == (copies == 1.0).tolist()
    assert found.turns is ends


@pytest.mark.parametrize("ends", [False, True])
def test_studs_give_way_as_the_row_does_with_its_interfaces_held(ends):
    tile, numbers, stiffness = closed_row(3) if ends else invented_row(3)
    springs = np.zeros(numbers.count)
    of_modes = np.sort(np.concatenate([own[own >= 0] for own in numbers.modes.values()]))
    springs[of_modes] = RANDOM.random(len(of_modes))
    held = RowStiffness(stiffness.blocks, springs)
    found = stud_figures(watching(tile), numbers, held, [], *studs_of(numbers))
    rows, own = found.rows.on_unknowns[:, of_modes], held.dense()[np.ix_(of_modes, of_modes)]
    expected = rows @ np.linalg.solve(own, rows.T)
    assert found.crossed == pytest.approx(expected, rel=1e-8, abs=1e-10 * np.abs(expected).max())


@pytest.mark.parametrize(("cut", "copies"), [("", 1), ("x", 2), ("y", 2), ("xy", 4)])
def test_what_a_whole_stud_s_stress_is_fitted_by_is_the_mean_of_its_copies(cut, copies):
    """Any stress at mirrored points: planes through the axis leave a half, or a quarter, of them to each copy."""
    across, height = RANDOM.uniform(0.5, 5.0, size=(2, 40)), RANDOM.random(40)
    points = ShankPoints(np.ones(40, dtype=bool), across, height, np.sqrt(RANDOM.random(40) + 0.5), 5.0)
    planes = tuple({"x": (1.0, 0.0), "y": (0.0, 1.0)}[one] for one in cut)
    own, mean, whole, stresses = fit_of_copy(points, planes), np.zeros(4), [], []
    for along in (1.0, -1.0) if "x" in cut else (1.0,):
        for over in (1.0, -1.0) if "y" in cut else (1.0,):
            stress = RANDOM.normal(size=40)
            mean += own @ stress * np.array([along, over, along, over]) / copies
            whole.append(across * np.array([[along], [over]]))
            stresses.append(stress)
    (dx, dy), h, root = np.hstack(whole), np.tile(height, copies), np.tile(points.root, copies)
    columns = np.column_stack([np.ones_like(dx), dx, dy, h * dx, h * dy])
    expected = np.linalg.lstsq(root[:, None] * columns, root * np.concatenate(stresses), rcond=None)[0]
    assert mean == pytest.approx(expected[1:], rel=1e-9, abs=1e-12)


def test_a_head_that_shifts_or_turns_slips_under_all_nuts_alike():
    places = np.array([[-40.0, -40.0, 40.0, 40.0], [30.0, -30.0, 30.0, -30.0]])
    ways = loose_ways(places, turns=True).reshape(4, 2, 3)
    # the head moves, the nuts stay: by -1 along and across; turned by 1/50 it moves by (-y, x)/50, nuts the other way
    assert ways[..., 0].tolist() == [[-1.0, 0.0]] * 4
    assert ways[..., 1].tolist() == [[0.0, -1.0]] * 4
    assert ways[0, :, 2] == pytest.approx([30.0 / 50.0, 40.0 / 50.0])
    assert ways[3, :, 2] == pytest.approx([-30.0 / 50.0, -40.0 / 50.0])
    assert loose_ways(places, turns=False).shape == (8, 2)


# --- the row against one mesh of it


def whole_mesh(monkeypatch, bores, fired):
    """All of a row, both sides and both ends, meshed as one and held as a rigid body only; its one bore fired."""
    text = f'{CLOSED.replace("in_row = 3", f"in_row = {bores}")}bores = {bores}\nextent = "half"\n'
    cell = parse_cell(coarse(text))
    tiles, ends = filled_tiles_and_ends(cell, REFINEMENT, followed=True)
    shift, plans, mirror = cell.layout.pitch, [], {one: np.diag(one) for one in ((1, 1), (1, -1), (-1, 1), (-1, -1))}
    for tile, end, across in zip(tiles, ends, (1, -1), strict=True):
        plans += [tile.moved(mirror[along, across], (bore * shift, 0.0)) for bore in range(bores) for along in (-1, 1)]
        plans += [end.moved(mirror[1, across], ((bores - 1) * shift, 0.0)), end.moved(mirror[-1, across], (0.0, 0.0))]
    studs = [StudPlace((2 * k - 1) * HALF_PITCH, y, ()) for k in range(bores + 1) for y in (48.5, -48.5)]
    monkeypatch.setattr(symmetry, "stud_places", lambda cell: studs)
    monkeypatch.setattr(cell_condensation, "planes_through", lambda *_: ())
    mesh = layered(cell, joined(plans), layer_heights(cell, REFINEMENT))
    in_head = np.unique(mesh.cells[:, mesh.part == mesh.parts.index("head")])
    top = in_head[mesh.points[2, in_head] > mesh.points[2, in_head].max() - 1e-6]
    pins = []
    for nodes in (mesh.support, top):
        x, y = mesh.points[:2, nodes]
        right, left = (int(nodes[np.argmin(np.hypot(x - at, y))]) for at in (x.max(), x.min()))
        pins += [(right, (1.0, 0.0)), (right, (0.0, 1.0)), (left, (0.0, 1.0))]
    held = replace(mesh, planes=(), travelling=(), pins=tuple(pins))
    return cell_model(replace(cell, fired=(fired,)), held)


@pytest.mark.long  # a mesh of three bores condensed whole
@pytest.mark.slow
def test_every_stud_of_three_bores_bends_as_in_one_mesh_of_them(monkeypatch):
    """The first bore fired alone: nothing is symmetric along the row; and studs that are pulled unlike across it."""
    row = coarse_closed(3)
    assembled = whole_mesh(monkeypatch, 3, fired=0)
    found = watched_cell(assembled)
    rows, whole, ways = row.watched.rows, found.bending, row.watched.rows.loose
    assert rows.of.tolist() == whole.of.tolist()
    # shears in balance: what holds one mesh as a rigid body bears nothing then
    expected = against_shears(whole.flexibility, ways)
    assert against_shears(rows.flexibility, ways) == pytest.approx(expected, abs=1e-8 * np.abs(expected).max())
    other = replace(whole, loose=ways)
    mine, one = run(firing(row, 0)), run(condensed_cell(assembled, found.reduced))
    bent = [stud_bending(at, history, without_gas(history)) for at, history in ((rows, mine), (other, one))]
    for state, first, second in zip(one.states, *bent, strict=True):
        for name in ("stress", "sliding", "sticking"):
            assert getattr(first, name) == pytest.approx(getattr(second, name), rel=1e-5), state.name
        if second.amplitude is not None:
            assert first.amplitude == pytest.approx(second.amplitude, abs=1e-5 * second.stress.max())
    fired = next(number for number, state in enumerate(one.states) if state.kind == "firing")
    # the studs about the fired bore swing most, and nothing of that is alike at both ends of the row
    assert bent[0][fired].amplitude[0] > 2.0 * bent[0][fired].amplitude[-1]


@pytest.mark.long
@pytest.mark.slow
def test_one_bore_between_planes_of_symmetry_bends_as_the_cell():
    cell = parse_cell(coarse())
    assembled = cell_model(cell, build_cell(cell, REFINEMENT))
    found, row = watched_cell(assembled), coarse_row(1)
    pairs = (found.bending, run(condensed_cell(assembled, found.reduced))), (row.watched.rows, run(firing(row, 0)))
    alone, mine = (stud_bending(rows, history, without_gas(history)) for rows, history in pairs)
    for one, other in zip(alone, mine, strict=True):
        for name in ("stress", "sliding", "sticking", "shear"):
            assert getattr(other, name) == pytest.approx(np.repeat(getattr(one, name), 4), rel=1e-3), name
        assert other.nut == one.nut * 4
        if one.amplitude is not None:
            assert other.amplitude == pytest.approx(np.repeat(one.amplitude, 4), rel=1e-3)


@pytest.mark.long
@pytest.mark.slow
def test_what_few_modes_leave_out_of_bending_is_within_what_is_said():
    fine, rough = coarse_closed(1, FINE), coarse_closed(1, ROUGH)
    exact, found = (run(firing(row, 0)) for row in (fine, rough))
    bent = [stud_bending(row.watched.rows, history, [None] * len(history.states))
            for row, history in ((fine, exact), (rough, found))]  # fmt: skip
    for number, (one, other) in enumerate(zip(*bent, strict=True)):
        if number:
            allowed = bending_left_out(rough, found.states[0], found.states[number], 0)
            assert np.abs(one.stress - other.stress).max() < allowed < 0.05 * other.stress.max()


@pytest.mark.long  # a tile and its end condensed, and three bores solved at two torques
@pytest.mark.slow
def test_bending_alone_decides_whether_a_whole_head_meets_all(tmp_path):
    """The shipped engine as three bores: bending brings its outer studs too near to yield, and at less torque all is met.

    One bore of it, solved without the ends, calls nothing sound that the row denies.
    """
    text = BANK.replace('kind = "bank"', 'kind = "bank"\nin_row = 3\nend_length = "24 mm"')
    text += '\n[mesh]\nring_size = "14 mm"\nstud_size = "14 mm"\nlargest = "30 mm"\n'
    store, found = CondensedStore(tmp_path), {}
    for torque in ("72 lbf.ft", "66 lbf.ft"):
        cell = parse_cell(text.replace('torque = "72 lbf.ft"', f'torque = "{torque}"'))
        head = head_on_mesh(cell, lambda places: range(places.shape[1]), 1.0, store=store)
        found[torque] = head, assess_head(head)
        limit = assess_cell(solve_cell(cell, store=store, drawn=False)).verdict
        row = found[torque][1].verdict.criterion("yield")
        at_most = limit.criterion(ROW_ENDS.key)
        assert limit.holds is None if at_most is None else at_most.value < row.value
    head, failing = found["72 lbf.ft"]
    assert [one.key for one in failing.verdict.criteria if not one.holds] == ["yield"]
    joint, torsion = head.cell.joint, torsion_of(head.cell.joint, head.found["greatest"].preload)
    for state in failing.states["greatest"][1:]:
        tension = float(state.forces.max()) / joint.fastener.smallest_area
        alone = service_utilisation(joint, tension, torsion.left, state.temperatures["fastener"])
        assert alone.factor > joint.requirements.yield_factor
    # growth adds up from the middle of the row
    bending = np.array([one.bending for one in failing.studs])
    assert bending[[0, 1, 6, 7]].min() > 2.0 * bending[2:6].max()
    verdict = found["66 lbf.ft"][1].verdict
    assert verdict.met
    assert [one.key for one in verdict.undecided] == ["elements"]  # 14 mm, by which nothing is called sound


def test_a_stud_between_two_bores_swings_from_the_gas_of_one_to_that_of_the_other():
    """Bent by 6 MPa along the row by one bore and 5 MPa the other way by the next, it swings by +-5.5 MPa, not +-3."""
    rows = SimpleNamespace(stress=lambda gradients: np.array([float(np.linalg.norm(one)) for one in gradients]))

    def fired(force, along):
        swing = np.array([force]), [np.array([along, 0.0])]
        return StudBending(*[None] * 6, amplitude=np.array([abs(along) / 2.0]), stiffening=None, gradients=(), swings=(swing,))  # fmt: skip

    quiet = StudBending(*[None] * 6, amplitude=None, stiffening=None, gradients=())
    states, cases = (quiet, fired(1e3, 6.0), fired(1e3, -5.0), fired(1e3, -9.0)), ("hot", "firing", "firing", "cold")
    none, one, other, alone = between_bores(rows, states, cases, 100.0)
    assert none.amplitude is None
    # the forces of both are alike and do not swing then: half of 1 kN on 100 mm2 is in an amplitude without bending
    assert one.amplitude + 5.0 == pytest.approx(max(3.0 + 5.0, 5.5))
    assert alone.amplitude == pytest.approx(4.5)
    weak = fired(0.0, 6.0), fired(0.0, -5.0)
    assert [found.amplitude[0] for found in between_bores(rows, weak, cases[1:3], 100.0)] == [5.5, 5.5]
    # one pulls by 1 kN, the other lets go by as much
    torn = fired(1e3, 6.0), fired(-1e3, -5.0)
    assert between_bores(rows, torn, cases[1:3], 100.0)[0].amplitude + 5.0 == pytest.approx(5.5 + 10.0)


# --- what is odd


def test_a_longer_stud_gives_way_as_a_longer_beam_and_bends_by_its_arm():
    cell = parse_cell(coarse("in_row = 1"))
    size, crossed = 4 * OF_STUD, np.diag(np.full(4 * OF_STUD, 1e-3))
    nothing = StudFigures(Rows(np.zeros((size, 1)), {}), crossed, np.zeros(4), True, (), ())
    odd = replace(cell, row=RowAsFound((OddStud(1, longer=60.0),)))
    places, share = np.array([[-49.0, -49.0, 49.0, 49.0], [48.5, -48.5, 48.5, -48.5]]), np.ones(4)
    plain, found = (watched_row(one, nothing, np.array([6.0]), True, places, share).rows for one in (cell, odd))
    # of two cylinders of 10.2 mm between rigid ends: L^3/(12 E I) + L/(0.9 G A), Timoshenko's beam
    fastener = cell.joint.fastener
    E, length = fastener.material.E.at(20.0), fastener.clamped_length
    G, second, A = E / (2.0 * (1.0 + fastener.material.nu)), np.pi / 64.0 * 10.2**4, np.pi / 4.0 * 10.2**2
    more = np.diag(found.flexibility - plain.flexibility)
    assert more[[0, 1, 4, 5, 6, 7]] == pytest.approx(np.zeros(6))
    by_hand = ((length + 60.0) ** 3 - length**3) / (12.0 * E * second) + 60.0 / (0.9 * G * A)
    assert more[2:4] == pytest.approx(by_hand, rel=0.1)  # its thinner lengths are not in the middle
    assert found.arm / plain.arm == pytest.approx([1.0, 1.0 + 60.0 / length, 1.0, 1.0])
    assert found.longer.tolist() == [0.0, 60.0, 0.0, 0.0]
    # and tension stiffens it as a stud of its length
    joint = replace(cell.joint, fastener=replace(fastener, segments=(Segment(length + 60.0, 10.2, False),)))
    assert stiffened(cell.joint, 5e4, 60.0) == pytest.approx(stiffened(joint, 5e4), rel=1e-9)


# --- what is told of it


def told_head():
    """Two bores and six studs: number 2 bends most, 5 lacks yield, 3 swings most; its twin 4 differs by rounding."""
    cell = parse_cell(coarse("in_row = 2"))
    cell = replace(cell, layout=replace(cell.layout, bores=2))
    places = np.array([[-49.0, -49.0, 49.0, 49.0, 147.0, 147.0], [48.5, -48.5] * 3])
    corners = np.array([[-49.0, 147.0, 147.0, -49.0], [-70.0, -70.0, 70.0, 70.0]]).T[:, None, :]
    gradients = [np.array([0.0, 2.0, 1.0, -5.0]) * size for size in (1.0, 4.0, 1.0, 1.0, 2.0, 2.0)]
    still, hot = (
        StudBending(*[np.zeros(6)] * 3, (np.zeros(6),) * 2, ("sticks",) * 6, stress, swing, np.zeros(6), (own, own))
        for stress, swing, own in (
            (np.full(6, 1.0), None, [0.0 * one for one in gradients]),
            (
                np.array([10.0, 40.0, 10.0, 10.0, 20.0, 20.0]),
                np.array([1.0, 1.0, 3.0, 3.0 + 1e-9, 1.0, 1.0]),
                gradients,
            ),
        )
    )
    area = cell.joint.fastener.smallest_area
    forces = np.array([50.0, 50.0, 50.0, 50.0, 60.0, 50.0]) * area * 16.0
    states = [
        SimpleNamespace(
            name=name, forces=forces, force_amplitudes=swing, temperatures=dict.fromkeys(("fastener", "head"), 20.0)
        )
        for name, swing in (("assembly", None), ("firing, bore 1", np.full(6, 100.0)))
    ]
    levels = {"nominal": states, "greatest": states}
    row = SimpleNamespace(
        places=places,
        outline=corners,
        unlike_sides=False,
        watched=SimpleNamespace(rows=SimpleNamespace(arm=np.ones(6))),
    )
    solved = SimpleNamespace(cell=cell, row=row, found={"greatest": SimpleNamespace(preload=50e3)})
    bending = {"nominal": (still, hot), "greatest": (still, hot)}
    return solved, levels, bending


def test_the_studs_that_bend_most_lack_most_and_swing_most_are_named():
    solved, states, bending = told_head()
    studs, joint = stud_stresses(solved, states, bending), solved.cell.joint
    assert [one.bending for one in studs] == [10.0, 40.0, 10.0, 10.0, 20.0, 20.0]
    # 60 x 16 = 960 MPa of tension and 20 of bending; torsion left by tightening comes on top
    assert studs[4].tension == pytest.approx(980.0)
    assert studs[4].yield_factor == service_utilisation(joint, 980.0, torsion_of(joint, 50e3).left, 20.0).factor
    assert min(studs, key=lambda one: one.yield_factor) is studs[4]
    # 100 N over the stress area and 3 MPa
    assert studs[2].amplitude == pytest.approx(100.0 / joint.fastener.thread.stress_area + 3.0)
    told = worst_words(studs, "si", longer=False).texts
    assert told[0].startswith("Stud 2 bends most: 40.00 MPa in 'firing, bore 1'; its nut sticks to the head")
    assert told[1].startswith("Stud 5 has the greatest tension with bending: 980.0 MPa in 'firing, bore 1'")
    # mirror images, alike but for rounding: the first
    assert told[2].startswith("Stud 3 has the greatest stress amplitude by gas: 4.")
    assert "at most" in worst_words(studs, "si", longer=True).texts[-1]
    sheet = studs_sheet(studs, "si")
    assert sheet.lines[4][:2] == ("stud 5", "20.00")
    assert sheet.lines[4][5] == f"{studs[4].yield_factor:.2f}"
    # 1 ksi = 6.895 MPa
    assert float(studs_sheet(studs, "workshop").lines[1][1]) == pytest.approx(40.0 / 6.895, rel=0.01)


def test_a_picture_shows_how_every_stud_is_bent(words_of):
    solved, states, bending = told_head()
    findings = SimpleNamespace(states=states, bending=bending, studs=stud_stresses(solved, states, bending))
    words = words_of(studs_in_plan(solved, findings), "studs")
    assert [words.count(one) for one in ("40.0", "20.0", "10.0")] == [1, 2, 3]
    assert f"{findings.studs[4].yield_factor:.2f}" in words
    # at the seat (1, -3) for (0, 2) at the thread: that end bends more, towards negative y
    assert bent_towards(np.ones(6), bending["nominal"][1])[1] == pytest.approx([4.0, -12.0])
