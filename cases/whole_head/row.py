"""A row of bores put together from one condensed tile: stiffness, loads, interface points, sealing lines."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
import scipy.sparse as sp

from headjoint.cases.condensed.cell_condensation import CellModel, gas_name
from headjoint.cases.condensed.cell_interfaces import InterfacePoints, SealingLine
from headjoint.cases.condensed.interface_laws import PointGroup
from headjoint.cases.condensed.reduced_joint import ReducedJoint
from headjoint.cases.whole_head.as_found import HeadModel, as_found, hot_loads
from headjoint.cases.whole_head.free_tile import FreeTile
from headjoint.cases.whole_head.numbering import COPIES, SIGNS, RowNumbers, gathered, numbered, point_numbers
from headjoint.cases.whole_head.row_solver import RowSolver
from headjoint.cases.whole_head.row_stiffness import Repeated, RowStiffness
from headjoint.cases.whole_head.tile import CondensedTile
from headjoint.model.base.arrays import FloatArray, IntArray
from headjoint.model.cell import Bank, Cell


@dataclass(frozen=True)
class Row:
    """A row of bores, condensed.

    model : what load cases run on; its cell has all bores. places : (2, f) mm of the fasteners, in the order of their
    numbers. outline : (8, f, 2) mm of the gasket's faces in plan. held : numbers of unknowns that springs hold.
    """

    model: HeadModel = field(repr=False)
    tile: CondensedTile = field(repr=False)
    numbers: RowNumbers = field(repr=False)
    places: FloatArray
    outline: FloatArray = field(repr=False)
    held: IntArray = field(repr=False)

    def at_springs(self, q: FloatArray) -> float:
        """Return the greatest force (N) in the springs that hold what shifts freely: nothing but rounding."""
        stiffness = self.model.reduced.K
        return float(np.abs(stiffness.held * q).max())  # type: ignore[attr-defined]


def row_of(cell: Cell, tile: FreeTile, condensed: CondensedTile, bores: int) -> Row:
    """Return a row whose ends are planes of symmetry that travel along the row as planes.

    cell : of one bore, a quarter.
    """
    assert isinstance(cell.layout, Bank)
    model, half = tile.model, cell.layout.pitch / 2.0
    numbers = numbered(bores, tile.at, half, condensed.modes)
    blocks = tuple(
        Repeated.of(part.stiffness, numbers.taken(parity, condensed.modes[parity[1]].mode_normal))
        for parity, part in condensed.parts.items()
    )
    held = np.concatenate([numbers.modes[across][bores // 2][own.shift] for across, own in condensed.modes.items()])
    springs = np.zeros(numbers.count)
    springs[held] = condensed.modes[1].stiffness
    fasteners = _fasteners(model, numbers, cell.layout.pitch)
    points, outline = _points(cell, model, numbers, fasteners.of_copy)
    reduced = ReducedJoint(
        K=RowStiffness(blocks, springs),  # type: ignore[arg-type]
        loads=_loads(model, condensed, numbers, blocks, hot_loads(cell)),
        B=points.B,
        weight=points.weight,
        radius=np.zeros(len(points.weight)),
        groups=points.groups,
        overlaps=fasteners.unknowns,
        series_compliance=np.full(len(fasteners.unknowns), cell.series_compliance),
        share=fasteners.share,
        solver=RowSolver(tile.model.points, condensed, numbers),
    )
    layout = replace(cell.layout, bores=bores, extent="half")
    whole = replace(cell, layout=layout, fired=tuple(range(bores)))
    lift = {gas_name(bore): COPIES * model.gas_lift[gas_name(0)] for bore in range(bores)}
    return Row(as_found(HeadModel(whole, reduced, points, lift)), condensed, numbers, fasteners.places, outline, held)


@dataclass(frozen=True)
class _Fasteners:
    """Unknowns, places (2, f) and shares of all fasteners; of_copy : (bores, 2, 2, own) the number of each copy's."""

    unknowns: IntArray
    places: FloatArray
    share: FloatArray
    of_copy: IntArray


def _fasteners(model: CellModel, numbers: RowNumbers, pitch: float) -> _Fasteners:
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
    return _Fasteners(unknowns[order], places[:, order], share[order], rank[inverse.reshape(copies.shape)])


_AXES = ((-1, 1, 1, 1), (1, -1, 1, 1), (1, 1, -1, 1))


