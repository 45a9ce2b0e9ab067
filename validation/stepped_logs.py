"""How a logger and a notebook write down what the stepped rig did: gauges, units, gaps, and what can be wrong."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from headjoint.model.rig.rig import Rig
from validation.stepped_rig import Bench, Machine

FloatArray = NDArray[np.float64]
PSI, POUND_FOOT, THOU, DEGREE = 0.00689475729, 1355.8179483, 0.0254, math.pi / 180.0

# channel -> (heading, internal value of one, least step of its scale in that unit)
LOGGER = {
    "time": ("time [s]", 1.0, 0.1),
    "pressure": ("pressure [bar]", 0.1, 0.1),
    "torque": ("torque [N.m]", 1e3, 0.1),
    "angle": ("angle [deg]", DEGREE, 0.1),
    "stretch": ("stretch [mm]", 1.0, 0.001),
    "temperature": ("temperature [degC]", 1.0, 0.1),
}
NOTEBOOK = {
    "time": ("Time (min)", 60.0, 0.5),
    "pressure": ("Pressure (psig)", PSI, 10.0),
    "torque": ("Torque (ft-lb)", POUND_FOOT, 1.0),
    "angle": ("Angle (deg)", DEGREE, 1.0),
    "stretch": ("Stretch (thou)", THOU, 0.5),
    "temperature": ("Temperature (deg F)", 5.0 / 9.0, 1.0),
}
Units = dict[str, tuple[str, float, float]]
Columns = dict[str, FloatArray]


@dataclass(frozen=True)
class Readings:
    """Rows of a log before they are written: channels in internal units, words of every row, units to write in."""

    channels: Columns
    words: list[tuple[str, int]]
    units: Units
    use_column: bool = True

    def at(self, step: str) -> NDArray[np.int64]:
        """Return the rows of a step in the first use."""
        return np.flatnonzero([word == (step, 1) for word in self.words])


def gauged(
    rig: Rig, bench: Bench, machine: Machine, random: np.random.Generator, rows: list[int], units: Units
) -> Readings:
    """Return some of a machine's rows as its gauges read them: zero, span, noise; the scale's step comes in writing."""
    true = {name: np.array([machine.rows[row][name] for row in rows], dtype=float) for name in units}
    count, rough = len(rows), bench.rough
    words = [machine.words[row] for row in rows]
    shaken = {name: random.normal(0.0, rough * size, count) for name, size in NOISE.items()}
    read = {
        "time": true["time"],
        "pressure": true["pressure"] * (1.0 + bench.span) + bench.zero + shaken["pressure"],
        "torque": true["torque"] * (1.0 + bench.torque_error) * (1.0 + shaken["torque"]),
        "angle": true["angle"] + shaken["angle"],
        "stretch": true["stretch"] * (1.0 + bench.dial_error) + bench.dial_at + shaken["stretch"],
        "temperature": true["temperature"] + shaken["temperature"],
    }
    turning = np.array([word in ("tighten", "loosen") for word, _ in words])
    read["torque"] = np.where(turning, read["torque"], np.nan)
    if not turning.any():
        del read["torque"], read["angle"]
    return Readings(read, words, units)


NOISE = {"pressure": 0.04, "torque": 0.01, "angle": 0.003, "stretch": 0.0012, "temperature": 0.1}


def logged(rig: Rig, bench: Bench, machine: Machine, random: np.random.Generator) -> Readings:
    """Return what a logger writes: most rows."""
    every = int(random.integers(1, 4))
    words = machine.words
    ends = {at for at in range(len(words)) if words[at + 1 : at + 2] != [words[at]]}  # where a step ends is read
    kept = [at for at, word in enumerate(words) if word[0] in ("zero", "strike") or at % every == 0 or at in ends]
    return gauged(rig, bench, machine, random, kept, LOGGER)


def noted(rig: Rig, bench: Bench, machine: Machine, random: np.random.Generator, most: int = 15) -> Readings:
    """Return what a tester writes down by hand: 8 to `most` rows."""
    rows: list[int] = []
    uses = sorted({use for _, use in machine.words})
    force = np.array([row["force"] for row in machine.rows])
    time = np.array([row["time"] for row in machine.rows])
    for use in uses:
        mine = {step: [at for at, word in enumerate(machine.words) if word == (step, use)] for step in STEPS}
        if mine["zero"]:
            rows.append(mine["zero"][0])
        if mine["tighten"]:
            rows += _spread(mine["tighten"], force, int(random.integers(4, 7)))
            rows += [
                at for at in mine["tighten"] if machine.words[at + 1 :][:1] != [("tighten", use)]
            ]  # where it was left
        if mine["hold"]:
            start = max(time[at] for at in (*mine["tighten"], mine["hold"][0] - 1) if at < mine["hold"][0])
            for minutes in ([5, 60, 1440], [10, 1440], [5, 30, 240, 1440], [60, 1440])[int(random.integers(4))]:
                rows.append(min(mine["hold"], key=lambda at: abs(time[at] - start - 60.0 * minutes)))
        if mine["strike"]:
            rows.append(mine["strike"][-1])
        if mine["heat"]:
            read = [machine.rows[at]["temperature"] for at in mine["heat"]]
            rows += [mine["heat"][int(np.argmax(read))], mine["heat"][-1]]
        if mine["loosen"]:
            rows += _loosened(mine["loosen"], force, machine, int(random.integers(2, 5)))
        if mine["pull"]:
            rows += _pulled(mine["pull"], force)
    return gauged(rig, bench, machine, random, sorted(set(rows))[:most], NOTEBOOK)


STEPS = ("zero", "tighten", "hold", "strike", "heat", "loosen", "pull")


def _spread(rows: list[int], force: FloatArray, count: int) -> list[int]:
    wanted = np.linspace(0.2, 1.0, count) * force[rows[-1]]
    return [min(rows, key=lambda at: abs(force[at] - one)) for one in wanted[:-1]] + [rows[-1]]


def _loosened(rows: list[int], force: FloatArray, machine: Machine, count: int) -> list[int]:
    slipping = [at for at in rows if force[at] < 0.97 * force[rows[0]]]
    wanted = np.linspace(0.9, 0.25, count) * force[rows[0]]
    return [min(slipping, key=lambda at: abs(force[at] - one)) for one in wanted]


def _pulled(rows: list[int], force: FloatArray) -> list[int]:
    top = int(np.argmax(force[rows]))
    return [*(rows[int(at)] for at in np.linspace(0.1, 1.0, 10) * top), rows[top + 10], rows[-1]]


def written(read: Readings, random: np.random.Generator, *, headings: dict[str, str] | None = None) -> str:
    """Return the CSV text of readings; `headings` stand over columns that are really in the unit of `units`."""
    lines = []
    names = [name for name in read.units if name in read.channels]
    words = ["step", "use"] if read.use_column else ["step"]
    lines.append(",".join([*((headings or {}).get(name, read.units[name][0]) for name in names), *words]))
    for row, (step, use) in enumerate(read.words):
        cells = [_cell(name, read.channels[name][row], read.units) for name in names]
        lines.append(",".join([*cells, step, *([str(use)] if read.use_column else [])]))
    return "\n".join(lines) + "\n"


def _cell(name: str, value: float, units: Units) -> str:
    if math.isnan(value):
        return ""
    heading, one, step = units[name]
    number = value / one + (32.0 if name == "temperature" and "F" in heading else 0.0)
    return f"{round(number / step) * step:.{max(0, -math.floor(math.log10(step)))}f}"


# what is planted: name -> (readings and generator to readings and headings, words that must be said, where)
Spoil = Callable[[Readings, np.random.Generator], tuple[Readings, dict[str, str]]]


def _changed(read: Readings, **channels: FloatArray) -> Readings:
    return Readings(read.channels | channels, read.words, read.units, read.use_column)


def slipped(read: Readings, random: np.random.Generator) -> tuple[Readings, dict[str, str]]:
    """Let the indicator slip by 1 to 5 thou midway up; it stays there."""
    rows = read.at("tighten") if len(read.at("tighten")) else read.at("pull")
    stretch = read.channels["stretch"].copy()
    at = rows[int(random.uniform(0.35, 0.75) * len(rows))]
    stretch[at:] += random.choice([-1.0, 1.0]) * random.uniform(1.5, 5.0) * THOU
    return _changed(read, stretch=stretch), {}


def _stuck(read: Readings, random: np.random.Generator, channel: str) -> Readings:
    rows = read.at("tighten")
    values = read.channels[channel].copy()
    begin = int(random.uniform(0.3, 0.45) * len(rows))
    stop = begin + max(3, int(0.3 * len(rows)))
    values[rows[begin : min(stop, len(rows) - 1)]] = values[rows[begin]]
    return _changed(read, **{channel: values})


def stuck_dial(read: Readings, random: np.random.Generator) -> tuple[Readings, dict[str, str]]:
    """Let the indicator stand still for a third of the tightening and then catch up."""
    return _stuck(read, random, "stretch"), {}


def stuck_pressure(read: Readings, random: np.random.Generator) -> tuple[Readings, dict[str, str]]:
    """Let the needle of the pressure gauge stand still while all others go on."""
    return _stuck(read, random, "pressure"), {}


def shifted_pressure(read: Readings, random: np.random.Generator) -> tuple[Readings, dict[str, str]]:
    """Let the pressure gauge jump midway by 12 to 25 % of what it reaches."""
    rows = read.at("tighten")
    values = read.channels["pressure"].copy()
    at = rows[min(max(int(random.uniform(0.4, 0.7) * len(rows)), 2), len(rows) - 2)]
    values[at:] += random.choice([-1.0, 1.0]) * random.uniform(0.12, 0.25) * values[rows[-1]]
    return _changed(read, pressure=values), {}


def negative_pressure(read: Readings, random: np.random.Generator) -> tuple[Readings, dict[str, str]]:
    """Let the pressure read far below nothing where no force is."""
    values = read.channels["pressure"].copy()
    rows = np.concatenate([read.at("zero"), read.at("loosen")[-2:]])
    values[rows] = -random.uniform(2.0, 4.0)
    return _changed(read, pressure=values), {}


def reset_angle(read: Readings, random: np.random.Generator) -> tuple[Readings, dict[str, str]]:
    """Let the angle gauge be set to zero midway up; it counts from there on."""
    rows = read.at("tighten")
    values = read.channels["angle"].copy()
    at = rows[int(random.uniform(0.5, 0.7) * len(rows))]
    end = next((i for i, word in enumerate(read.words) if word[1] == 2), len(values))
    values[at:end] -= values[at]
    return _changed(read, angle=values), {}


def swapped(channel: str, heading: str) -> Spoil:
    """Return how a column comes under a heading of another unit."""
    return lambda read, random: (read, {channel: heading})


def mixed_torque(read: Readings, random: np.random.Generator) -> tuple[Readings, dict[str, str]]:
    """Let the torque be written in the other unit from midway up."""
    rows = read.at("tighten")
    values = read.channels["torque"].copy()
    factor = 1.3558 if "ft" in read.units["torque"][0] else 1.0 / 1.3558
    values[rows[len(rows) // 2] :] *= factor
    return _changed(read, torque=values), {}


# name -> (how, one of these must be said of it)
FAULTS: dict[str, tuple[Spoil, tuple[str, ...]]] = {
    "indicator slips": (slipped, ("indicator jumps", "indicator slip", "the indicator slides")),
    "indicator stands still": (stuck_dial, ("the indicator stood still",)),
    "pressure stands still": (stuck_pressure, ("pressure gauge stood still",)),
    "pressure jumps": (shifted_pressure, ("pressure gauge jumps",)),
    "pressure below nothing": (negative_pressure, ("below nothing",)),
    "angle set to zero": (reset_angle, ("was set to zero",)),
    "psi under bar": (swapped("pressure", "pressure [bar]"), ("psi headed as bar", "bar headed as psi")),
    "thou under mm": (swapped("stretch", "stretch [mm]"), ("thou", "beyond the gauge's range")),
    "torque changes unit": (mixed_torque, ("mixed units",)),
}
