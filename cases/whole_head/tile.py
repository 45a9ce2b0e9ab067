"""A tile condensed for all its parities, over interface unknowns and modes of its cut face."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from headjoint.cases.elements.memory import check_memory, room_for_both
from headjoint.cases.elements.side_by_side import side_by_side
from headjoint.cases.elements.threads import dense_on_all_threads, share_of_threads
from headjoint.cases.whole_head.face_modes import EndOnFace, FaceModes, face_modes
from headjoint.cases.whole_head.free_tile import FreeEnd, FreeTile, Parity
from headjoint.model.base.arrays import FloatArray

TOLERANCE = 1e-3  # of modes that are left out; their squares are what a stiffness misses
SIDES = (1, -1)


@dataclass(frozen=True)
class StudPart:
    """What is watched of a tile's studs in one parity, r rows.

    rows : (r, n) over interface unknowns and modes of the face. beyond : (r, b) over modes left out. crossed : (r, r),
    a figure under a load that is another row, all of these held. loads : unit loads by name, (r,).
    """

    rows: FloatArray = field(repr=False)
    beyond: FloatArray = field(repr=False)
    crossed: FloatArray = field(repr=False)
    loads: Mapping[str, FloatArray] = field(default_factory=dict, repr=False)


@dataclass(frozen=True)
class ParityTile:
    """A tile in one parity.

    stiffness : (n, n) over interface unknowns (those held are zero) and modes of the face. beyond : (r, n) what modes
    left out feel of them, for their energy. studs : what is watched of them. loads, loads_beyond : unit loads by name,
    (n,) and (r,); only what is antisymmetric in no way has any.
    """

    stiffness: FloatArray = field(repr=False)
    beyond: FloatArray = field(repr=False)
    studs: StudPart = field(repr=False)
    loads: Mapping[str, FloatArray] = field(default_factory=dict, repr=False)
    loads_beyond: Mapping[str, FloatArray] = field(default_factory=dict, repr=False)


@dataclass(frozen=True)
class CondensedEnd:
    """What closes the row, by parity about y = 0: over its interface unknowns and the modes of the tile's face.

    softness : by how much (N mm) a unit force on the modes that the face leaves out gives way there at most.
    """

    parts: Mapping[int, ParityTile] = field(repr=False)
    softness: Mapping[int, float]


@dataclass(frozen=True)
class CondensedTile:
    """A tile of a bore. parts : by parity. modes : of its face by the parity about y = 0. end : what closes the row."""

    parts: Mapping[Parity, ParityTile] = field(repr=False)
    modes: Mapping[int, FaceModes] = field(repr=False)
    end: CondensedEnd | None = field(default=None, repr=False)

    @property
    def symmetric(self) -> Parity:
        """The parity that has loads."""
        return 1, next(iter(self.modes))


def condensed_tile(
    tile: FreeTile, tolerance: float = TOLERANCE, stage: Callable[[str], None] = lambda name: None
) -> CondensedTile:
    """Condense a tile of a bore, and its end; `tolerance` of its face's modes as in `face_modes`.

    Raises SolveError, before any work where there is not enough memory.
    """
    # two condensed parts and the factors of one: 4.2 GB where this tells 4.4, 5.2 where 5.5 (own measurement)
    kept = np.sqrt(2.0) * (len(tile.model.kept) + len(tile.face.unknowns))
    check_memory(tile.model.unknowns, round(kept), solid=True)
    at_once = room_for_both(tile.model.unknowns, round(kept))
    parts: dict[Parity, ParityTile] = {}
    ends: dict[int, ParityTile] = {}
    softness: dict[int, float] = {}
    modes: dict[int, FaceModes] = {}
    interfaces = len(tile.model.kept)
    names, symmetric = list(tile.model.loads), (1, tile.across[0])
    for across in tile.across:
        stage(f"condense the tile, parts {len(parts) + 1} and {len(parts) + 2} of {2 * len(tile.across)}")
        both = [(tile, (along, across), names if (along, across) == symmetric else []) for along in SIDES]
        whole = dict(zip(SIDES, _condensed_both(both) if at_once else [_condensed(*one) for one in both], strict=True))
        end: EndOnFace | None = None
        beyond: Condensed | None = None
        if tile.end is not None:
            stage(f"condense the end of the row, part {len(ends) + 1} of {len(tile.across)}")
            beyond = _end_on_face(tile, tile.end, across)
            end = EndOnFace(beyond.stiffness, beyond.interfaces, beyond.on_face())
        stage("modes of the face between tiles")
        stiffness = {along: one.stiffness for along, one in whole.items()}
        on_face = [load for one in whole.values() for load in one.on_face()]
        with dense_on_all_threads():
            own = modes[across] = face_modes(tile.face, across, stiffness, interfaces, on_face, tolerance, end)
        if end is not None and beyond is not None:
            ends[across] = _projected(beyond, own, len(tile.face.tangential))
            softness[across] = _softness(stiffness, interfaces, own, end)
        del stiffness
        for along in SIDES:
            parts[along, across] = _projected(whole.pop(along), own, len(tile.face.tangential))
    return CondensedTile(parts, modes, CondensedEnd(ends, softness) if ends else None)


@dataclass(frozen=True)
class Condensed:
    """A piece in one parity over its interfaces, then the unknowns of a face.

    stiffness : (n, n). loads : (n,) by name. watched : (n, r) what is watched of the studs, as loads. crossed, given :
    (r, r), and (r,) by name of a unit load, what a watched row and a unit load do to the rows while all that is held.
    """

    stiffness: FloatArray
    interfaces: int
    loads: Mapping[str, FloatArray]
    watched: FloatArray
    crossed: FloatArray
    given: Mapping[str, FloatArray]

    def on_face(self) -> list[FloatArray]:
        """Return what loads, and loads that are what is watched, do to the face (f,)."""
        return [one[self.interfaces :] for one in (*self.loads.values(), *self.watched.T)]


def _condensed_both(both: Sequence[tuple[FreeTile, Parity, list[str]]]) -> list[Condensed]:
    """Condense a piece in two parities side by side, each on half of all threads: none waits for the other."""

    def condensed(one: tuple[FreeTile, Parity, list[str]]) -> Condensed:
        with share_of_threads(len(both)):
            return _condensed(*one)

    return side_by_side(condensed, both)


def _condensed(piece: FreeTile, parity: Parity, names: list[str]) -> Condensed:
    schur, studs = piece.condensed(parity, names), piece.studs
    first = len(piece.model.kept) + len(piece.face.unknowns)
    watch, nothing = slice(first + len(names), None), np.zeros(studs.on_all.shape[0])
    crossed = -schur[watch, watch]
    return Condensed(
        schur[:first, :first],
        len(piece.model.kept),
        {name: schur[:first, first + at].copy() for at, name in enumerate(names)},
        schur[:first, watch].copy(),
        (crossed + crossed.T) / 2.0,
        {name: -schur[watch, first + at] - studs.strained.get(name, nothing) for at, name in enumerate(names)},
    )


def _end_on_face(tile: FreeTile, end: FreeEnd, across: int) -> Condensed:
    """Return the end condensed on the unknowns of the tile's face."""
    names = list(end.piece.model.loads) if across == tile.across[0] else []
    own = _condensed(end.piece, (1, across), names)
    at = np.concatenate([np.arange(own.interfaces), own.interfaces + end.on_face])
    size = own.interfaces + len(tile.face.unknowns)

    def placed(columns: FloatArray) -> FloatArray:
        found = np.zeros((size, *columns.shape[1:]))
        found[at] = columns
        return found

    return replace(
        own,
        stiffness=placed(placed(own.stiffness).T),
        loads={name: placed(load) for name, load in own.loads.items()},
        watched=placed(own.watched),
    )