def _loads(
    model: CellModel,
    condensed: CondensedTile,
    numbers: RowNumbers,
    blocks: tuple[Repeated, ...],
    hot: list[str],
) -> dict[str, FloatArray]:
    """Return the unit loads: of a part in all bores, of gas in each, and those called `hot`, of a part in one bore."""
    symmetric = (1, 1)
    block = blocks[list(condensed.parts).index(symmetric)]
    of_tile = condensed.parts[symmetric].loads
    names = [name for name in of_tile if name not in model.gas_lift]
    names += [gas_name(bore) for bore in range(numbers.bores)] + hot
    size = len(block.matrix)
    return {name: block.given @ gathered(of_tile, {name: 1.0}, numbers.bores, size).ravel() for name in names}


def _points(
    cell: Cell, model: CellModel, numbers: RowNumbers, fasteners: IntArray
) -> tuple[InterfacePoints, FloatArray]:
    """Return the interface points of all copies, those of gasket faces first, and the faces' outline in plan."""
    own, (bores, _, _, unknowns) = model.points, numbers.interfaces.shape
    pitch = cell.layout.pitch  # type: ignore[union-attr]
    count = COPIES * bores
    ids = numbers.interfaces.reshape(count, unknowns)
    sign_x, sign_y = (np.tile(np.repeat(SIGNS, 2), bores), np.tile(SIGNS, 2 * bores))
    centre = np.repeat(pitch * np.arange(bores), COPIES)
    on_faces, total = len(own.gasket_face_of), len(own.weight)
    number = point_numbers(bores, total, on_faces)
    entries = own.B.tocoo()
    B = sp.coo_matrix(
        (np.tile(entries.data, count), (number[:, entries.row].ravel(), ids[:, entries.col].ravel())),
        shape=(count * total, numbers.count),
    ).tocsr()

    def spread(values: np.ndarray) -> np.ndarray:
        out = np.empty(count * total, dtype=values.dtype)
        out[number] = values
        return out

    places = np.stack(
        [spread(centre[:, None] + sign_x[:, None] * own.places[0]), spread(sign_y[:, None] * own.places[1])]
    )
    of_copy = fasteners.reshape(count, -1)
    fastener = spread(np.where(own.fastener < 0, -1, of_copy[:, np.maximum(own.fastener, 0)]))
    groups = tuple(
        PointGroup(one.name, one.kind, np.sort(number[:, one.points].ravel()), one.law, one.step) for one in own.groups
    )
    lines = tuple(_line(own.lines[0], number.reshape(bores, 2, 2, total)[bore], bore) for bore in range(bores))
    corners = model.mesh.points[:2, own.gasket_faces]
    outline = np.stack(
        [centre[:, None, None] + sign_x[:, None, None] * corners[0], sign_y[:, None, None] * corners[1]], axis=-1
    )
    faces = outline.shape[2]
    found = InterfacePoints(
        B=B,
        weight=spread(np.broadcast_to(own.weight, (count, total))),
        places=places,
        zone=spread(np.broadcast_to(own.zone, (count, total))),
        fastener=fastener,
        groups=groups,
        lines=lines,
        uncovered=own.uncovered,
        gasket_faces=np.arange(count * faces * len(corners[0])).reshape(count * faces, -1).T,
        gasket_face_of=(np.arange(count)[:, None] * faces + own.gasket_face_of).ravel(),
        asked=np.empty(0, dtype=np.int64),  # places that a file asks for are those of its cell
        nodes=np.sort(number[:, own.nodes].ravel()),
    )
    return found, outline.transpose(1, 0, 2, 3).reshape(len(corners[0]), count * faces, 2)


def _line(own: SealingLine, number: IntArray, bore: int) -> SealingLine:
    """Put the sealing line of a bore together from its four quarters; what lies on a plane is there once."""
    angles, at, across = [], [], []
    for first in range(2):
        for second in range(2):
            turn = np.radians(own.angle)
            angles.append(np.degrees(np.arctan2(SIGNS[second] * np.sin(turn), SIGNS[first] * np.cos(turn))) % 360.0)
            at.append(number[first, second][own.at])
            across.append(number[first, second][own.across])
    angle, once = np.unique(np.round(np.concatenate(angles), 6) % 360.0, return_index=True)
    return SealingLine(bore, angle, np.concatenate(at)[once], np.concatenate(across)[once], own.across_weight)
