"""A plan mesh kept from one run to the next: of an engine whose plan is the same, none is made again."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import Protocol

import numpy as np

from headjoint.meshes.solid.plan_mesh import PlanMesh
from headjoint.model.base.arrays import FloatArray

DIGEST = 32  # bytes
CORNERS_AND_MIDDLES = 8


class PlanStore(Protocol):
    """Where matrices are kept by name; None where there is none, or a damaged one."""

    def load(self, name: str) -> FloatArray | None:
        """Return the matrix of that name."""

    def save(self, name: str, matrix: FloatArray) -> None:
        """Keep it."""


def kept_plan(store: PlanStore | None, stated: object, make: Callable[[], PlanMesh]) -> PlanMesh:
    """Return the plan mesh that `make` makes of what is stated, made only where the store has none.

    stated : all that the plan follows from, told whole by its `repr`.
    """
    if store is None:
        return make()
    name = _name(stated)
    row = store.load(name)
    if row is not None:
        return _unpacked(row[0])
    plan = make()
    # as it will be read: whoever finds a kept plan works on the same numbers in the same order in memory
    row = _packed(plan)
    store.save(name, row)
    return _unpacked(row[0])


def _packed(plan: PlanMesh) -> FloatArray:
    points, quads = plan.points, plan.quads
    return np.concatenate([[float(points.shape[1])], points.ravel(), quads.ravel().astype(float)])[None, :]


def _unpacked(row: FloatArray) -> PlanMesh:
    count = int(row[0])
    points, quads = row[1 : 1 + 2 * count], row[1 + 2 * count :]
    return PlanMesh(points.reshape(2, count).copy(), quads.reshape(CORNERS_AND_MIDDLES, -1).astype(np.int64))


def _name(stated: object) -> str:
    digest = hashlib.blake2b(_makers(), digest_size=DIGEST)
    digest.update(repr(stated).encode())
    return digest.hexdigest()


@cache
def _makers() -> bytes:
    """Return what else a plan follows from: the mesher, and the modules here."""
    own = sorted(Path(__file__).parent.glob("*.py"))
    return b"".join([version("headjoint").encode(), version("gmsh").encode(), *(path.read_bytes() for path in own)])
