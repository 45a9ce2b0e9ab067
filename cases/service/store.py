"""Finished steps of a service on disk, one file each: an interrupted run goes on where it stood, bit for bit.

A file counts only if it is whole and of this very service: a checksum over its content, keyed by the service's
fingerprint and the step's number, stands before it. Anything else is as good as missing.
"""

from __future__ import annotations

import dataclasses
import hashlib
import io
import json
from collections.abc import Sequence
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np

from headjoint.cases.service.memory import Memory
from headjoint.cases.service.model import ServiceModel
from headjoint.cases.service.run import Position, Record, Unit
from headjoint.cases.service.tightening import Turning
from headjoint.model.base.errors import InputError
from headjoint.model.base.whole_files import write_whole
from headjoint.model.load_case import CaseHeat, LoadCase
from headjoint.model.service import Step

MARK = "service.json"
DIGEST = 32  # bytes
MEMORY = tuple(field.name for field in dataclasses.fields(Memory))
TURNING = ("angle", "torque", "force", "reached")
PLAIN = (
    "step", "name", "kind", "cycle", "sealing", "line_load", "fired_sealing", "fired_line_load", "stroke", "pressed",
    "pressure_cycles",
)  # fmt: skip
ARRAYS = ("force", "first_force", "first_fired_force", "fired_force", "cold_force", "trace")


def identity(model: ServiceModel, steps: Sequence[Step]) -> str:
    """Return a fingerprint of all that a service follows from: joint, condensed stiffness, steps, version."""
    digest = hashlib.sha256(version("headjoint").encode())
    digest.update(repr((model.joint, tuple(steps))).encode())
    reduced = model.reduced
    for array in (reduced.K, reduced.weight, reduced.B.data, *reduced.loads.values()):
        digest.update(np.ascontiguousarray(array).tobytes())
    return digest.hexdigest()


class ServiceStore:
    """A folder of finished units; every file is written whole or not at all."""

    def __init__(self, folder: Path, fingerprint: str) -> None:
        self.folder, self.fingerprint = folder, fingerprint
        self.kept = 0

    def begin(self) -> None:
        """Make the folder empty for a new run."""
        self.folder.mkdir(parents=True, exist_ok=True)
        for path in self.folder.glob("[0-9]*.step"):
            path.unlink()
        write_whole(self.folder / MARK, json.dumps({"service": self.fingerprint}).encode())
        self.kept = 0

    def resume(self) -> list[Unit]:
        """Return the finished units of an earlier run; InputError where there is none of this very service."""
        try:
            kept = json.loads((self.folder / MARK).read_text("utf-8")).get("service")
        except (OSError, ValueError, AttributeError):
            kept = None
        if kept is None:
            raise InputError(
                "holds no service to go on with; leave --resume out", field="--output", value=str(self.folder)
            )
        if kept != self.fingerprint:
            raise InputError(
                "holds the service of another joint, other steps or another version; leave --resume out to start anew",
                field="--output",
                value=str(self.folder),
            )
        units: list[Unit] = []
        while (content := self._content(len(units))) is not None:
            units.append(_unit(content))
        self.kept = len(units)
        return units

    def keep(self, unit: Unit) -> None:
        """Write one finished unit."""
        buffer = io.BytesIO()
        np.savez(buffer, **_arrays(unit))
        content = buffer.getvalue()
        write_whole(self._path(self.kept), self._checksum(self.kept, content) + content)
        self.kept += 1

    def _path(self, number: int) -> Path:
        return self.folder / f"{number:05d}.step"

    def _checksum(self, number: int, content: bytes) -> bytes:
        digest = hashlib.blake2b(f"{self.fingerprint} {number} ".encode(), digest_size=DIGEST)
        digest.update(content)
        return digest.digest()

    def _content(self, number: int) -> bytes | None:
        """Return what was kept of a unit, None where there is none, a damaged one, or one of another service."""
        try:
            kept = self._path(number).read_bytes()
        except OSError:
            return None
        return kept[DIGEST:] if kept[:DIGEST] == self._checksum(number, kept[DIGEST:]) else None


def _arrays(unit: Unit) -> dict[str, Any]:
    """Return a unit as named arrays, what is not an array as JSON text."""
    position, records = unit
    arrays: dict[str, Any] = {}
    plain: dict[str, Any] = {
        "position": {name: getattr(position, name) for name in ("step", "cycle", "last_cycle", "shaken", "broken")},
        "records": [],
    }
    for name in MEMORY:
        arrays[f"memory.{name}"] = getattr(position.memory, name)
    if position.last_force is not None:
        arrays["last_force"] = position.last_force
    for number, record in enumerate(records):
        row = {name: getattr(record, name) for name in PLAIN}
        row["case"] = None if record.case is None else dataclasses.asdict(record.case)
        if record.turning is not None:
            row["turning"] = {"moved": record.turning.moved, "stretch": record.turning.stretch}
            arrays |= {f"{number}.turning.{name}": getattr(record.turning, name) for name in TURNING}
        arrays |= {f"{number}.{name}": getattr(record, name) for name in ARRAYS if getattr(record, name) is not None}
        arrays |= {f"{number}.memory.{name}": getattr(record.memory, name) for name in MEMORY}
        plain["records"].append(row)
    arrays["plain"] = np.array(json.dumps(plain))
    return arrays


def _unit(content: bytes) -> Unit:
    """Return a unit from what `_arrays` made of it."""
    with np.load(io.BytesIO(content)) as file:
        arrays = dict(file)
    plain = json.loads(str(arrays["plain"]))

    def memory(prefix: str) -> Memory:
        return Memory(**{name: arrays[f"{prefix}.{name}"] for name in MEMORY})

    position = Position(memory=memory("memory"), last_force=arrays.get("last_force"), **plain["position"])
    records = []
    for number, row in enumerate(plain["records"]):
        turning = row.pop("turning", None)
        if turning is not None:
            turning = Turning(**turning, **{name: arrays[f"{number}.turning.{name}"] for name in TURNING})
        row["case"] = None if row["case"] is None else _case(row["case"])
        own: dict[str, Any] = {name: arrays.get(f"{number}.{name}") for name in ARRAYS}
        records.append(Record(**row, **own, turning=turning, memory=memory(f"{number}.memory")))
    return position, tuple(records)


def _case(row: dict[str, Any]) -> LoadCase:
    heat = row.pop("heat", None)
    return LoadCase(**row, heat=None if heat is None else CaseHeat(**heat))
