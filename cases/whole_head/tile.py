"""A tile condensed for all its parities, over interface unknowns and modes of its cut face."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np

from headjoint.cases.elements.memory import check_memory
from headjoint.cases.elements.threads import dense_on_all_threads
from headjoint.cases.whole_head.face_modes import EndOnFace, FaceModes, face_modes
from headjoint.cases.whole_head.free_tile import FreeEnd, FreeTile, Parity
from headjoint.model.base.arrays import FloatArray

TOLERANCE = 1e-3  # of modes that are left out; their squares are what a stiffness misses
SIDES = (1, -1)


@dataclass(frozen=True)
class ParityTile:
    """A tile in one parity.

    stiffness : (n, n) over interface unknowns (those held are zero) and modes of the face. beyond : (r, n) what modes
    left out feel of them, for their energy. loads, loads_beyond : unit loads by name, (n,) and (r,); only what is
    antisymmetric in no way has any.
    """

    stiffness: FloatArray = field(repr=False)
    beyond: FloatArray = field(repr=False)
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
    # two condensed parts and factors at once: 4.2 GB where this tells 4.4, 5.2 where 5.5 (own measurement)
    kept = np.sqrt(2.0) * (len(tile.model.kept) + len(tile.face.unknowns))
    check_memory(tile.model.unknowns, round(kept), solid=True)
    parts: dict[Parity, ParityTile] = {}
    ends: dict[int, ParityTile] = {}
    softness: dict[int, float] = {}
    modes: dict[int, FaceModes] = {}
    interfaces = len(tile.model.kept)
    names, symmetric = list(tile.model.loads), (1, tile.across[0])
    for across in tile.across:
        whole: dict[int, FloatArray] = {}
        loads = np.zeros((0, 0))
        for along in SIDES:
            stage(f"condense the tile, part {len(parts) + len(whole) + 1} of {2 * len(tile.across)}")
            wanted = names if (along, across) == symmetric else []
            whole[along], given = _apart(tile.condensed((along, across), wanted), len(wanted))
            loads = given if wanted else loads
        end: EndOnFace | None = None
        end_loads: dict[str, FloatArray] = {}
        if tile.end is not None:
            stage(f"condense the end of the row, part {len(ends) + 1} of {len(tile.across)}")
            end, end_loads = _end_on_face(tile, tile.end, across)
        stage("modes of the face between tiles")
        on_face = list(loads[interfaces:].T)
        with dense_on_all_threads():
            own = modes[across] = face_modes(tile.face, across, whole, interfaces, on_face, tolerance, end)
        if end is not None:
            ends[across] = _projected(end.stiffness, end.interfaces, own, end_loads)
            softness[across] = _softness(whole, interfaces, own, end)
        for along in SIDES:
            of_part = dict(zip(names, loads.T, strict=True)) if (along, across) == symmetric else {}
            parts[along, across] = _projected(whole.pop(along), interfaces, own, of_part)
    return CondensedTile(parts, modes, CondensedEnd(ends, softness) if ends else None)


def _apart(schur: FloatArray, loads: int) -> tuple[FloatArray, FloatArray]:
    """Return stiffness and loads of what was condensed with so many loads."""
    size = len(schur) - loads
    return schur[:size, :size], schur[:size, size:].copy()


def _end_on_face(tile: FreeTile, end: FreeEnd, across: int) -> tuple[EndOnFace, dict[str, FloatArray]]:
    """Return the end condensed on the unknowns of the tile's face, and its unit loads by name."""
    names = list(end.piece.model.loads) if across == tile.across[0] else []
    stiffness, loads = _apart(end.piece.condensed((1, across), names), len(names))
    interfaces = len(end.piece.model.kept)
    at = np.concatenate([np.arange(interfaces), interfaces + end.on_face])
    size = interfaces + len(tile.face.unknowns)
    whole, of_names = np.zeros((size, size)), np.zeros((size, len(names)))
    whole[np.ix_(at, at)], of_names[at] = stiffness, loads
    return EndOnFace(whole, interfaces, list(of_names[interfaces:].T)), dict(zip(names, of_names.T, strict=True))


def _softness(whole: Mapping[int, FloatArray], interfaces: int, modes: FaceModes, end: EndOnFace) -> float:
    """Return the inverse of the least stiffness, at the row's end, of modes left out (of unit energy between tiles)."""
    if not modes.beyond.size:
        return 0.0
    face = (whole[1][interfaces:, interfaces:] + whole[-1][interfaces:, interfaces:]) / 2.0
    face = face + end.stiffness[end.interfaces :, end.interfaces :]
    return 1.0 / float(np.linalg.eigvalsh(modes.beyond.T @ face @ modes.beyond)[0])


def _projected(whole: FloatArray, interfaces: int, modes: FaceModes, loads: Mapping[str, FloatArray]) -> ParityTile:
    """Return stiffness and loads in the coordinates of modes."""
    with dense_on_all_threads():
        face = whole[interfaces:, interfaces:] @ modes.modes
        coupling = whole[:interfaces, interfaces:] @ modes.modes
        stiffness = np.block([[whole[:interfaces, :interfaces], coupling], [coupling.T, modes.modes.T @ face]])
        beyond = np.hstack([modes.beyond.T @ whole[interfaces:, :interfaces], modes.beyond.T @ face])
    return ParityTile(
        stiffness=(stiffness + stiffness.T) / 2.0,
        beyond=beyond,
        loads={
            name: np.concatenate([load[:interfaces], modes.modes.T @ load[interfaces:]]) for name, load in loads.items()
        },
        loads_beyond={name: modes.beyond.T @ load[interfaces:] for name, load in loads.items()},
    )
