"""The whole head from one tile: parities put together as mirrored copies, and the same answers as a bank condensed whole."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
import scipy.sparse as sp
from conftest import bank_text

from headjoint.cases.condensed.cell_condensation import cell_model, condense_cell
from headjoint.cases.condensed.newton_step import Tangent
from headjoint.cases.condensed.reduced_joint import solve
from headjoint.cases.load_cases.load_history import demand_of, run
from headjoint.cases.models.condensed import condensed_cell
from headjoint.cases.whole_head.face_modes import FaceModes
from headjoint.cases.whole_head.free_tile import free_tile
from headjoint.cases.whole_head.iteration import product_with
from headjoint.cases.whole_head.kept_tile import packed, unpacked
from headjoint.cases.whole_head.left_out import figure_left_out, force_figure
from headjoint.cases.whole_head.numbering import numbered
from headjoint.cases.whole_head.row import row_of
from headjoint.cases.whole_head.row_solver import near_row
from headjoint.cases.whole_head.row_stiffness import Repeated, RowStiffness
from headjoint.cases.whole_head.solved import check_head, tightened_head
from headjoint.cases.whole_head.tile import CondensedTile, ParityTile, StudPart, condensed_tile
from headjoint.meshes.solid.bore_cell import build_cell
from headjoint.model.base.errors import InputError
from headjoint.model.formulas.tightened import by_formula
from headjoint.model.reading.reading import parse_cell
from headjoint.model.row import RowAsFound

BANK = bank_text()
HALF_PITCH = 49.0
PARITIES = ((1, 1), (-1, 1), (1, -1), (-1, -1))
ALIKE = RowAsFound()
# a tile of eight closures: inside, on the cross plane x = 0, on y = 0, where both meet, on the face to the neighbour
AT = np.array([[10.0, 20.0, 30.0, 0.0, 0.0, 15.0, 0.0, 49.0], [5.0, 20.0, 30.0, 9.0, 30.0, 0.0, 0.0, 25.0]])
ON_X = np.array([3, 4, 6])
ON_Y = np.array([5, 6])
ALONG, ACROSS = 3, 2  # displacements of the face: tangential, then normal
HIDDEN = 2  # displacements on the plane x = 0, first along it, then across it: condensed away
CLOSURES = AT.shape[1]
RANDOM = np.random.default_rng(5)


def springs_between_everything():
    """The stiffness of one tile over closures, face and plane displacements: any positive definite one will do."""
    root = RANDOM.normal(size=(CLOSURES + ALONG + ACROSS + HIDDEN, 20))
    return root @ root.T


TILE = springs_between_everything()


def in_parity(parity):
    """The tile with what a parity holds on its planes, the plane's own displacements condensed away."""
    visible = CLOSURES + ALONG + ACROSS
    # symmetric about x = 0: nothing moves across it; antisymmetric: nothing moves along it, no closure on it
    hidden = visible + (0 if parity[0] > 0 else 1)
    held = np.union1d(ON_X if parity[0] < 0 else [], ON_Y if parity[1] < 0 else []).astype(int)
    stiffness = (
        TILE[:visible, :visible] - np.outer(TILE[:visible, hidden], TILE[hidden, :visible]) / TILE[hidden, hidden]
    )
    stiffness[held] = stiffness[:, held] = 0.0
    return stiffness


def watching(count, size):
    """What is watched of studs, any rows will do."""
    crossed = RANDOM.normal(size=(count, count))
    return StudPart(RANDOM.normal(size=(count, size)), np.zeros((count, 0)), crossed + crossed.T)


def invented_tile():
    every = ALONG + ACROSS
    modes = FaceModes(
        modes=np.eye(every),
        beyond=np.zeros((every, 0)),
        stiffness=10.0,
        mode_normal=np.arange(every) >= ALONG,
        beyond_normal=np.zeros(0, dtype=bool),
        shift=np.array([ALONG]),
        turn=np.empty(0, dtype=np.int64),
    )
    nothing, size = np.zeros((0, CLOSURES + every)), CLOSURES + every
    parts = {parity: ParityTile(in_parity(parity), nothing, watching(7, size)) for parity in PARITIES}
    # across y = 0 another mode shifts freely; which one means nothing for invented springs
    return CondensedTile(parts, {1: modes, -1: replace(modes, shift=np.array([0]))})


