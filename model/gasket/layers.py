"""A gasket of several layers: beads in series make one law.

Every layer bears the same pressure and the closures add, so the loading curve of the stack is

    c(p) = sum of c_i(p),

which is piecewise linear with a row wherever a layer has one. Unloading stiffnesses are springs in series,
1/k = sum of 1/k_i: the stack is a law of one stiffness, whatever forms its layers have. It is made at every temperature
at which any layer has a curve, and is exact there; between two of them it is interpolated as any law is.
"""

from __future__ import annotations

import bisect
import dataclasses
import math
from collections.abc import Sequence

from headjoint.model.base.errors import InputError
from headjoint.model.base.property_table import PropertyTable
from headjoint.model.gasket.bead_limits import BeadLimits
from headjoint.model.gasket.law import GasketLaw
from headjoint.model.gasket.loading import LoadingCurve, curve_at, steepest
from headjoint.model.gasket.one_stiffness import OneStiffnessLaw
from headjoint.model.library.plasticity import Creep

# Pressures closer than this share of the greatest are one row, and closures closer than this (mm) one place: a piece
# so short would have a slope of nothing but rounding.
ROUNDING = 1e-9


def in_series(name: str, layers: Sequence[GasketLaw]) -> OneStiffnessLaw:
    """Return the law of `layers` that lie one upon another.

    Where no layer keeps a set, neither does the stack. Where some do, the one line of the stack must take all in, and
    springs back too little, never too much: a layer that keeps no set counts with its steepest loading slope, which is
    exact for a straight law; one that springs back more or less stiffly with its stiffest line, and for creep with its
    softest, so that it sets too much, never too little.

    The crush pressure is the least of the layers'. The range (spread) is the greatest of theirs, which the stack
    cannot exceed, or unknown when that of any layer is. Creep sets add: see `_creep`.
    """
    temperatures = sorted({curve.temperature for layer in layers for curve in layer.curves})
    curves = tuple(_stacked([curve_at(layer.curves, one) for layer in layers], one) for one in temperatures)
    limits = [layer.limits for layer in layers if layer.limits is not None]
    crush = [layer.crush_pressure for layer in layers if layer.crush_pressure is not None]
    ranges = [layer.spread for layer in layers]
    known = [one for one in ranges if one is not None]
    unloading = at_least_steepest(_unloading(layers), curves)
    return OneStiffnessLaw(
        name=name,
        curves=curves,
        unloading_stiffness=unloading,
        crush_pressure=min(crush, default=None),
        title="in series: " + ", ".join(layer.name for layer in layers),
        spread=max(known) if len(known) == len(ranges) else None,
        source=_source(layers),
        creep=_creep(layers, unloading),
        limits=_limits(limits),
    )


def with_stop(law: OneStiffnessLaw, closure: float, stiffness: float) -> OneStiffnessLaw:
    """Return `law` with a stop of `stiffness` (MPa/mm) in parallel beyond `closure` (mm).

    A law has one unloading line, and it must be as steep as the loading with the stop: k_u + stiffness. What the
    layers alone would spring back below the stop is therefore left out, on the safe side for sealing; a zone of its own
    for the stop keeps it. The crush pressure stays that of the layers, though the stop bears a share.
    """
    curves = tuple(_stopped(curve, closure, stiffness) for curve in law.curves)
    unloading = None if law.unloading_stiffness is None else law.unloading_stiffness + stiffness
    return dataclasses.replace(
        law,
        curves=curves,
        unloading_stiffness=at_least_steepest(unloading, curves),
        title=f"{law.title}, stop at {closure:g} mm",
        source=f"{law.source}; stop as stated",
    )


def at_least_steepest(stiffness: float | None, curves: Sequence[LoadingCurve]) -> float | None:
    """Return an unloading stiffness (MPa/mm) that is no less than the loading slopes by rounding."""
    if stiffness is None:
        return None
    least = steepest(curves)
    return least if stiffness < least < stiffness * (1.0 + 1e-4) else stiffness


def _unloading(layers: Sequence[GasketLaw]) -> float | None:
    if not any(layer.keeps_set for layer in layers):
        return None
    # a layer that never bears has no spring to add
    compliance = sum(1.0 / layer.stiffest for layer in layers if layer.stiffest > 0.0)
    return 1.0 / compliance


def _limits(limits: Sequence[BeadLimits]) -> BeadLimits | None:
    """Return the strictest of what is asked of the layers: they bear one line load, and one may take all the stroke."""
    if not limits:
        return None
    strokes = [one.stroke for one in limits if one.stroke is not None]
    return BeadLimits(
        max(one.line_load_least for one in limits),
        max(one.line_load_per_gas for one in limits),
        min(strokes, default=None),
        "; ".join(dict.fromkeys(one.source for one in limits)),
    )


def _creep(layers: Sequence[GasketLaw], unloading: float | None) -> Creep | None:
    """Return the creep of a stack: under one pressure p the sets a_i = rate_i p/k_i add, so rate/k = sum of rate_i/k_i.

    Raises InputError where layers creep by different laws of time, which one law cannot follow.
    """
    creeping = [(layer.creep, layer.softest) for layer in layers if layer.creep is not None and layer.keeps_set]
    if not creeping or unloading is None:
        return None
    first = creeping[0][0]
    temperatures: set[float] = set()
    for creep, _ in creeping:
        if dataclasses.replace(creep, rate=first.rate, source=first.source) != first:
            raise InputError("its layers creep by different laws of time; state the `creep` of the whole series")
        temperatures |= set(creep.rate.temperatures)
    rows = tuple(sorted(temperatures))
    rates = [sum(creep.rate.at(row) / softest for creep, softest in creeping) for row in rows]
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