def _softness(whole: Mapping[int, FloatArray], interfaces: int, modes: FaceModes, end: EndOnFace) -> float:
    """Return the inverse of the least stiffness, at the row's end, of modes left out (of unit energy between tiles)."""
    if not modes.beyond.size:
        return 0.0
    face = (whole[1][interfaces:, interfaces:] + whole[-1][interfaces:, interfaces:]) / 2.0
    face = face + end.stiffness[end.interfaces :, end.interfaces :]
    return 1.0 / float(np.linalg.eigvalsh(modes.beyond.T @ face @ modes.beyond)[0])


def _projected(found: Condensed, modes: FaceModes, tangential: int) -> ParityTile:
    """Return stiffness, loads and what is watched in the coordinates of modes.

    tangential : how many unknowns of the face are; no mode moves both these and those that are normal to it.
    """
    whole, interfaces, normal = found.stiffness, found.interfaces, modes.mode_normal
    along, across = modes.modes[:tangential, ~normal], modes.modes[tangential:, normal]

    def on_modes(rows: FloatArray) -> FloatArray:
        return np.hstack([rows[:, :tangential] @ along, rows[:, tangential:] @ across])

    with dense_on_all_threads():
        face = on_modes(whole[interfaces:, interfaces:])
        coupling = on_modes(whole[:interfaces, interfaces:])
        stiffness = np.block([[whole[:interfaces, :interfaces], coupling], [coupling.T, modes.modes.T @ face]])
        beyond = np.hstack([modes.beyond.T @ whole[interfaces:, :interfaces], modes.beyond.T @ face])

    def in_modes(load: FloatArray) -> FloatArray:
        return np.concatenate([load[:interfaces], modes.modes.T @ load[interfaces:]])

    rows, left_out = in_modes(found.watched).T, found.watched[interfaces:].T @ modes.beyond
    return ParityTile(
        stiffness=(stiffness + stiffness.T) / 2.0,
        beyond=beyond,
        studs=StudPart(np.ascontiguousarray(rows), left_out, found.crossed, found.given),
        loads={name: in_modes(load) for name, load in found.loads.items()},
        loads_beyond={name: modes.beyond.T @ load[interfaces:] for name, load in found.loads.items()},
    )
