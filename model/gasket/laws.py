"""Pressure-closure laws of gasket zones: loading curve, unloading line, permanent set, no tension.

A law is p(c, s): contact pressure from closure c and permanent set s (both mm, c measured from first touch
of the zone). First loading follows the curve L(c, T); below it the zone springs back along a straight line

    p = max(0, min(L(c, T), k_u (c - s)))        with k_u the unloading stiffness (MPa/mm),

and the set grows only while the zone is on its loading curve: s = c - L(c, T)/k_u. Because k_u is at least
the steepest slope of L, the set never shrinks and a closed loop never gives energy back. A law without
unloading stiffness is nonlinear elastic: it comes back along its loading curve and keeps no set.

No published pressure-closure table with units was found for head gaskets: the named laws are typical
shapes from memory, each with the range that a comparison should carry.
"""

from __future__ import annotations

import bisect
import math
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

from headjoint.model.base.errors import InputError, unknown_name
from headjoint.model.base.property_table import PropertyTable
from headjoint.model.library.plasticity import Creep


@dataclass(frozen=True)
class LoadingCurve:
    """First-loading pressure (MPa) at rising closures (mm), piecewise linear, at one temperature (degC).

    Zero before the first point; beyond the last point the last slope goes on.
    """

    temperature: float
    closure: tuple[float, ...]
    pressure: tuple[float, ...]

    def at(self, closure: float) -> float:
        """Return the first-loading pressure (MPa) at `closure` (mm)."""
        if closure <= self.closure[0]:
            return 0.0
        upper = min(bisect.bisect_left(self.closure, closure), len(self.closure) - 1)
        c0, c1 = self.closure[upper - 1], self.closure[upper]
        p0, p1 = self.pressure[upper - 1], self.pressure[upper]
        return p0 + (p1 - p0) * (closure - c0) / (c1 - c0)

    def slopes(self) -> list[float]:
        """Return the slope (MPa/mm) of each straight piece."""
        return [
            (p1 - p0) / (c1 - c0)
            for c0, c1, p0, p1 in zip(self.closure, self.closure[1:], self.pressure, self.pressure[1:], strict=False)
        ]


@dataclass(frozen=True)
class GasketLaw:
    """Pressure-closure law of one gasket zone; see the module text for its mechanics.

    name, title : identity shown to users.
    curves : loading curves at ascending temperatures; linear in temperature between, held outside.
    unloading_stiffness : k_u in MPa/mm, or None for a law that comes back along its loading curve.
    crush_pressure : pressure (MPa) above which the zone is damaged, or None when not known.
    spread : plus-minus range of the pressures as a fraction, for scatter and comparison; None if unknown.
    creep : how it goes on setting with time, None for not at all.
    source : where the numbers come from.
    """

    name: str
    curves: tuple[LoadingCurve, ...]
    unloading_stiffness: float | None
    crush_pressure: float | None = None
    title: str = ""
    spread: float | None = None
    source: str = "stated in the joint file"
    creep: Creep | None = None

    def loading(self, closure: float, temperature: float) -> float:
        """Return L(c, T) in MPa."""
        temperatures = [curve.temperature for curve in self.curves]
        upper = bisect.bisect_left(temperatures, temperature)
        if upper == 0:
            return self.curves[0].at(closure)
        if upper == len(self.curves):
            return self.curves[-1].at(closure)
        below, above = self.curves[upper - 1], self.curves[upper]
        share = (temperature - below.temperature) / (above.temperature - below.temperature)
        return (1.0 - share) * below.at(closure) + share * above.at(closure)

    def pressure(self, closure: float, permanent_set: float, temperature: float) -> float:
        """Return the contact pressure (MPa) at `closure` (mm) for a zone whose set is `permanent_set`."""
        first = self.loading(closure, temperature)
        if self.unloading_stiffness is None:
            return first
        return max(0.0, min(first, self.unloading_stiffness * (closure - permanent_set)))

    def set_after(self, closure: float, permanent_set: float, temperature: float) -> float:
        """Return the permanent set (mm) once `closure` has been reached from `permanent_set`."""
        if self.unloading_stiffness is None or closure <= 0.0:
            return permanent_set
        return max(permanent_set, closure - self.loading(closure, temperature) / self.unloading_stiffness)

    @property
    def touch(self) -> float:
        """Closure (mm) at which the zone first bears."""
        return min(curve.closure[0] for curve in self.curves)

    def lift_off(self, permanent_set: float) -> float:
        """Return the closure (mm) below which a zone of `permanent_set` (mm) bears nothing."""
        return self.touch if self.unloading_stiffness is None else max(self.touch, permanent_set)


