"""Openings of a gasket zone as rows of closures at common levels of pressure, which do not cross."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from headjoint.model.base.arrays import FloatArray, IntArray
from headjoint.model.gasket.between_openings import Loaded, springback
from headjoint.model.gasket.loading import LoadingCurve

SPACING = 0.01  # of the gap between two rows where it is widest, or of their loading: the least gap between them
APART, GAP = 1e-4, 0.05  # of the greatest pressure, by which levels are apart at least and at most
AT_ONCE = 8000  # values, up to which it is quicker to look at all than to halve: numpy's calls cost more than they do
RISING = 1e-9  # of the greatest mean springback, by which it rises at least
STIFFER = 1.05  # than anything that is stated, what lies between may be; more than `SPACING` takes away
STEEPER = 1.0 + 1e-6  # than loading, what lies beyond the last row


class _Place(NamedTuple):
    """Where zones lie: row before, row after, share of the way between, closure beyond the last row (mm)."""

    row: IntArray
    after: IntArray
    share: FloatArray
    beyond: FloatArray


class _Springback(NamedTuple):
    """Rows of springback (mm) by pressure reached (MPa), and its slope (mm/MPa) from each on."""

    pressure: FloatArray
    back: FloatArray
    softness: FloatArray


@dataclass(frozen=True)
class Grid:
    """Rows k at levels j. level : (m,) MPa from nothing. column : (n,) each row's own. top : (n,) closure there, mm.

    closure : (n, m) mm at which a row bears a level, `top` beyond its own. head : (n,) stiffness (MPa/mm) above row k
    up to the loading curve, nothing where it is flat there. last_slope : of the loading curve beyond the last row.
    """

    level: FloatArray
    column: IntArray
    top: FloatArray
    closure: FloatArray = field(repr=False)
    head: FloatArray
    last_slope: float

    @cached_property
    def sets(self) -> FloatArray:
        """Closures (mm) at which rows bear nothing."""
        return np.ascontiguousarray(self.closure[:, 0])

    @cached_property
    def reached(self) -> FloatArray:
        """Pressure (MPa) that each row begins at."""
        return self.level[self.column]

    @cached_property
    def stiffest(self) -> float:
        """Greatest stiffness (MPa/mm) of any piece of a row, and beyond the last."""
        pieces = [
            float((np.diff(self.level[: at + 1]) / np.diff(row[: at + 1])).max())
            for row, at in zip(self.closure, self.column, strict=True)
            if at > 0
        ]
        return max(*pieces, float(self.head[-1]))

    @cached_property
    def softest(self) -> float:
        """Least mean stiffness (MPa/mm) of any whole opening from the coldest curve, beyond the last row, too."""
        mean = self._mean
        bears = mean.pressure > 0.0
        return min(float((mean.pressure[bears] / mean.back[bears]).min()), float(self.head[-1]))

    @cached_property
    def _mean(self) -> _Springback:
        """How far zones open wholly from pressures on the coldest curve, never less than from less."""
        back = np.maximum.accumulate(self.top - self.sets)
        back = back + RISING * back[-1] * self.reached / self.reached[-1]
        p, last = np.unique(self.reached[::-1], return_index=True)
        back = back[::-1][last]
        return _Springback(p, back, np.append(np.diff(back) / np.diff(p), 1.0 / self.head[-1]))

    @cached_property
    def _loading_softness(self) -> FloatArray:
        """Slope (mm/MPa) of the coldest curve from each row on, nothing where it is flat."""
        rise, run = np.append(np.diff(self.reached), self.last_slope), np.append(np.diff(self.top), 1.0)
        return np.divide(run, rise, out=np.zeros_like(run), where=rise > 0.0)

    # --- one point, the reference

    def opening(self, permanent_set: float) -> list[tuple[float, float]]:
        """Return closure (mm) and pressure (MPa) along the opening of a set (mm), up to the loading curve."""
        row = max(int(np.sum(self.sets <= permanent_set)) - 1, 0)
        own = self.column[row]
        if row + 1 == len(self.top):
            beyond = max(permanent_set - float(self.sets[row]), 0.0)
            rows = [(float(self.closure[row, j]) + beyond, float(self.level[j])) for j in range(own + 1)]
            c, p = rows[-1]
            more = self._over_the_end(beyond)
            return [*rows, (c + more / float(self.head[row]), p + more)] if more > 0.0 else rows
        before, after = float(self.sets[row]), float(self.sets[row + 1])
        w = min(max((permanent_set - before) / (after - before), 0.0), 1.0)

        def between(a: float, b: float) -> float:
            return a + w * (b - a)

        rows = [
            (between(float(self.closure[row, j]), float(self.closure[row + 1, j])), float(self.level[j]))
            for j in range(own + 1)
        ]
        top = between(*map(float, self.top[row : row + 2])), between(*map(float, self.reached[row : row + 2]))
        return [*rows, top] if top[0] > rows[-1][0] else rows

    def _over_the_end(self, beyond: float) -> float:
        """Return how far above the last row's pressure (MPa) a zone set so far beyond it meets the loading curve."""
        if self.last_slope == 0.0:
            return 0.0
        return beyond / (1.0 / self.last_slope - 1.0 / float(self.head[-1]))

    def set_through(self, closure: float, pressure: float) -> float:
        """Return the set (mm) of the zone that opens through a point; minus infinity before the first row."""
        row = -1
        for number, (rows, reached) in enumerate(zip(self.closure, self.reached, strict=True)):
            if float(np.interp(min(pressure, reached), self.level, rows)) <= closure:
                row = number
        if row < 0:
            return -np.inf
        p = min(pressure, float(self.reached[row]))
        c = closure - ((pressure - p) / float(self.head[row]) if self.head[row] > 0.0 else 0.0)
        a = float(np.interp(p, self.level, self.closure[row]))
        if row + 1 == len(self.top):
            return float(self.sets[row]) + max(c - a, 0.0)
        b = float(np.interp(p, self.level, self.closure[row + 1]))
        w = min(max((c - a) / (b - a), 0.0), 1.0) if b > a else 0.0
        return float(self.sets[row]) + w * float(self.sets[row + 1] - self.sets[row])

    # --- many points

    def _place(self, permanent_set: FloatArray) -> _Place:
        row = np.maximum(self.sets.searchsorted(permanent_set, side="right") - 1, 0)
        after = np.minimum(row + 1, len(self.top) - 1)
        over, gap = np.maximum(permanent_set - self.sets[row], 0.0), self.sets[after] - self.sets[row]
        share = np.divide(over, gap, out=np.zeros_like(over), where=gap > 0.0)
        return _Place(row, after, np.minimum(share, 1.0), np.where(after == row, over, 0.0))

    def _reached(self, place: _Place) -> FloatArray:
        """Return where zones meet the loading curve (MPa)."""
        start = self.reached[place.row]
        return start + place.share * (self.reached[place.after] - start) + self._over_the_end(1.0) * place.beyond

    def borne(self, closure: FloatArray, permanent_set: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return pressure (MPa) and stiffness (MPa/mm) on the openings of sets (mm), and where these end (MPa)."""
        place = self._place(permanent_set)
        own, flat, columns = self.column[place.row], self.closure.ravel(), len(self.level)
        before, after = place.row * columns, place.after * columns

        def node(level: IntArray) -> FloatArray:
            low = flat[before + level]
            return low + place.share * (flat[after + level] - low) + place.beyond

        at = last_below(node, closure, own + 1)
        start = np.maximum(at, 0)
        end = np.minimum(start + 1, own)
        foot = node(start)
        rise, run = self.level[end] - self.level[start], node(end) - foot
        inside = np.divide(rise, run, out=np.zeros_like(run), where=run > 0.0)
        stiffness = np.where(at < own, inside, self.head[place.row]) * (at >= 0)
        pressure = np.where(at >= 0, self.level[start] + stiffness * (closure - foot), 0.0)
        return pressure, stiffness, self._reached(place)

    def sets_through(self, closure: FloatArray, pressure: FloatArray) -> FloatArray:
        """Return the sets (mm) of zones that open through points; minus infinity before the first row."""
        rows = np.full(len(closure), len(self.top))
        row = last_below(self._bearing(pressure), closure, rows)
        fresh, row = row < 0, np.maximum(row, 0)
        after = np.minimum(row + 1, len(self.top) - 1)
        p = np.minimum(pressure, self.reached[row])
        head = self.head[row]
        c = closure - np.divide(pressure - p, head, out=np.zeros_like(head), where=head > 0.0)
        bears = self._bearing(p)
        a, b = bears(row), bears(after)
        share = np.divide(c - a, b - a, out=np.zeros_like(a), where=b > a)
        found = self.sets[row] + np.where(
            after == row, np.maximum(c - a, 0.0), np.clip(share, 0.0, 1.0) * (self.sets[after] - self.sets[row])
        )
        return np.where(fresh, -np.inf, found)

    def _bearing(self, pressure: FloatArray) -> Callable[[IntArray], FloatArray]:
        """Return what gives, of a row for each pressure, the closure (mm) at which it bears it, its top beyond what it
        reached."""
        at, share = self._between(pressure)
        flat, columns = self.closure.ravel(), len(self.level)

        def closure(row: IntArray) -> FloatArray:
            place = row * columns + at
            low = flat[place]
            return low + share * (flat[place + 1] - low)

        return closure

    def _between(self, pressure: FloatArray) -> tuple[IntArray, FloatArray]:
        """Return the levels below pressures, and how far these are on the way to the next, at most there."""
        at = np.clip(self.level.searchsorted(pressure, side="right") - 1, 0, len(self.level) - 2)
        return at, np.minimum((pressure - self.level[at]) / (self.level[at + 1] - self.level[at]), 1.0)

    def springback(self, pressure: FloatArray, permanent_set: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return closure less set (mm) where zones bear pressures, and its slopes by pressure and set."""
        place = self._place(permanent_set)
        start, head = self.reached[place.row], self.head[place.row]
        p = np.minimum(pressure, start)
        at, share = self._between(p)
        rise = self.level[at + 1] - self.level[at]

        def row(number: IntArray) -> tuple[FloatArray, FloatArray]:
            low, high = self.closure[number, at], self.closure[number, at + 1]
            return low + share * (high - low), (high - low) / rise

        (a, soft_a), (b, soft_b) = row(place.row), row(place.after)
        softness = np.divide(1.0, head, out=np.zeros_like(head), where=head > 0.0)
        closure = a + place.share * (b - a) + place.beyond + (pressure - p) * softness
        softness = np.where(pressure < start, soft_a + place.share * (soft_b - soft_a), softness)
        gap = self.sets[place.after] - self.sets[place.row]
        by_set = np.divide(b - a, gap, out=np.ones_like(a), where=gap > 0.0) - 1.0
        loaded, softer = self._loaded(pressure)
        on = pressure <= self._reached(place)
        back = np.where(on, closure, loaded) - permanent_set
        return back, np.where(on, softness, softer), np.where(on, by_set, -1.0)

    def _loaded(self, pressure: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the least closure (mm) that bears `pressure` (MPa) on the coldest curve, and its slope (mm/MPa)."""
        at = np.maximum(self.reached.searchsorted(pressure, side="left") - 1, 0)
        softness = self._loading_softness[at]
        return self.top[at] + (pressure - self.reached[at]) * softness, softness

    def mean_springback(self, pressure: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return how far (mm) zones open wholly from pressures on the coldest curve, never less than from less, and
        its slope (mm/MPa)."""
        mean = self._mean
        at = np.maximum(mean.pressure.searchsorted(pressure, side="right") - 1, 0)
        return mean.back[at] + mean.softness[at] * (pressure - mean.pressure[at]), mean.softness[at]


def last_below(value: Callable[[IntArray], FloatArray], limit: FloatArray, count: IntArray) -> IntArray:
    """Return, of rising values numbered from 0 to below `count`, the last that is at most its limit; -1 where none is.

    value : gives one for each limit, by its numbers (k,), or by many for each (n, k). Few are all looked at at once,
    many by bisection.
    """
    most = int(count.max(initial=0))
    if most * len(limit) <= AT_ONCE:
        number = np.arange(most)[:, None]
        below: IntArray = np.count_nonzero((value(number) <= limit) & (number < count), axis=0) - 1
        return below
    low, high = np.full(len(limit), -1), count.copy()
    for _ in range(most.bit_length()):
        middle = (low + high) // 2
        apart = high - low > 1
        less = value(np.maximum(middle, 0)) <= limit
        low, high = np.where(apart & less, middle, low), np.where(apart & ~less, middle, high)
    return low


@lru_cache(maxsize=256)
def grid_of(curve: LoadingCurve, openings: tuple[tuple[tuple[float, float], ...], ...]) -> Grid:
    """Return the grid of a loading curve and its openings, rows of closure (mm) and pressure (MPa)."""
    level = _levels(curve, [pressure for rows in openings for _, pressure in rows])
    tops = _tops(curve, level)
    column = level.searchsorted([pressure for _, pressure in tops])
    top = np.array([closure for closure, _ in tops])
    closure = np.repeat(top[:, None], len(level), axis=1)
    loaded, least = Loaded(level, column, top), _least_softness(curve, openings)
    begun = np.array([rows[-1][0] for rows in openings]) - top[0]
    for k in range(1, len(top)):
        own = column[k]
        if own > 0:
            elastic = top[k] - loaded.closure_at(level[: own + 1])
            opened = top[k] - springback(top[k] - top[0], level[: own + 1], begun, openings, elastic, loaded)
            # from the top down, so that no piece is stiffer than any that is stated
            over = np.minimum.accumulate((opened - level[: own + 1] * least)[::-1])[::-1]
            closure[k, : own + 1] = over + level[: own + 1] * least
        common = slice(0, column[k - 1] + 1)
        before = closure[k - 1, common]
        beside = np.maximum(closure[k, common], before)
        widest = float((beside - before).max())
        closure[k, common] = np.maximum(beside, before + SPACING * min(widest, top[k] - top[k - 1]))
        closure[k, own] = top[k]
    last = curve.slopes()[-1]
    rise = level[column[1:]] - level[column[:-1]]
    run = top[1:] - closure[np.arange(1, len(top)), column[:-1]]
    head = np.divide(rise, run, out=np.zeros_like(run), where=run > 0.0)
    return Grid(level, column, top, closure, np.append(head, max(float(head.max()), STEEPER * last)), last)


def _least_softness(curve: LoadingCurve, openings: tuple[tuple[tuple[float, float], ...], ...]) -> float:
    """Return how soft (mm/MPa) a row is at least: somewhat less than anything that is stated."""
    stated = [(p1 - p0) / (c1 - c0) for rows in openings for (c0, p0), (c1, p1) in pairwise(rows)]
    return 1.0 / (STIFFER * max(*stated, *curve.slopes()))


def _levels(curve: LoadingCurve, stated: list[float]) -> FloatArray:
    """Return the pressures (MPa) of rows of the curve and of openings, without those close to another; more of them in
    wide gaps, where a knee between two openings may lie."""
    found = sorted({0.0, *curve.pressure})
    for pressure in sorted(stated):
        nearest = min(abs(pressure - one) for one in found)
        if nearest > APART * max(*found, pressure):
            found.append(pressure)
    found.sort()
    gap = GAP * found[-1]
    parts = [np.linspace(a, b, math.ceil((b - a) / gap) + 1)[:-1] for a, b in pairwise(found)]
    return np.concatenate([*parts, found[-1:]])


def _tops(curve: LoadingCurve, level: FloatArray) -> list[tuple[float, float]]:
    """Return closure and pressure of the loading curve at its rows and at every level, on with its last slope."""
    found = set(zip(curve.closure, curve.pressure, strict=True))
    for (c0, p0), (c1, p1) in pairwise(zip(curve.closure, curve.pressure, strict=True)):
        found |= {(c0 + (c1 - c0) * (float(p) - p0) / (p1 - p0), float(p)) for p in level if p0 < p < p1}
    slope = curve.slopes()[-1]
    beyond = [float(p) for p in level if p > curve.pressure[-1]]
    return sorted(found | {(curve.closure[-1] + (p - curve.pressure[-1]) / slope, p) for p in beyond if slope > 0.0})
