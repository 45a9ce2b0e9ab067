"""Shapes of bores from the displacements of their walls: distortion by order, at any depth."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from headjoint.cases.condensed.face_rows import Wall
from headjoint.meshes.solid.solid_mesh import SolidMesh
from headjoint.model.base.arrays import FloatArray
from headjoint.model.cell import Cell

ORDERS = (0, 1, 2, 3, 4, 5, 6, 7, 8)
FEWEST_ON_LEVEL = 5  # nodes of a bore wall at one height that make a level
FEWEST_LEVELS = 4  # that make a wall of columns of nodes
FREE_STEP = 3.0  # degrees between samples of a wall without levels


@dataclass(frozen=True)
class BoreShape:
    """Radial displacement of a bore at one depth (mm below the deck).

    angle (deg), radial (mm) : the samples. orders : amplitude (mm) of order k: 0 growth, 1 shift, 2 oval, ...
    distortion : radial (mm) less growth and sideways shift, which leave a bore round.
    """

    bore: int
    depth: float
    angle: FloatArray = field(repr=False)
    radial: FloatArray = field(repr=False)
    orders: dict[int, float]
    distortion: FloatArray = field(repr=False)


def bore_shapes(cell: Cell, mesh: SolidMesh, walls: Sequence[Wall], radial: Sequence[FloatArray]) -> list[BoreShape]:
    """Return the shape of every bore at several depths, all round by the planes of symmetry through its axis.

    radial : of each wall, the radial displacement (k,) mm of its nodes.
    """
    found = []
    for wall, moved in zip(walls, radial, strict=True):
        bx, by = cell.bore_centres[wall.bore]
        height, count = np.unique(np.round(wall.places[2], 4), return_counts=True)
        levels = height[count >= FEWEST_ON_LEVEL]
        planes = [
            math.atan2(-normal[0], normal[1])
            for normal, on in mesh.planes
            if len(on)
            and abs((bx - mesh.points[0, on[0]]) * normal[0] + (by - mesh.points[1, on[0]]) * normal[1]) < 1e-6
        ]
        for depth in cell.asked.bore_depths:
            if -depth < height[0]:  # below an own mesh
                continue
            angle, samples = _wall_samples(wall.places, moved, -depth, levels)
            angle, samples = _all_round(angle, samples, planes)
            found.append(BoreShape(wall.bore, depth, np.degrees(angle), samples, *bore_orders(angle, samples)))
    return found


def _wall_samples(
    places: FloatArray, radial: FloatArray, height: float, levels: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return angle (rad) and radial displacement (mm) at a height, of wall nodes (3, k): between nodes above each other
    where there are `levels` of them, by a cubic that does not overshoot; else between nodes of a free mesh.
    """
    angle = np.arctan2(places[1], places[0])
    if len(levels) >= FEWEST_LEVELS and levels[0] <= height <= levels[-1]:
        return _between_levels(angle, places[2], radial, height)
    from scipy.interpolate import LinearNDInterpolator

    radius = float(np.hypot(places[0], places[1]).mean())
    # unrolled with a margin of itself on both sides, so that a whole bore closes
    turns = np.concatenate([angle - 2.0 * math.pi, angle, angle + 2.0 * math.pi])
    between = LinearNDInterpolator(np.column_stack([radius * turns, np.tile(places[2], 3)]), np.tile(radial, 3))
    wanted = np.radians(np.arange(-180.0, 180.0, FREE_STEP))
    inside = np.array([np.abs(angle - one).min() < np.radians(FREE_STEP) for one in wanted])
    values = between(np.column_stack([radius * wanted, np.full(len(wanted), height)]))
    good = inside & np.isfinite(values)
    return wanted[good], values[good]


def _between_levels(
    angle: FloatArray, z: FloatArray, radial: FloatArray, height: float
) -> tuple[FloatArray, FloatArray]:
    """Return angle (rad) and radial displacement (mm) at a height, of every column of nodes that reaches over it."""
    order = np.lexsort((z, np.round(angle, 7)))
    columns = np.split(order, np.flatnonzero(np.diff(np.round(angle, 7)[order])) + 1)
    reaching = [own for own in columns if len(own) > 1 and z[own[0]] <= height <= z[own[-1]]]
    heights, values = _filled([np.round(z[own], 4) for own in reaching], [radial[own] for own in reaching])
    known = np.isfinite(values)
    found = np.empty(len(reaching))
    for rows in np.unique(known, axis=0):  # one interpolation for all columns with values at the same heights
        same = (known == rows).all(axis=1)
        found[same] = _cubic_at(heights[rows], values[np.ix_(same, rows)], height)
    return angle[[own[0] for own in reaching]], found


def _cubic_at(heights: FloatArray, values: FloatArray, height: float) -> FloatArray:
    """Return columns of values (c, h) at a height, by piecewise cubics that do not overshoot.

    Slopes by F. N. Fritsch and J. Butland, SIAM J. Sci. Stat. Comput. 5 (1984) 300. As scipy's PchipInterpolator,
    whose import takes a tenth of an answer on a joint that is kept.
    """
    step = np.diff(heights)
    chord = np.diff(values, axis=1) / step
    if len(step) == 1:
        return values[:, 0] + chord[:, 0] * (height - heights[0])
    at = min(max(int(np.searchsorted(heights, height, side="right")) - 1, 0), len(step) - 1)
    begin, end = _slope(step, chord, at), _slope(step, chord, at + 1)
    t = (height - heights[at]) / step[at]
    risen = t * t * (3.0 - 2.0 * t)
    bent = step[at] * t * (1.0 - t) * ((1.0 - t) * begin - t * end)
    found: FloatArray = (1.0 - risen) * values[:, at] + risen * values[:, at + 1] + bent
    return found


