"""A row of bores put together from one condensed tile: stiffness, loads, interface points, sealing lines."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
import scipy.sparse as sp

from headjoint.cases.condensed.cell_condensation import CellModel, gas_name
from headjoint.cases.condensed.cell_interfaces import InterfacePoints, SealingLine
from headjoint.cases.condensed.interface_laws import PointGroup
from headjoint.cases.condensed.reduced_joint import ReducedJoint
from headjoint.cases.condensed.stud_copies import OF_STUD
from headjoint.cases.elements.memory import RowSize
from headjoint.cases.whole_head.as_found import HeadModel, as_found, hot_loads
from headjoint.cases.whole_head.free_tile import FreeEnd, FreeTile
from headjoint.cases.whole_head.numbering import (
    SIGNS,
    RowNumbers,
    gathered,
    gathered_at_ends,
    numbered,
    point_numbers,
)
from headjoint.cases.whole_head.row_bending import WatchedRow, stud_figures, watched_row
from headjoint.cases.whole_head.row_solver import RowSolver
from headjoint.cases.whole_head.row_stiffness import Repeated, RowStiffness
from headjoint.cases.whole_head.tile import CondensedTile
from headjoint.model.base.arrays import FloatArray, IntArray
from headjoint.model.cell import Bank, Cell

LEVELS = 3  # preloads that all load cases are solved at


@dataclass(frozen=True)
class Row:
    """A row of bores, condensed.

    model : what load cases run on; its cell has all bores. places : (2, f) mm of the fasteners, in the order of their
    numbers. outline : (8, f, 2) mm of the gasket's faces in plan. held : numbers of unknowns that springs hold.
    watched : bending of the studs.
    """

    model: HeadModel = field(repr=False)
    tile: CondensedTile = field(repr=False)
    numbers: RowNumbers = field(repr=False)
    places: FloatArray
    outline: FloatArray = field(repr=False)
    held: IntArray = field(repr=False)
    watched: WatchedRow = field(repr=False)

    @property
    def unlike_sides(self) -> bool:
        """Whether its tile has both sides, unlike each other."""
        return self.numbers.sides == 1

    def at_springs(self, q: FloatArray) -> float:
        """Return the greatest force (N) in the springs that hold what shifts freely: nothing but rounding."""
        stiffness = self.model.reduced.K
        return float(np.abs(stiffness.held * q).max())  # type: ignore[attr-defined]


def row_of(cell: Cell, tile: FreeTile, condensed: CondensedTile, bores: int) -> Row:
    """Return a row whose ends are those of its tile, else planes of symmetry that travel along the row as planes.

    cell : of one bore, a quarter; half where both sides of y = 0 are unlike.
    """
    assert isinstance(cell.layout, Bank)
    model, half = tile.model, cell.layout.pitch / 2.0
    numbers = numbered(bores, tile.at, half, condensed.modes, tile.end)
    blocks = _blocks(condensed, numbers)
    # planes at the ends hold what turns about the plumb line; what lies beyond them is free to
    free = [
        one.shift if tile.end is None else np.concatenate([one.shift, one.turn]) for one in condensed.modes.values()
    ]
    held = np.concatenate(
        [numbers.modes[across][bores // 2][own] for across, own in zip(condensed.modes, free, strict=True)]
    )
    springs = np.zeros(numbers.count)
    springs[held] = condensed.modes[condensed.symmetric[1]].stiffness
    end_model = None if tile.end is None else tile.end.piece.model
    fasteners = fasteners_of(model, numbers, cell.layout.pitch, tile.end)
    points, outline = _points(_pieces(model, end_model, numbers, fasteners, cell.layout.pitch), numbers)
    loads = _loads(model, condensed, numbers, blocks, hot_loads(cell))
    stiffness = RowStiffness(blocks, springs)
    reduced = ReducedJoint(
        K=stiffness,  # type: ignore[arg-type]
        loads=loads,
        B=points.B,
        weight=points.weight,
        radius=np.zeros(len(points.weight)),
        groups=points.groups,
        overlaps=fasteners.unknowns,
        series_compliance=np.full(len(fasteners.unknowns), cell.series_compliance),
        share=fasteners.share,
        solver=RowSolver(model.points, condensed, numbers, None if end_model is None else end_model.points),
    )
    layout = replace(cell.layout, bores=bores, extent="half")
    whole = replace(cell, layout=layout, fired=tuple(range(bores)))
    lift = {gas_name(bore): numbers.copies * model.gas_lift[gas_name(0)] for bore in range(bores)}
    studs = stud_figures(condensed, numbers, stiffness, list(loads), fasteners.of_copy, fasteners.of_ends)
    watched = watched_row(whole, studs, tile.studs.arm, tile.studs.slides, fasteners.places, fasteners.share)
    head = as_found(HeadModel(whole, reduced, points, lift))
    return Row(head, condensed, numbers, fasteners.places, outline, held, watched)


def row_size(cell: Cell, tile: FreeTile, condensed: CondensedTile, bores: int) -> RowSize:
    """Return what a row takes memory by, with all states of a cell's tightening and load cases."""
    assert isinstance(cell.layout, Bank)
    numbers = numbered(bores, tile.at, cell.layout.pitch / 2.0, condensed.modes, tile.end)
    parts = [*condensed.parts.values(), *(condensed.end.parts.values() if condensed.end is not None else ())]
    ends = 0 if tile.end is None else len(tile.end.piece.model.points.weight)
    studs, cases = cell.layout.studs_in_row, cell.joint.load_cases
    with_gas = sum(case.gas_pressure > 0.0 for case in cases)  # of every bore alone, and each once more without
    return RowSize(
        meshed=tile.model.unknowns + (0 if tile.end is None else tile.end.piece.model.unknowns),
        entries=sum(part.stiffness.size + part.beyond.size for part in parts),
        bores=bores,
        unknowns=numbers.count,
        points=numbers.copies * (bores * len(tile.model.points.weight) + ends),
        figures=OF_STUD * studs,
        states=len(cell.order) * studs + LEVELS * (len(cases) - with_gas + 2 * bores * with_gas),
    )


