"""A gasket of several layers: beads in series make one law.

Every layer bears the same pressure and the closures add, so the loading curve of the stack is

    c(p) = sum of c_i(p),

which is piecewise linear with a row wherever a layer has one. Unloading stiffnesses are springs in series,
1/k = sum of 1/k_i. The stack is made at every temperature at which any layer has a curve, and is exact there; between
two of them it is interpolated as any law is.
"""

from __future__ import annotations

import bisect
import dataclasses
import math
from collections.abc import Sequence

from headjoint.model.base.errors import InputError
from headjoint.model.base.property_table import PropertyTable
from headjoint.model.gasket.laws import GasketLaw, LoadingCurve
from headjoint.model.library.plasticity import Creep

# Pressures closer than this share of the greatest are one row, and closures closer than this (mm) one place: a piece
# so short would have a slope of nothing but rounding.
ROUNDING = 1e-9


def in_series(name: str, layers: Sequence[GasketLaw]) -> GasketLaw:
    """Return the law of `layers` that lie one upon another.

    A layer without unloading stiffness keeps no set. Where all are such, so is the stack. Where some keep a set, the
    one line of the stack must take the others in: each counts with its steepest loading slope, which is exact for a
    straight law and springs back too little, never too much, for any other.

    The crush pressure is the least of the layers'. The range (spread) is the greatest of theirs, which the stack
    cannot exceed, or unknown when that of any layer is. Creep sets add: see `_creep`.
    """
    temperatures = sorted({curve.temperature for layer in layers for curve in layer.curves})
    curves = tuple(_stacked([curve_at(layer, one) for layer in layers], one) for one in temperatures)
    crush = [layer.crush_pressure for layer in layers if layer.crush_pressure is not None]
    ranges = [layer.spread for layer in layers]
    known = [one for one in ranges if one is not None]
    unloading = at_least_steepest(_unloading(layers), curves)
    return GasketLaw(
        name=name,
        curves=curves,
        unloading_stiffness=unloading,
        crush_pressure=min(crush, default=None),
        title="in series: " + ", ".join(layer.name for layer in layers),
        spread=max(known) if len(known) == len(ranges) else None,
        source=_source(layers),
        creep=_creep(layers, unloading),
    )


def with_stop(law: GasketLaw, closure: float, stiffness: float) -> GasketLaw:
    """Return `law` with a stop of `stiffness` (MPa/mm) in parallel beyond `closure` (mm).

    A law has one unloading line, and it must be as steep as the loading with the stop: k_u + stiffness. What the
    layers alone would spring back below the stop is therefore left out, on the safe side for sealing; a zone of its own
    for the stop keeps it. The crush pressure stays that of the layers, though the stop bears a share.
    """
    curves = tuple(_stopped(curve, closure, stiffness) for curve in law.curves)
    unloading = None if law.unloading_stiffness is None else law.unloading_stiffness + stiffness
    return GasketLaw(
        name=law.name,
        curves=curves,
        unloading_stiffness=at_least_steepest(unloading, curves),
        crush_pressure=law.crush_pressure,
        title=f"{law.title}, stop at {closure:g} mm",
        spread=law.spread,
        source=f"{law.source}; stop as stated",
        creep=law.creep,
    )


def curve_at(law: GasketLaw, temperature: float) -> LoadingCurve:
    """Return the loading curve of `law` at `temperature` (degC), exact at the rows of both its neighbours."""
    temperatures = [curve.temperature for curve in law.curves]
    upper = min(bisect.bisect_left(temperatures, temperature), len(temperatures) - 1)
    near = law.curves[upper]
    if near.temperature <= temperature or upper == 0:
        return LoadingCurve(temperature, near.closure, near.pressure)
    rows = tuple(sorted({*law.curves[upper - 1].closure, *near.closure}))
    return LoadingCurve(temperature, rows, tuple(law.loading(closure, temperature) for closure in rows))


def at_least_steepest(stiffness: float | None, curves: Sequence[LoadingCurve]) -> float | None:
    """Return an unloading stiffness (MPa/mm) that is no less than the loading slopes by rounding."""
    if stiffness is None:
        return None
    steepest = max(slope for curve in curves for slope in curve.slopes())
    return steepest if stiffness < steepest < stiffness * (1.0 + 1e-4) else stiffness