def invented_row(bores):
    tile = invented_tile()
    numbers = numbered(bores, AT, HALF_PITCH, tile.modes)
    blocks = tuple(
        Repeated.of(part.stiffness, numbers.taken(parity, tile.modes[parity[1]].mode_normal))
        for parity, part in tile.parts.items()
    )
    return tile, numbers, RowStiffness(blocks, np.zeros(numbers.count))


def copies_put_together(numbers, bores):
    """The row's stiffness from mirrored copies of the whole tile, plane displacements and all, with no parities.

    A face's modes in the two parities about y are its displacements at both sides, turned by 45 degrees.
    """
    hidden = 2 * HIDDEN  # at positive and at negative y
    size = numbers.count + bores * hidden
    total = np.zeros((size, size))
    for bore in range(bores):
        for first, along in enumerate((1.0, -1.0)):
            for second, across in enumerate((1.0, -1.0)):
                take = np.zeros((len(TILE), size))
                take[np.arange(CLOSURES), numbers.interfaces[bore, first, second]] = 1.0
                face = bore + 1 - first
                for mode in range(ALONG + ACROSS):
                    sign = along if mode >= ALONG else 1.0  # what is normal to the face points the other way
                    for parity in (1, -1):
                        column = numbers.modes[parity][face, mode]
                        if column >= 0:
                            turned = np.sqrt(0.5) * (across if parity < 0 else 1.0)
                            take[CLOSURES + mode, column] += sign * turned
                place = numbers.count + bore * hidden + second * HIDDEN
                take[-2, place] = 1.0
                take[-1, place + 1] = along
                total += take.T @ TILE @ take
    seen = slice(0, numbers.count)
    rest = slice(numbers.count, size)
    return total[seen, seen] - total[seen, rest] @ np.linalg.solve(total[rest, rest], total[rest, seen])


@pytest.mark.parametrize("bores", [1, 3])
def test_parities_put_together_are_the_mirrored_copies(bores):
    _, numbers, stiffness = invented_row(bores)
    # 18 closures of one bore: three inside times four, two on x times two, one on y times two, one at both, two on faces
    # at both sides of y; a bore more brings as many less the face that it shares
    assert len(np.unique(numbers.interfaces)) == 12 + 4 + 2 + 1 + 4 + (bores - 1) * (12 + 4 + 2 + 1 + 2)
    expected = copies_put_together(numbers, bores)
    assert stiffness.dense() == pytest.approx(expected, rel=1e-10, abs=1e-10 * np.abs(expected).max())


def test_a_row_alike_everywhere_is_solved_at_once():
    tile, numbers, stiffness = invented_row(3)
    points, closures = 12, sp.csr_matrix(RANDOM.normal(size=(12, CLOSURES)))
    slope = RANDOM.random(points) + 0.5
    copies = 4 * 3
    ids = numbers.interfaces.reshape(copies, -1)
    rows = [
        sp.csr_matrix((np.ones(CLOSURES), (np.arange(CLOSURES), ids[copy])), shape=(CLOSURES, numbers.count))
        for copy in range(copies)
    ]
    whole = sp.vstack([closures @ row for row in rows]).tocsr()

    class Points:
        B, weight, gasket_face_of = closures, np.ones(points), np.arange(points)

    spring = np.zeros(numbers.count)
    tangent = Tangent(stiffness, whole, whole.T.tocsr(), np.tile(slope, copies), spring, np.arange(numbers.count))
    near = near_row(Points, tile, numbers, tangent, None)
    wanted = RANDOM.normal(size=numbers.count)
    found = near.solved(product_with(tangent, wanted))
    assert found == pytest.approx(wanted, abs=2e-3)  # the factors are of single precision
    assert len(near.kinds) == 1


