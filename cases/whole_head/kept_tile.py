"""A condensed tile kept on disk, as one matrix of the store that keeps condensed joints."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np

from headjoint.cases.condensed.cell_condensation import model_fingerprint
from headjoint.cases.condensed.store import CondensedStore, fingerprint
from headjoint.cases.whole_head.face_modes import FaceModes
from headjoint.cases.whole_head.free_tile import ALIKE, FreeTile
from headjoint.cases.whole_head.tile import (
    SIDES,
    TOLERANCE,
    CondensedEnd,
    CondensedTile,
    ParityTile,
    StudPart,
    condensed_tile,
)
from headjoint.model.base.arrays import FloatArray


def kept_tile(
    tile: FreeTile,
    store: CondensedStore | None,
    tolerance: float = TOLERANCE,
    stage: Callable[[str], None] = lambda name: None,
) -> CondensedTile:
    """Return a tile condensed, from the store where it was condensed before."""
    if store is None:
        return condensed_tile(tile, tolerance, stage)
    pieces = [tile] if tile.end is None else [tile, tile.end.piece]
    own = [np.frombuffer(model_fingerprint(one.model).encode(), dtype=np.uint8) for one in pieces]
    watched = [array for one in pieces for array in (one.studs.on_all.data, one.studs.on_all.indices)]
    faces = [array for one in pieces for array in (one.face.unknowns, one.face.pulls)]
    name = fingerprint(*own, *faces, *watched, np.array([tolerance]))
    kept = store.load(name)
    if kept is not None:
        of_end = None if tile.end is None else list(tile.end.piece.model.loads)
        return unpacked(kept.ravel(), list(tile.model.loads), of_end, tile.across)
    found = condensed_tile(tile, tolerance, stage)
    store.save(name, packed(found))
    return found


def packed(tile: CondensedTile) -> FloatArray:
    """Return all of a tile's arrays one after the other, each after its shape, filled up to a square."""
    arrays: list[FloatArray] = []
    for modes in tile.modes.values():
        numbers = (modes.mode_normal, modes.beyond_normal, modes.shift, modes.turn)
        arrays += [np.array([modes.stiffness]), *(np.asarray(one, dtype=float) for one in numbers)]
    for part in tile.parts.values():
        arrays += _of_part(part)
    symmetric = [tile.parts[tile.symmetric]]
    if tile.end is not None:
        for across, end in tile.end.parts.items():
            arrays += [np.array([tile.end.softness[across]]), *_of_part(end)]
        symmetric.append(tile.end.parts[tile.symmetric[1]])
    for part in symmetric:
        arrays += [*part.loads.values(), *part.loads_beyond.values(), *part.studs.loads.values()]
    flat = np.concatenate([entry for one in arrays for entry in ([float(one.ndim), *one.shape], one.ravel())])
    side = int(np.ceil(np.sqrt(len(flat))))
    whole = np.zeros(side * side)
    whole[: len(flat)] = flat
    return whole.reshape(side, side)


def _of_part(part: ParityTile) -> list[FloatArray]:
    return [part.stiffness, part.beyond, part.studs.rows, part.studs.beyond, part.studs.crossed]


def _next_part(arrays: Iterator[FloatArray]) -> ParityTile:
    return ParityTile(next(arrays), next(arrays), StudPart(next(arrays), next(arrays), next(arrays)))


def unpacked(
    flat: FloatArray, loads: list[str], end_loads: list[str] | None = None, across: tuple[int, ...] = ALIKE
) -> CondensedTile:
    """Return the tile that `packed` packed; the shapes of modes are not kept, nobody needs them any more.

    loads, end_loads : names of the unit loads of tile and end, None where it has none. across : parities about y = 0.
    """
    arrays = _arrays(flat)
    modes = {}
    for side in across:
        stiffness, mode_normal, beyond_normal, shift, turn = (next(arrays) for _ in range(5))
        modes[side] = FaceModes(
            modes=np.empty((0, len(mode_normal))),
            beyond=np.empty((0, len(beyond_normal))),
            stiffness=float(stiffness[0]),
            mode_normal=mode_normal.astype(bool),
            beyond_normal=beyond_normal.astype(bool),
            shift=shift.astype(np.int64),
            turn=turn.astype(np.int64),
        )
    parts = {(along, side): _next_part(arrays) for side in across for along in SIDES}
    ends: dict[int, ParityTile] = {}
    softness: dict[int, float] = {}
    for side in across if end_loads is not None else ():
        softness[side] = float(next(arrays)[0])
        ends[side] = _next_part(arrays)
    first = across[0]
    parts[1, first] = _with_loads(parts[1, first], loads, arrays)
    if end_loads is None:
        return CondensedTile(parts, modes)
    ends[first] = _with_loads(ends[first], end_loads, arrays)
    return CondensedTile(parts, modes, CondensedEnd(ends, softness))


def _with_loads(part: ParityTile, names: list[str], arrays: Iterator[FloatArray]) -> ParityTile:
    of_loads, beyond, of_studs = ({name: next(arrays) for name in names} for _ in range(3))
    studs = StudPart(part.studs.rows, part.studs.beyond, part.studs.crossed, of_studs)
    return ParityTile(part.stiffness, part.beyond, studs, of_loads, beyond)


def _arrays(flat: FloatArray) -> Iterator[FloatArray]:
    at = 0
    while True:
        ndim = int(flat[at])
        shape = tuple(int(one) for one in flat[at + 1 : at + 1 + ndim])
        at += 1 + ndim
        size = int(np.prod(shape))
        yield flat[at : at + size].reshape(shape)
        at += size