def _slope(step: FloatArray, chord: FloatArray, at: int) -> FloatArray:
    """Return the slope (c,) of such cubics at one of their heights, from steps (h - 1,) and chords (c, h - 1)."""
    if 0 < at < len(step):
        before, after = chord[:, at - 1], chord[:, at]
        level = before * after <= 0.0
        safe = np.where(level, 1.0, before), np.where(level, 1.0, after)
        weights = step[at - 1] + 2.0 * step[at], 2.0 * step[at - 1] + step[at]
        return np.where(level, 0.0, sum(weights) / (weights[0] / safe[0] + weights[1] / safe[1]))
    # three points at an end, held to a slope that does not turn back
    near, far = (0, 1) if at == 0 else (-1, -2)
    own, next_ = chord[:, near], chord[:, far]
    slope = ((2.0 * step[near] + step[far]) * own - step[near] * next_) / (step[near] + step[far])
    slope = np.where((own * next_ < 0.0) & (np.abs(slope) > 3.0 * np.abs(own)), 3.0 * own, slope)
    return np.where(slope * own <= 0.0, 0.0, slope)


def _filled(heights: list[FloatArray], columns: list[FloatArray]) -> tuple[FloatArray, FloatArray]:
    """Return all heights (h,) of columns in order round a bore, and their values (c, h), nan where one has none.

    A column of mid-edge nodes has no nodes midway up its elements. There the element's own shape functions stand for
    them: the mean of its nodes above and below, and as much more as the columns on either side have, in their mean.
    Else such columns would be interpolated by fewer heights than those beside them, and a smooth wall have ripples.
    """
    every = np.unique(np.concatenate(heights))
    stated = np.full((len(columns), len(every)), np.nan)
    for row, own, values in zip(stated, heights, columns, strict=True):
        row[every.searchsorted(own)] = values
    bulge = np.full(stated.shape, np.nan)
    bulge[:, 1:-1] = stated[:, 1:-1] - (stated[:, :-2] + stated[:, 2:]) / 2.0
    beside = (np.roll(bulge, 1, axis=0) + np.roll(bulge, -1, axis=0)) / 2.0
    filled = stated.copy()
    filled[:, 1:-1] = (stated[:, :-2] + stated[:, 2:]) / 2.0 + beside[:, 1:-1]
    return every, np.where(np.isfinite(stated), stated, filled)


def _all_round(angle: FloatArray, radial: FloatArray, planes: list[float]) -> tuple[FloatArray, FloatArray]:
    """Return the samples and their mirror images at planes (angle, rad) through the axis, all round."""
    angle = angle % (2.0 * math.pi)
    order = np.argsort(angle)
    angle, radial = angle[order], radial[order]
    for _ in range(5):  # every round doubles the reach; eight studs have sixteen half sectors
        before = len(angle)
        for plane in planes:
            both = np.concatenate([angle, (2.0 * plane - angle) % (2.0 * math.pi)])
            # mirror images of one sample differ in their last digits, also across the full turn
            _, first = np.unique(np.round(both, 5) % round(2.0 * math.pi, 5), return_index=True)
            radial, angle = np.concatenate([radial, radial])[first], both[first]
            order = np.argsort(angle)
            angle, radial = angle[order], radial[order]
            new = np.concatenate([[True], np.diff(angle) > 1e-4])
            angle, radial = angle[new], radial[new]
        if len(angle) == before:
            break
    return angle, radial


def bore_orders(angle: FloatArray, radial: FloatArray) -> tuple[dict[int, float], FloatArray]:
    """Return the amplitudes (mm) of the Fourier orders, by least squares over unevenly spaced samples, and distortion.

    angle (n,) rad, radial (n,) mm : the samples. Distortion (n,) mm is what the orders from 2 on, and higher ones
    than are fitted, leave: a bore that grows or is shifted as a whole stays round.
    """
    usable = [k for k in ORDERS if 2 * k + 1 <= len(angle)]
    columns = [np.ones_like(angle)]
    for k in usable[1:]:
        columns += [np.cos(k * angle), np.sin(k * angle)]
    gaps = np.diff(np.concatenate([angle, [angle[0] + 2 * math.pi]]))
    weight = np.sqrt((gaps + np.roll(gaps, 1)) / 2.0)
    fit, *_ = np.linalg.lstsq(np.stack(columns, axis=1) * weight[:, None], radial * weight, rcond=None)
    orders = {0: float(fit[0])}
    for index, k in enumerate(usable[1:]):
        orders[k] = float(np.hypot(fit[1 + 2 * index], fit[2 + 2 * index]))
    rigid = fit[: 1 + 2 * (1 in usable)]
    return orders, radial - np.stack(columns[: len(rigid)], axis=1) @ rigid
