"""Distributions of what differs from joint to joint: the usual ones with their sources, and those a file states."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from headjoint.cases.models.condensed import chain_of
from headjoint.cases.service.tightened import tightened
from headjoint.model.base.arrays import FloatArray
from headjoint.model.base.errors import InputError, nearest
from headjoint.model.cell import Cell
from headjoint.model.files.scatter_file import DistributionTable
from headjoint.model.formulas import sampled_joint as draws
from headjoint.model.formulas.sampled_joint import ABSOLUTE, preload_per_torque
from headjoint.model.joint import Joint
from headjoint.model.reading.overrides import Content, internal_unit, number, unit_of
from headjoint.model.reading.reading import tables_of

TOOL = 0.02  # standard deviation of a torque wrench, as a factor
ANGLE_TOOL = 2.0  # deg, standard deviation of the angle turned
TWO_SIGMA = 0.9772  # chance that a normal value stays below two standard deviations
STRENGTH = 0.025  # of the yield strength
FRICTION_CLASS_B = 0.02 / 0.12  # of friction coefficients, relative
NO_SOURCE = "common practice, no source"
SMALLEST_FRICTION = 0.02
NEEDS = {
    "normal": ("mean", "deviation"),
    "lognormal": ("mean", "deviation"),
    "half-normal": ("deviation",),
    "uniform": ("low", "high"),
    "triangular": ("low", "mean", "high"),
    "fixed": (),
}


@dataclass(frozen=True)
class Input:
    """One uncertain input: a draw by name, or a path of the file.

    kind and its parameters (mean, deviation, low, high) in `unit`: "factor" for a factor on what the file states.
    """

    name: str
    kind: str
    unit: str
    source: str
    mean: float = 0.0
    deviation: float = 0.0
    low: float = 0.0
    high: float = 0.0
    path: bool = False

    def at(self, share: FloatArray) -> FloatArray:
        """Return the values below which these shares of all joints lie."""
        from scipy import stats

        if self.kind == "normal":
            found = stats.norm.ppf(share, self.mean, self.deviation)
        elif self.kind == "lognormal":
            spread = math.sqrt(math.log1p((self.deviation / self.mean) ** 2))
            found = stats.lognorm.ppf(share, spread, scale=self.mean / math.exp(spread**2 / 2.0))
        elif self.kind == "half-normal":
            found = stats.halfnorm.ppf(share, 0.0, self.deviation)
        elif self.kind == "uniform":
            found = stats.uniform.ppf(share, self.low, self.high - self.low)
        else:
            width = self.high - self.low
            found = stats.triang.ppf(share, (self.mean - self.low) / width, self.low, width)
        if self.name in (draws.THREAD_FRICTION, draws.BEARING_FRICTION):
            found = np.maximum(found, SMALLEST_FRICTION)
        return found

    @property
    def words(self) -> str:
        """The distribution in words, plus-minus two standard deviations where it is one."""
        unit = "" if self.unit in ("factor", "") else f" {self.unit}"
        if self.kind in ("normal", "lognormal"):
            if self.unit == "factor" and self.mean == 1.0:
                return f"{self.kind}, +-{200.0 * self.deviation:.3g} % (2 s)"
            return f"{self.kind}, {self.mean:.4g} +-{2.0 * self.deviation:.3g}{unit} (2 s)"
        if self.kind == "half-normal":
            return f"half-normal, 0 to {2.0 * self.deviation:.3g}{unit} (2 s)"
        return f"{self.kind}, {self.low:.4g} to {self.high:.4g}{unit}"


def inputs_of(stated: Joint | Cell, content: Content) -> tuple[Input, ...]:
    """Return the inputs of a file: the usual ones, and those that it states in their place or besides."""
    own = tables_of(content).scatter.inputs
    usual = usual_inputs(stated)
    found = []
    for one in usual:
        table = own.get(one.name)
        if table is None:
            found.append(one)
        elif table.distribution != "fixed":
            found.append(_stated(one.name, table, one.unit, None, content))
    known = [one.name for one in usual]
    for name, table in own.items():
        if name in known or table.distribution == "fixed":
            continue
        if name in ABSOLUTE or name in (draws.PRELOAD, draws.TORQUE):
            unit = "factor" if name not in ABSOLUTE else _unit(name)
            found.append(_stated(name, table, unit, None, content))
            continue
        try:
            unit = internal_unit(content, name)
        except InputError as error:
            near = nearest(name, known)
            hint = f"; did you mean '{near[0]}'?" if near else f"; by name: {', '.join(known)}; or a path"
            raise InputError(f"no such input{hint}", field=f"scatter.inputs.{name}") from error
        found.append(_stated(name, table, unit, name, content))
    if not found:
        raise InputError("nothing scatters: every input is fixed", field="scatter.inputs")
    return tuple(found)


def _unit(name: str) -> str:
    return {draws.BEAD: "mm", draws.FLATNESS: "mm", draws.ANGLE: "deg"}.get(name, "")


def _stated(name: str, table: DistributionTable, unit: str, path: str | None, content: Content) -> Input:
    """Return a distribution that the file states; InputError where something is missing or out of order."""
    field = f"scatter.inputs.{name}"
    read: dict[str, Any] = {}
    for key in ("mean", "deviation", "low", "high"):
        value = getattr(table, key)
        if key in NEEDS[table.distribution] and value is None:
            raise InputError("is required but missing", field=f"{field}.{key}")
        if key not in NEEDS[table.distribution] and value is not None:
            raise InputError(f"means nothing for {table.distribution}", field=f"{field}.{key}")
        if value is None:
            continue
        if path is None:
            if isinstance(value, str):
                raise InputError(f"is a number ({unit or 'no unit'})", field=f"{field}.{key}", value=value)
            read[key] = float(value)
            continue
        inside = number(content, path, value)
        if inside is None:
            raise InputError("is a name and has no distribution", field=field)
        if key == "deviation" and isinstance(value, str):  # a difference, also of temperatures
            inside -= number(content, path, f"0 {unit_of(value)}") or 0.0
        read[key] = inside
    if read.get("deviation", 1.0) <= 0.0:
        raise InputError("must be greater than 0", field=f"{field}.deviation", value=table.deviation)
    if "low" in read and not read["low"] < read["high"]:
        raise InputError("must be less than `high`", field=f"{field}.low", value=table.low)
    if table.distribution == "triangular" and not read["low"] <= read["mean"] <= read["high"]:
        raise InputError("must lie between `low` and `high`", field=f"{field}.mean", value=table.mean)
    if table.distribution == "lognormal" and read["mean"] <= 0.0:
        raise InputError("must be greater than 0", field=f"{field}.mean", value=table.mean)
    return Input(name, table.distribution, unit, "stated in the file", **read, path=path is not None)


def usual_inputs(stated: Joint | Cell) -> tuple[Input, ...]:
    """Return the usual distributions for a joint or cell, each with its source."""
    joint = stated.joint if isinstance(stated, Cell) else stated
    tight = joint.tightening
    found = _of_tightening(joint) if tight.preload is not None else _of_method(joint)

    def factor(name: str, deviation: float, source: str) -> None:
        found.append(Input(name, "normal", "factor", source, 1.0, deviation))

    if tight.embedding > 0.0:
        factor(draws.EMBEDDING, 0.25, "VDI 2230-1 table 5 gives guide values; their range from memory, low confidence")
    laws = {zone.law.name: zone.law for zone in joint.gasket.zones}
    for law in laws.values():
        source = f"spread of the law, read as two standard deviations ({law.source.split(';')[0]})"
        spread = law.spread
        if spread is None:
            spread, source = 0.15, f"the law states no spread; {NO_SOURCE}"
        if spread > 0.0:
            factor(draws.LAW + law.name, spread / 2.0, source)
    found.append(Input(draws.BEAD, "normal", "mm", NO_SOURCE, 0.0, 0.01))
    found.append(Input(draws.FLATNESS, "half-normal", "mm", f"hollow under the gasket's rings; {NO_SOURCE}", 0.0, 0.01))
    if joint.fastener.yield_strength is not None:
        factor(draws.YIELD, STRENGTH, f"about the stated value, often a minimum, so on the safe side; {NO_SOURCE}")
    warm = any(t != joint.assembly_temperature for case in joint.load_cases for t in case.temperatures.values())
    if warm:
        for part in draws.HEATED:
            factor(
                draws.EXPANSION + part, 0.015, "handbook values differ by some per cent; from memory, low confidence"
            )
        for part in draws.HEATED:
            factor(draws.RISE + part, 0.05, NO_SOURCE)
    if any(case.gas_force > 0.0 for case in joint.load_cases):
        peaks = None if joint.gas is None else joint.gas.peaks
        if peaks is None:
            factor(draws.GAS, 0.05, "the greatest peak, as stated, is known so well; from memory, low confidence")
        else:
            # the longer side of a skew distribution, read as two standard deviations of a normal one
            deviation = (peaks.greatest(TWO_SIGMA) / peaks.greatest() - 1.0) / 2.0
            source = f"greatest of {peaks.cycles:.3g} cycles, from joint to joint: [gas.peaks]"
            factor(draws.GAS, deviation, source)
    return tuple(found)


def _of_tightening(joint: Joint) -> list[Input]:
    """Return how preload scatters: alpha_A as a whole, or for torque wrenches by tool and friction that make it up."""
    tight = joint.tightening
    whole = tight.scatter / 2.0  # the standard's range, read as plus-minus two standard deviations
    table = f"{tight.scatter_name}, range read as two standard deviations (from memory, low confidence)"
    mu, nu = tight.thread_friction, tight.bearing_friction
    found = []
    if tight.method == "torque" and tight.scatter_name.startswith("torque wrench"):
        # d ln F / d ln mu of both faces
        step = 1e-4
        base = preload_per_torque(joint, mu, nu)
        thread = (preload_per_torque(joint, mu * (1 + step), nu) / base - 1.0) / step
        bearing = (preload_per_torque(joint, mu, nu * (1 + step)) / base - 1.0) / step
        rest = math.sqrt(max(whole**2 - TOOL**2, 0.0) / (thread**2 + bearing**2))
        source = f"what alpha_A leaves beside the tool: {table}; VDI 2230-1 table A5 class B is 0.08 to 0.16"
        found.append(_wrench())
        if rest > 0.0:
            found.append(Input(draws.THREAD_FRICTION, "lognormal", "", source, mu, mu * rest))
            found.append(Input(draws.BEARING_FRICTION, "lognormal", "", source, nu, nu * rest))
        return found
    if whole > 0.0:
        found.append(Input(draws.PRELOAD, "normal", "factor", table, 1.0, whole))
    if tight.twisted:  # sets torsion only
        source = "VDI 2230-1 table A5, class B 0.08 to 0.16 (from memory, medium confidence); sets torsion only"
        found.append(Input(draws.THREAD_FRICTION, "lognormal", "", source, mu, mu * FRICTION_CLASS_B))
    return found


def _wrench() -> Input:
    return Input(draws.TORQUE, "normal", "factor", "ISO 6789, +-4 % (from memory, high confidence)", 1.0, TOOL)


def _of_method(joint: Joint) -> list[Input]:
    """Return how the preload scatters where the elastic joint decides it: by tool, friction, and what alpha_A leaves.

    What these make of it, the fastener's strength among them, is read off the closed-form chain.
    """
    tight = joint.tightening
    step, whole = tight.step, tight.scatter / 2.0
    found = [_wrench()] if step.torques or step.snug is not None else []
    if step.angles:
        found.append(Input(draws.ANGLE, "normal", "deg", f"error of the angle; {NO_SOURCE}", 0.0, ANGLE_TOOL))
    if step.turned:
        source = "VDI 2230-1 table A5, class B 0.08 to 0.16 (from memory, medium confidence)"
        for name, mu in (
            (draws.THREAD_FRICTION, tight.thread_friction),
            (draws.BEARING_FRICTION, tight.bearing_friction),
        ):
            found.append(Input(name, "lognormal", "", source, mu, mu * FRICTION_CLASS_B))
    known = {one.name: one.mean + one.deviation for one in found} | {draws.YIELD: 1.0 + STRENGTH}
    nominal = _preload_of(joint, {})
    spread = sum((_preload_of(joint, {name: value}) / nominal - 1.0) ** 2 for name, value in known.items())
    rest = math.sqrt(max(whole**2 - spread, 0.0))
    if rest > 0.0:
        table = f"{tight.scatter_name}, range read as two standard deviations (from memory, low confidence)"
        source = f"what alpha_A leaves beside tool, friction and strength: {table}"
        found.append(Input(draws.PRELOAD, "normal", "factor", source, 1.0, rest))
    return found


def _preload_of(joint: Joint, draw: dict[str, float]) -> float:
    """Return the preload (N) that the closed-form chain of a drawn joint is tightened to."""
    return tightened(chain_of(draws.drawn_joint(joint, draw))).preload