def _unloading(layers: Sequence[GasketLaw]) -> float | None:
    if all(layer.unloading_stiffness is None for layer in layers):
        return None
    compliance = 0.0
    for layer in layers:
        stiffness = layer.unloading_stiffness
        if stiffness is None:
            stiffness = max(slope for curve in layer.curves for slope in curve.slopes())
        if stiffness > 0.0:  # a layer that never bears has no spring to add
            compliance += 1.0 / stiffness
    return 1.0 / compliance


def _creep(layers: Sequence[GasketLaw], unloading: float | None) -> Creep | None:
    """Return the creep of a stack: under one pressure p the sets a_i = rate_i p/k_i add, so rate/k = sum of rate_i/k_i.

    Raises InputError where layers creep by different laws of time, which one law cannot follow.
    """
    creeping = [
        (layer.creep, layer.unloading_stiffness)
        for layer in layers
        if layer.creep is not None and layer.unloading_stiffness is not None
    ]
    if not creeping or unloading is None:
        return None
    first = creeping[0][0]
    temperatures: set[float] = set()
    for creep, _ in creeping:
        if dataclasses.replace(creep, rate=first.rate, source=first.source) != first:
            raise InputError("its layers creep by different laws of time; state the `creep` of the whole series")
        temperatures |= set(creep.rate.temperatures)
    rows = tuple(sorted(temperatures))
    rates = [sum(creep.rate.at(row) / stiffness for creep, stiffness in creeping) for row in rows]
    table = PropertyTable(rows, tuple(unloading * rate for rate in rates))
    return dataclasses.replace(first, rate=table, source="of its layers in series")


def _stacked(curves: Sequence[LoadingCurve], temperature: float) -> LoadingCurve:
    """Return the loading curve of layers in series at one temperature."""
    # a layer that ends level bears no more than that, and neither does the stack
    level = [curve for curve in curves if curve.pressure[-1] == curve.pressure[-2]]
    most = min((curve.pressure[-1] for curve in level), default=math.inf)
    pressures = sorted({p for curve in curves for p in curve.pressure if p <= most})
    closures: list[float] = []
    bearing: list[float] = []
    start = 0
    while start < len(pressures):
        end = start
        while end + 1 < len(pressures) and pressures[end + 1] - pressures[start] <= ROUNDING * pressures[-1]:
            end += 1
        # where a layer closes under one pressure, so does the stack: two rows
        first = sum(_closures_at(curve, pressures[start])[0] for curve in curves)
        last = sum(_closures_at(curve, pressures[end])[1] for curve in curves)
        for closure in (first, last):
            if not closures or closure > closures[-1] + ROUNDING:
                closures.append(closure)
                bearing.append(pressures[start])
        start = end + 1
    return LoadingCurve(temperature, tuple(closures), tuple(bearing))


def _closures_at(curve: LoadingCurve, pressure: float) -> tuple[float, float]:
    """Return the least and the greatest closure (mm) of the table at which a layer bears `pressure` (MPa)."""
    first = bisect.bisect_left(curve.pressure, pressure)
    after = bisect.bisect_right(curve.pressure, pressure)
    if first < after:
        reached = curve.closure[first]
        return reached, curve.closure[after - 1]
    # between two rows, or beyond the last one on its slope
    upper = min(first, len(curve.pressure) - 1)
    c0, c1 = curve.closure[upper - 1], curve.closure[upper]
    p0, p1 = curve.pressure[upper - 1], curve.pressure[upper]
    reached = c0 + (c1 - c0) * (pressure - p0) / (p1 - p0)
    return reached, reached


def _stopped(curve: LoadingCurve, place: float, stiffness: float) -> LoadingCurve:
    rows = list(curve.closure)
    if all(abs(closure - place) > ROUNDING for closure in rows):
        bisect.insort(rows, place)
    if rows[-1] <= place + ROUNDING:  # one more row shows the slope with the stop
        rows.append(place + curve.closure[-1] - curve.closure[-2])
    pressures = tuple(curve.at(closure) + stiffness * max(0.0, closure - place) for closure in rows)
    return LoadingCurve(curve.temperature, tuple(rows), pressures)


def _source(layers: Sequence[GasketLaw]) -> str:
    """Name each layer's law once, with how often it lies in the stack and where it comes from."""
    names = [layer.name for layer in layers]
    sources = {layer.name: layer.source for layer in layers}
    return "in series: " + "; ".join(f"{names.count(name)} x {name} ({source})" for name, source in sources.items())