def check_law(law: GasketLaw, field: str) -> GasketLaw:
    """Return `law` if it is physical, else raise InputError naming the row that is not.

    Closures rise strictly, pressures never fall, the first pressure is zero, and no loading slope exceeds
    the unloading stiffness (otherwise a load-unload loop would give energy back).
    """
    for number, curve in enumerate(law.curves):
        where = f"{field}.curves[{number}]" if len(law.curves) > 1 else field
        if len(curve.closure) != len(curve.pressure):
            raise InputError(
                f"closure has {len(curve.closure)} values and pressure {len(curve.pressure)}; give as many",
                field=where,
            )
        if len(curve.closure) < 2:
            raise InputError("a pressure-closure table needs at least two rows", field=f"{where}.closure")
        for name, values, strictly in (("closure", curve.closure, True), ("pressure", curve.pressure, False)):
            for row, (before, after) in enumerate(zip(values, values[1:], strict=False), start=1):
                if after < before or (strictly and after == before):
                    need = "rise from row to row" if strictly else "not fall from row to row"
                    raise InputError(
                        f"the gasket law is not monotonic: {name} must {need}, "
                        f"but row {row + 1} has {after:g} after {before:g}",
                        field=f"{where}.{name}[{row}]",
                    )
        if curve.closure[0] < 0.0:
            raise InputError("closure starts at first touch, so no row may be negative", field=f"{where}.closure[0]")
        if curve.pressure[0] != 0.0:
            raise InputError(
                "the first row must have zero pressure (the zone just touches)",
                field=f"{where}.pressure[0]",
                value=curve.pressure[0],
            )
        steepest = max(curve.slopes())
        if law.unloading_stiffness is not None and steepest > law.unloading_stiffness * (1.0 + 1e-9):
            raise InputError(
                f"the unloading stiffness must be at least the steepest loading slope, {steepest:.6g} MPa/mm "
                "(else a closed loop would give energy back); leave it out for a law that keeps no set",
                field=f"{field}.unloading_stiffness",
                value=law.unloading_stiffness,
            )
    temperatures = [curve.temperature for curve in law.curves]
    if any(after <= before for before, after in zip(temperatures, temperatures[1:], strict=False)):
        raise InputError("temperatures of the curves must rise", field=f"{field}.curves", value=temperatures)
    return law


@cache
def library() -> dict[str, GasketLaw]:
    """Return the named laws that ship with headjoint."""
    text = resources.files("headjoint.model").joinpath("data/gasket_laws.toml").read_text("utf-8")
    laws = {}
    for name, row in tomllib.loads(text).items():
        curves = tuple(
            LoadingCurve(float(c["temperature"]), tuple(map(float, c["closure"])), tuple(map(float, c["pressure"])))
            for c in row["curves"]
        )
        laws[name] = check_law(
            GasketLaw(
                name=name,
                curves=curves,
                unloading_stiffness=row.get("unloading_stiffness"),
                crush_pressure=row.get("crush_pressure"),
                title=row["title"],
                spread=row["spread"],
                source=row["source"],
                creep=_creep(row.get("creep")),
            ),
            field=f"gasket_laws.toml: {name}",
        )
    return laws


def _creep(row: dict[str, Any] | None) -> Creep | None:
    if row is None:
        return None
    rates = PropertyTable.from_rows([[temperature, loss / math.log(10.0)] for temperature, loss in row["per_decade"]])
    return Creep("logarithmic", rates, row["onset"], source=row["source"])


def gasket_law(name: str, field: str = "") -> GasketLaw:
    """Return the shipped law called `name`; raises InputError with the nearest name otherwise."""
    try:
        return library()[name]
    except KeyError:
        raise unknown_name("gasket law", name, library(), field=field) from None