def _blocks(condensed: CondensedTile, numbers: RowNumbers) -> tuple[Repeated, ...]:
    """Return the row's stiffness: tiles in every parity, then ends in every parity about y = 0."""
    found = [
        Repeated.of(part.stiffness, numbers.taken(parity, condensed.modes[parity[1]].mode_normal))
        for parity, part in condensed.parts.items()
    ]
    for across, part in condensed.end.parts.items() if condensed.end is not None else ():
        taken = numbers.taken_by_ends(across, condensed.modes[across].mode_normal)
        found.append(Repeated.of(part.stiffness, taken))
    return tuple(found)


@dataclass(frozen=True)
class Fasteners:
    """Unknowns, places (2, f) and shares of all fasteners.

    of_copy : (bores, 2, sides, own) the number of each copy's. of_ends : (copies, own) of each end's.
    """

    unknowns: IntArray
    places: FloatArray
    share: FloatArray
    of_copy: IntArray
    of_ends: IntArray


def fasteners_of(model: CellModel, numbers: RowNumbers, pitch: float, end: FreeEnd | None) -> Fasteners:
    """Number the row's fasteners along it, those of one place across at positive y first."""
    own = model.mesh.fasteners
    copies = numbers.interfaces[..., numbers.interfaces.shape[-1] - len(own) :]
    unknowns, first, inverse = np.unique(copies, return_index=True, return_inverse=True)
    shares = np.broadcast_to([one.share for one in own], copies.shape)
    share: FloatArray = np.bincount(inverse.ravel(), shares.ravel()).astype(float)
    bore, along, across = (np.arange(n).reshape(shape) for n, shape in zip(copies.shape, _AXES, strict=False))
    x = bore * pitch + SIGNS[along] * np.array([one.x for one in own])
    y = SIGNS[across] * np.array([one.y for one in own]) + 0.0 * x
    places = np.stack([x + 0.0 * y, y]).reshape(2, -1)[:, first]
    order = np.lexsort((-places[1], np.round(places[0], 6)))
    rank = np.empty_like(order)
    rank[order] = np.arange(len(order))
    of_ends = np.empty((numbers.copies, 0), dtype=np.int64)
    if end is not None:
        halves = end.piece.model.mesh.fasteners
        assert numbers.ends is not None
        overlaps = numbers.ends.reshape(numbers.copies, -1)[:, numbers.ends.shape[-1] - len(halves) :]
        at = np.searchsorted(unknowns, overlaps)
        more = np.tile([one.share for one in halves], len(at))
        share += np.bincount(at.ravel(), more, minlength=len(share))
        of_ends = rank[at]
    return Fasteners(unknowns[order], places[:, order], share[order], rank[inverse.reshape(copies.shape)], of_ends)