def test_a_tile_comes_back_from_its_square_as_it_was():
    tile = invented_tile()
    loads = {
        "head": RANDOM.normal(size=CLOSURES + ALONG + ACROSS),
        "gas 1": RANDOM.normal(size=CLOSURES + ALONG + ACROSS),
    }
    nothing = dict.fromkeys(loads, np.zeros(0))
    parts = dict(tile.parts)
    studs = replace(parts[1, 1].studs, loads={name: RANDOM.normal(size=7) for name in loads})
    parts[1, 1] = replace(parts[1, 1], loads=loads, loads_beyond=nothing, studs=studs)
    square = packed(CondensedTile(parts, tile.modes))
    assert square.shape[0] == square.shape[1]
    found = unpacked(square.ravel(), list(loads))
    for parity in PARITIES:
        assert (found.parts[parity].stiffness == parts[parity].stiffness).all()
        assert (found.parts[parity].studs.rows == parts[parity].studs.rows).all()
        assert (found.parts[parity].studs.crossed == parts[parity].studs.crossed).all()
    assert all((found.parts[1, 1].studs.loads[name] == load).all() for name, load in studs.loads.items())
    assert all((found.parts[1, 1].loads[name] == load).all() for name, load in loads.items())
    assert (found.modes[-1].mode_normal == tile.modes[-1].mode_normal).all()
    assert found.modes[-1].shift.tolist() == [0]


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ("", "", "layout.in_row: state how many bores the engine has in a row"),
        (
            'method = "torque"\ntorque = "72 lbf.ft"',
            'method = "torque and angle"\ntorque = "40 N.m"\nangle = "90 deg"',
            "tightened to a torque or a preload",
        ),
    ],
)
def test_what_no_whole_head_is_made_of_is_said(old, new, expected):
    text = BANK.replace('kind = "bank"', 'kind = "bank"\nin_row = 4') if old else BANK
    with pytest.raises(InputError, match=re.escape(expected)):
        check_head(parse_cell(text.replace(old, new)))


def coarse(extra=""):
    """A low head on a low block without coolant in it, meshed as coarsely as it goes."""
    text = re.sub(r"(jacket_width|jacket_depth|deck_thickness|bridge_wall|centre_column).*\n", "", BANK)
    text = re.sub(r'\[\[gasket.rings\]\]\nname = "stopper".*?\n\n', "", text, flags=re.DOTALL)
    for old, new in (("120", "50"), ("100", "40")):
        text = text.replace(f'height = "{old} mm"', f'height = "{new} mm"')
    for old, new in (('upper_deck = "14', 'upper_deck = "10'), ('fire_deck = "20', 'fire_deck = "12')):
        text = text.replace(old, new)
    text = text.replace('kind = "bank"', f'kind = "bank"\n{extra}')
    return text + '\n[mesh]\nring_size = "21 mm"\nstud_size = "21 mm"\nlargest = "43 mm"\ngrowth = 1.0\n'


REFINEMENT = 0.4
MODES = 1e-4


@lru_cache
def coarse_tile():
    cell = parse_cell(coarse())
    return cell, free_tile(cell, build_cell(cell, REFINEMENT), HALF_PITCH)


@lru_cache
def coarse_condensed(tolerance):
    return condensed_tile(coarse_tile()[1], tolerance)


def coarse_row(bores, tolerance=MODES, odd=ALIKE):
    cell, tile = coarse_tile()
    return row_of(replace(cell, row=odd), tile, coarse_condensed(tolerance), bores)


def bank(extra):
    cell = parse_cell(coarse(extra))
    assembled = cell_model(cell, build_cell(cell, REFINEMENT))
    return condensed_cell(assembled, condense_cell(assembled))


def firing(row, bore):
    return replace(row.model, cell=replace(row.model.cell, fired=(bore,)))


@pytest.mark.long
@pytest.mark.slow
def test_a_row_answers_as_the_bank_condensed_whole():
    """Five bores, the middle one fired: right of its centre that is the bank of two, from the centre of the one that fires."""
    row = coarse_row(3)
    model = firing(row, 1)
    tiles, whole = run(model), run(bank("bores = 2\nfired = [1]"))
    for one, other in zip(tiles.states, whole.states, strict=True):
        # studs in pairs along the row: the last two pairs are right of the middle
        assert one.force[[4, 6]] == pytest.approx(other.force, rel=1e-6)
        assert one.force[[2, 0]] == pytest.approx(other.force, rel=1e-6)
        assert row.at_springs(one.equilibrium.q) < 1e-9 * one.force.sum()
        for bore, line in enumerate(whole.model.lines(other.equilibrium)):
            mine = model.lines(one.equilibrium)[bore + 1]
            at = np.searchsorted(mine.angle, line.angle - 1e-6)
            assert mine.angle[at] == pytest.approx(line.angle)
            assert mine.pressure[at] == pytest.approx(line.pressure, abs=1e-6 * mine.pressure.max())
    # wherever it starts from, an equilibrium is the same
    more = replace(tiles.tightened, forces=1.1 * tiles.tightened.forces)
    (alone, *_), (near, *_) = tightened_head(model, more), tightened_head(model, more, tiles.states[0])
    assert near.overlap == pytest.approx(alone.overlap, rel=1e-9)
    assert near.equilibrium.pressure == pytest.approx(
        alone.equilibrium.pressure, abs=1e-8 * alone.equilibrium.pressure.max()
    )


TIED = '[washer]\ncontact = "tied"\n'


