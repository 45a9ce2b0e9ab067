"""A tile condensed for all its parities, over interface unknowns and modes of its cut face."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np

from headjoint.cases.whole_head.face_modes import FaceModes, face_modes
from headjoint.cases.whole_head.free_tile import FreeTile, Parity
from headjoint.model.base.arrays import FloatArray

TOLERANCE = 1e-3  # of modes that are left out; their squares are what a stiffness misses
SIDES = (1, -1)


@dataclass(frozen=True)
class ParityTile:
    """A tile in one parity.

    stiffness : (n, n) over interface unknowns (those held are zero) and modes of the face. beyond : (r, n) what modes
    left out feel of them, for their energy. loads, loads_beyond : unit loads by name, (n,) and (r,); only what is
    symmetric in both ways has any.
    """

    stiffness: FloatArray = field(repr=False)
    beyond: FloatArray = field(repr=False)
    loads: Mapping[str, FloatArray] = field(default_factory=dict, repr=False)
    loads_beyond: Mapping[str, FloatArray] = field(default_factory=dict, repr=False)


@dataclass(frozen=True)
class CondensedTile:
    """A tile of a bore. parts : by parity. modes : of its face by the parity about y = 0."""

    parts: Mapping[Parity, ParityTile] = field(repr=False)
    modes: Mapping[int, FaceModes] = field(repr=False)


def condensed_tile(
    tile: FreeTile, tolerance: float = TOLERANCE, stage: Callable[[str], None] = lambda name: None
) -> CondensedTile:
    """Condense a tile of a bore; `tolerance` of its face's modes as in `face_modes`. Raises SolveError."""
    parts: dict[Parity, ParityTile] = {}
    modes: dict[int, FaceModes] = {}
    interfaces = len(tile.model.kept)
    names = list(tile.model.loads)
    for across in SIDES:
        whole: dict[int, FloatArray] = {}
        loads = np.zeros((0, 0))
        for along in SIDES:
            stage(f"condense the tile, part {len(parts) + len(whole) + 1} of 4")
            wanted = names if along == across == 1 else []
            schur = tile.condensed((along, across), wanted)
            size = len(schur) - len(wanted)
            whole[along] = schur[:size, :size]
            if wanted:
                loads = schur[:size, size:].copy()
        stage("modes of the face between tiles")
        own = modes[across] = face_modes(tile.face, across, whole, interfaces, list(loads[interfaces:].T), tolerance)
        for along in SIDES:
            given = dict(zip(names, loads.T, strict=True)) if along == across == 1 else {}
            parts[along, across] = _projected(whole.pop(along), interfaces, own, given)
    return CondensedTile(parts, modes)


def _projected(whole: FloatArray, interfaces: int, modes: FaceModes, loads: Mapping[str, FloatArray]) -> ParityTile:
    """Return stiffness and loads in the coordinates of modes."""
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