_AXES = ((-1, 1, 1, 1), (1, -1, 1, 1), (1, 1, -1, 1))


def _loads(
    model: CellModel,
    condensed: CondensedTile,
    numbers: RowNumbers,
    blocks: tuple[Repeated, ...],
    hot: list[str],
) -> dict[str, FloatArray]:
    """Return the unit loads: of a part in all bores, of gas in each, and those called `hot`, of a part in one bore."""
    symmetric, bores, sides = condensed.symmetric, numbers.bores, numbers.sides
    block = blocks[list(condensed.parts).index(symmetric)]
    of_tile = condensed.parts[symmetric].loads
    names = [name for name in of_tile if name not in model.gas_lift]
    names += [gas_name(bore) for bore in range(bores)] + hot
    size = len(block.matrix)
    found = {name: block.given @ gathered(of_tile, {name: 1.0}, bores, size, sides).ravel() for name in names}
    if condensed.end is not None:
        block, of_end = blocks[len(condensed.parts)], condensed.end.parts[symmetric[1]].loads
        for name in names:
            given = gathered_at_ends(of_end, {name: 1.0}, bores, len(block.matrix), sides)
            found[name] += block.given @ given.ravel()
    return found


@dataclass(frozen=True)
class _Piece:
    """All mirrored copies of a tile, or of an end.

    model : as it was assembled. ids : (copies, i) numbers of interface unknowns. number : (copies, g) of interface
    points. sign_x, sign_y, shift : (copies,) that mirror and shift it. fasteners : (copies, own) their numbers.
    """

    model: CellModel
    ids: IntArray
    number: IntArray
    sign_x: FloatArray
    sign_y: FloatArray
    shift: FloatArray
    fasteners: IntArray


def _pieces(
    model: CellModel, end: CellModel | None, numbers: RowNumbers, fasteners: Fasteners, pitch: float
) -> list[_Piece]:
    """Return the row's tiles, and its ends where it has any."""
    bores, sides = numbers.bores, numbers.sides
    count, along = numbers.copies * bores, np.repeat(SIGNS, sides)
    tiles, ends = point_numbers(numbers, model.points, None if end is None else end.points)
    shift, across = np.repeat(pitch * np.arange(bores), numbers.copies), np.tile(SIGNS[:sides], 2 * bores)
    ids, own = numbers.interfaces.reshape(count, -1), fasteners.of_copy.reshape(count, -1)
    found = [_Piece(model, ids, tiles, np.tile(along, bores), across, shift, own)]
    if end is not None:
        assert numbers.ends is not None
        shift = np.where(along > 0.0, pitch * (bores - 1), 0.0)
        ids = numbers.ends.reshape(numbers.copies, -1)
        found.append(_Piece(end, ids, ends, along, np.tile(SIGNS[:sides], 2), shift, fasteners.of_ends))
    return found