def with_tied_nuts(extra=""):
    return parse_cell(coarse(extra).replace("[washer]\n", TIED))


def test_a_face_may_rise_with_a_head_tied_to_its_nuts_and_all_studs():
    """Whatever else its modes leave out: else the force of the studs is not what the head bears on the gasket."""
    cell = with_tied_nuts()
    tile = free_tile(cell, build_cell(cell, REFINEMENT), HALF_PITCH)
    mesh, transform = tile.model.mesh, tile.model.transform
    moved = np.zeros(transform.shape[1])
    moved[tile.face.unknowns] = tile.face.pulls.sum(axis=0)
    x, y, z = (transform @ moved).reshape(-1, 3).T
    assert not x.any()
    assert not y.any()
    on_face = np.abs(mesh.points[0] - HALF_PITCH) < 1e-6

    def of(*parts):
        cells = np.isin(mesh.part, [mesh.parts.index(part) for part in parts])
        return on_face & np.isin(np.arange(len(z)), mesh.cells[:, cells])

    # on the gasket a closure opens by as much
    pressed = np.unique(np.concatenate([pair.upper.ravel() for pair in mesh.pairs]))
    above = of("head", "nut", "washer") & ~np.isin(np.arange(len(z)), pressed)
    assert above.sum() > 100
    assert z[above] == pytest.approx(1.0)
    assert z[of("block") & ~of("fastener")] == pytest.approx(0.0)


@pytest.mark.long
@pytest.mark.slow
def test_a_head_tied_to_its_nuts_is_in_balance_whatever_its_faces_leave_out():
    cell = with_tied_nuts()
    tile = free_tile(cell, build_cell(cell, REFINEMENT), HALF_PITCH)
    row = row_of(cell, tile, condensed_tile(tile, 3e-2), 2)
    tight = tightened_head(row.model, by_formula(row.model.joint, 50e3, 6))[0]
    at = row.model.reduced.gasket_points()
    borne = row.model.reduced.weight[at] @ tight.equilibrium.pressure[at]
    assert borne == pytest.approx(50e3 * row.model.reduced.share.sum(), rel=1e-10)
    assert row.at_springs(tight.equilibrium.q) < 1e-9 * borne


@pytest.mark.long
@pytest.mark.slow
def test_a_row_with_tied_nuts_answers_as_the_bank_condensed_whole():
    cell = with_tied_nuts()
    tile = free_tile(cell, build_cell(cell, REFINEMENT), HALF_PITCH)
    tiles = run(firing(row_of(cell, tile, condensed_tile(tile, MODES), 3), 1))
    assembled = cell_model(beside := with_tied_nuts("bores = 2\nfired = [1]"), build_cell(beside, REFINEMENT))
    whole = run(condensed_cell(assembled, condense_cell(assembled)))
    for one, other in zip(tiles.states, whole.states, strict=True):
        assert one.force[[4, 6]] == pytest.approx(other.force, rel=1e-8)
        assert one.force[[2, 0]] == pytest.approx(other.force, rel=1e-8)


@pytest.mark.long
@pytest.mark.slow
def test_studs_of_one_side_pull_as_in_the_half_bank():
    """One side is pulled harder: what is antisymmetric about the row's middle line."""
    row, half = coarse_row(1), bank('extent = "half"')
    case = row.model.joint.load_cases[0]
    tight = np.array([50e3, 40e3])
    mine = solve(
        row.model.reduced, demand_of(row.model, case, force=np.tile(tight, 2)), np.zeros(row.model.reduced.points)
    )
    other = solve(half.reduced, demand_of(half, case, force=tight), np.zeros(half.reduced.points))
    assert mine.overlap[:2] == pytest.approx(other.overlap, rel=1e-6)
    assert mine.overlap[2:] == pytest.approx(other.overlap, rel=1e-6)


@pytest.mark.long
@pytest.mark.slow
def test_what_few_modes_leave_out_is_within_what_is_said():
    fine, rough = coarse_row(1), coarse_row(1, 1e-2)
    exact, found = run(fine.model), run(rough.model)
    for one, other in zip(exact.states[1:], found.states[1:], strict=True):
        off = np.abs(one.force - other.force).max()
        allowed = figure_left_out(rough, other, force_figure(rough, 0))
        # all studs are pulled alike: what one is off, all are
        assert off < allowed
        # as exact whatever was asked before
        assert figure_left_out(rough, other, force_figure(rough, 0)) == pytest.approx(allowed, rel=1e-4)
        assert allowed < 1e-3 * other.force.mean()
