"""Straight lines and their uncertainty, as every fit of a rig log uses them.

The scatter of the intercept and slope is taken from the residuals themselves (heteroscedasticity-consistent, HC3 of
MacKinnon and White, J. Econometrics 29 (1985) 305), and widened where residuals follow each other (effective number of
readings by their first autocorrelation), so that scatter that grows with the load is not mistaken for precision.
Residuals of a few readings say little of scatter: there it is taken from how gauges repeat, and more where residuals
ask for it.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from headjoint.model.base.arrays import FloatArray

LEAST_ROWS = 6
FEW_ROWS = 12  # below it scatter is that of the gauges, not of the residuals
KNOWN_AS = 4  # readings that the scatter of a gauge counts as being known from (common practice, no source)
CONFIDENCE = 0.95
COVERAGE = 2.3  # standard deviations: 98 % of normal errors, so that 95 % are left where scatter itself is estimated


Shown = tuple[str, str]  # a quantity, and the unit that tables show it in
FORCE, TORQUE, ANGLE, STRETCH = ("force", "kN"), ("torque", "N.m"), ("angle", "deg"), ("stretch", "mm")
TEMPERATURE = ("temperature", "degC")


@dataclass(frozen=True)
class Points:
    """What a fit saw, for its residual plot: x, y, and y as fitted in internal units, and what x and y are."""

    title: str
    x: FloatArray = field(repr=False)
    y: FloatArray = field(repr=False)
    fitted: FloatArray = field(repr=False)
    across: Shown
    up: Shown

    @property
    def odd(self) -> float:
        """How much of the residuals is a bow rather than scatter, 0 to 1: the part a parabola over x explains."""
        rest = self.y - self.fitted
        if len(rest) < 2 * LEAST_ROWS or np.ptp(self.x) == 0.0 or not np.any(rest):
            return 0.0
        x = (self.x - self.x.mean()) / np.ptp(self.x)
        bow = np.polyval(np.polyfit(x, rest, 2), x)
        return float(np.sum(bow**2) / np.sum(rest**2))


@dataclass(frozen=True)
class Line:
    """y = intercept + slope x with the covariance (2, 2) of (intercept, slope)."""

    intercept: float
    slope: float
    covariance: FloatArray = field(repr=False)
    x: FloatArray = field(repr=False)
    y: FloatArray = field(repr=False)

    def at(self, x: float) -> float:
        """Return the line's value."""
        return self.intercept + self.slope * x

    def variance_at(self, x: float) -> float:
        """Return the variance of the line's value."""
        row = np.array([1.0, x])
        return float(row @ self.covariance @ row)

    @property
    def fitted(self) -> FloatArray:
        """The line at every x."""
        return self.intercept + self.slope * self.x

    @property
    def scatter(self) -> float:
        """Standard deviation of the residuals."""
        return float(np.std(self.y - self.fitted, ddof=2)) if len(self.x) > 2 else 0.0


def line(
    x: FloatArray, y: FloatArray, spread: FloatArray | None = None, noise: FloatArray | None = None
) -> Line | None:
    """Return the straight line through readings, None where they are too few or stand at one place.

    spread : (n,) relative standard deviation of y by which rows are weighted; equal by default. noise : (n,) standard
    deviation of y by its gauge, with which two readings are enough.
    """
    good = np.isfinite(x) & np.isfinite(y)
    x, y = x[good], y[good]
    if len(x) < (LEAST_ROWS if noise is None else 2) or np.ptp(x) == 0.0:
        return None
    few = noise is not None and len(x) < FEW_ROWS
    weight = np.ones_like(x) if spread is None else 1.0 / spread[good]
    if few:
        assert noise is not None
        weight = 1.0 / noise[good]
    scale = float(np.abs(x).max())
    design = np.column_stack([weight, weight * x / scale])
    fit = of_few(design, weight * y) if few else least_squares(design, weight * y)
    turn = np.diag([1.0, 1.0 / scale])
    values = turn @ fit.values
    return Line(float(values[0]), float(values[1]), turn @ fit.covariance @ turn, x, y)


@dataclass(frozen=True)
class Linear:
    """Values (p,) of a linear model and their covariance (p, p)."""

    values: FloatArray
    covariance: FloatArray = field(repr=False)


def least_squares(design: FloatArray, y: FloatArray) -> Linear:
    """Return the least-squares values of y = design @ values with the covariance described in the module text."""
    inverse = np.linalg.pinv(design.T @ design)
    values = inverse @ design.T @ y
    rest = y - design @ values
    leverage = np.clip(np.einsum("ij,jk,ik->i", design, inverse, design), 0.0, 0.98)
    meat = design.T @ (design * ((rest / (1.0 - leverage)) ** 2)[:, None])
    covariance = inverse @ meat @ inverse
    return Linear(values, covariance * inflation(rest))


def of_few(design: FloatArray, y: FloatArray) -> Linear:
    """Return the same of few readings, each in standard deviations of its gauge."""
    inverse = np.linalg.pinv(design.T @ design)
    values = inverse @ design.T @ y
    free = len(y) - design.shape[1]
    misfit = float(np.sum((y - design @ values) ** 2)) / free if free > 0 else 1.0
    return Linear(values, inverse * max(misfit, 1.0) * widened(max(free, 0) + KNOWN_AS))


def widened(freedom: float) -> float:
    """Return how much wider a variance counts that is known from so many readings, by Student's t."""
    from scipy.stats import t

    return float(t.ppf(0.5 + CONFIDENCE / 2.0, freedom) / 1.96) ** 2


def inflation(rest: FloatArray) -> float:
    """Return how much wider a variance is because residuals follow each other: (1 + r)/(1 - r), at least 1."""
    if len(rest) < 2 * LEAST_ROWS or not np.any(rest):
        return 1.0
    r = float(np.sum(rest[1:] * rest[:-1]) / np.sum(rest**2))
    return (1.0 + min(r, 0.9)) / (1.0 - min(r, 0.9)) if r > 2.0 / np.sqrt(len(rest)) else 1.0