def _points(pieces: list[_Piece], numbers: RowNumbers) -> tuple[InterfacePoints, FloatArray]:
    """Return the interface points of all copies, those of gasket faces first, and the faces' outline in plan."""
    total = sum(one.number.size for one in pieces)
    weight, places = np.empty(total), np.empty((2, total))
    zone, fastener = np.empty(total, dtype=np.int64), np.empty(total, dtype=np.int64)
    rows, columns, values, outlines, faces_of, nodes = [], [], [], [], [], []
    groups: dict[str, PointGroup] = {}
    faces = 0
    for piece in pieces:
        own, number = piece.model.points, piece.number
        count = len(number)
        entries = own.B.tocoo()
        rows.append(number[:, entries.row].ravel())
        columns.append(piece.ids[:, entries.col].ravel())
        values.append(np.tile(entries.data, count))
        weight[number], zone[number] = own.weight, own.zone
        places[0, number] = piece.shift[:, None] + piece.sign_x[:, None] * own.places[0]
        places[1, number] = piece.sign_y[:, None] * own.places[1]
        fastener[number] = -1
        under = np.flatnonzero(own.fastener >= 0)
        fastener[number[:, under]] = piece.fasteners[:, own.fastener[under]]
        for one in own.groups:
            before = groups[one.name].points if one.name in groups else np.empty(0, dtype=np.int64)
            at = np.sort(np.concatenate([before, number[:, one.points].ravel()]))
            groups[one.name] = PointGroup(one.name, one.kind, at, one.law, one.step)
        nodes.append(number[:, own.nodes].ravel())
        corners = piece.model.mesh.points[:2, own.gasket_faces]
        x = piece.shift[:, None, None] + piece.sign_x[:, None, None] * corners[0]
        outlines.append(np.stack([x, piece.sign_y[:, None, None] * corners[1]], axis=-1))
        of_copies = faces + np.arange(count)[:, None] * corners.shape[2] + own.gasket_face_of
        faces_of.append(of_copies.ravel())
        faces += count * corners.shape[2]
    tile, bores = pieces[0].model.points, numbers.bores
    by_bore = pieces[0].number.reshape(bores, 2, numbers.sides, -1)
    closures = (np.concatenate(values), (np.concatenate(rows), np.concatenate(columns)))
    outline = np.concatenate([one.transpose(1, 0, 2, 3).reshape(len(one[0]), -1, 2) for one in outlines], axis=1)
    found = InterfacePoints(
        B=sp.coo_matrix(closures, shape=(total, numbers.count)).tocsr(),
        weight=weight,
        places=places,
        zone=zone,
        fastener=fastener,
        groups=tuple(groups.values()),
        lines=tuple(_line(tile.lines[0], by_bore[bore], bore) for bore in range(bores)),
        uncovered=tile.uncovered,
        gasket_faces=np.arange(outline.shape[0] * faces).reshape(faces, -1).T,
        gasket_face_of=np.concatenate(faces_of),
        asked=np.empty(0, dtype=np.int64),  # places that a file asks for are those of its cell
        nodes=np.sort(np.concatenate(nodes)),
    )
    return found, outline


def _line(own: SealingLine, number: IntArray, bore: int) -> SealingLine:
    """Put the sealing line of a bore together from its copies (2, sides, g); what lies on a plane is there once."""
    angles, at, across = [], [], []
    for first in range(2):
        for second in range(number.shape[1]):
            turn = np.radians(own.angle)
            angles.append(np.degrees(np.arctan2(SIGNS[second] * np.sin(turn), SIGNS[first] * np.cos(turn))) % 360.0)
            at.append(number[first, second][own.at])
            across.append(number[first, second][own.across])
    angle, once = np.unique(np.round(np.concatenate(angles), 6) % 360.0, return_index=True)
    return SealingLine(bore, angle, np.concatenate(at)[once], np.concatenate(across)[once], own.across_weight)
