"""Invented rig logs with known truth: every number here is made up, no measurement stands behind any of them.

They show how a log looks, and they hold the fits to account: a truth is drawn at random, gauges get errors within their
stated limits, readings get noise, and the fits must find the truth again within the interval that they state. Run as
`python -m validation.invented_logs FOLDER` to write those that ship.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from headjoint.model.library.plasticity import PROOF_STRAIN
from headjoint.model.rig.log import RigLog
from headjoint.model.rig.reading import read_rig
from headjoint.model.rig.rig import Rig, setup_compliance, stretch_compliance, thread_arm, torsion_compliance

FloatArray = NDArray[np.float64]

SETTLING_REFERENCE = 60.0  # s, t0 of the logarithmic part
ATMOSPHERE = 0.1013  # MPa
CAPTION = "INVENTED log with known truth, made by validation.invented_logs: no measurement stands behind it."


@dataclass(frozen=True)
class Truth:
    """What an invented log is made of. Units inside; shares and friction coefficients are plain numbers.

    settles, settling_time : share of clamp that goes at once, and its time constant (s). rate : share per tenfold time.
    per_degree : N/K. second : frictions of the second use over those of the first. struck : share of clamp that a
    hammer costs. proof, ultimate : MPa on the smallest section. uniform : plastic strain at the greatest force.
    errors : of the gauges, in shares or units as their names say. noise : standard deviations of readings.
    air : mm3 of air in the ram at atmosphere. sets : give (mm/N) of the first tightening that does not come back, as
    that of a gasket.
    """

    thread_friction: float = 0.12
    bearing_friction: float = 0.11
    stretch_compliance: float = 6.2e-6
    setup_compliance: float = 2.4e-6
    torsion_compliance: float = 1.3e-6
    seating: float = 0.008
    offset: float = 0.03
    settles: float = 0.02
    settling_time: float = 120.0
    rate: float = 0.002
    per_degree: float = 60.0
    struck: float = 0.006
    second: float = 1.08
    proof: float = 1580.0
    ultimate: float = 1820.0
    uniform: float = 0.03
    load: float = 60e3
    air: float = 0.0
    sets: float = 0.0
    errors: dict[str, float] = field(default_factory=dict)
    noise: dict[str, float] = field(
        default_factory=lambda: {
            "pressure": 0.05,
            "torque": 0.012,
            "angle": 0.003,
            "stretch": 0.001,
            "temperature": 0.1,
        }
    )


def drawn(rig: Rig, random: np.random.Generator) -> Truth:
    """Return a truth drawn at random, gauge errors within the limits that the rig states."""
    gauges, ram = rig.stated.gauges, rig.stated.ram

    def within(limit: float) -> float:
        return float(random.uniform(-limit, limit))

    assert gauges.pressure is not None
    assert gauges.torque is not None
    errors = {
        "area": within(ram.area_accuracy),
        "pressure span": within(gauges.pressure.accuracy / 2.0),
        "pressure zero": within(gauges.pressure.accuracy * gauges.pressure.range / 2.0),
        "torque": within(gauges.torque.accuracy),
        "stretch": within(gauges.stretch.accuracy),
        "angle": within(gauges.angle.accuracy),
        "temperature": within(gauges.temperature.accuracy),
    }
    return Truth(
        thread_friction=float(random.uniform(0.08, 0.18)),
        bearing_friction=float(random.uniform(0.07, 0.18)),
        stretch_compliance=stretch_compliance(rig) * (1.0 + within(0.05)),
        setup_compliance=setup_compliance(rig) * (1.0 + within(0.15)),
        torsion_compliance=torsion_compliance(rig) * (1.0 + within(rig.stated.torsion_accuracy)),
        seating=float(random.uniform(0.0, 0.012)),
        offset=within(0.08),
        settles=float(random.uniform(0.005, 0.05)),
        settling_time=float(random.uniform(40.0, 400.0)),
        rate=float(random.uniform(0.0005, 0.006)),
        per_degree=float(random.uniform(10.0, 140.0)),
        struck=float(random.uniform(0.0, 0.01)),
        second=float(random.uniform(0.85, 1.2)),
        proof=float(random.uniform(1450.0, 1620.0)),
        ultimate=float(random.uniform(1750.0, 1900.0)),
        uniform=float(random.uniform(0.02, 0.04)),
        load=float(random.uniform(45e3, 80e3)),
        errors=errors,
    )


class _Writer:
    """Rows of a log as they come, true values first, errors and noise on top."""

    def __init__(self, rig: Rig, truth: Truth, random: np.random.Generator) -> None:
        self.rig, self.truth, self.random = rig, truth, random
        self.parts: dict[str, list[FloatArray]] = {}
        self.steps: list[str] = []
        self.uses: list[int] = []

    def add(self, step: str, use: int, **true: FloatArray | float) -> None:
        """Add rows of one step; channels in internal units."""
        rows = max(np.size(value) for value in true.values())
        self.steps += [step] * rows
        self.uses += [use] * rows
        for name, value in true.items():
            self.parts.setdefault(name, []).append(np.broadcast_to(np.asarray(value, dtype=float), (rows,)))

    def log(self, file: str) -> RigLog:
        true = {name: np.concatenate(parts) for name, parts in self.parts.items()}
        noise, error, ram = self.truth.noise, self.truth.errors, self.rig.stated.ram
        shaken = {name: self.random.normal(0.0, noise[name], len(self.steps)) for name in noise}
        torque = true["torque"] * (1.0 + error.get("torque", 0.0)) * (1.0 + shaken["torque"])
        turning = np.isin(self.steps, ["tighten", "loosen"])
        pressure = true["force"] / (ram.area * (1.0 + error.get("area", 0.0)))
        read = {
            "time": true["time"],
            "pressure": pressure * (1.0 + error.get("pressure span", 0.0))
            + error.get("pressure zero", 0.0)
            + shaken["pressure"],
            "torque": np.where(turning, torque, np.nan),
            "angle": true["angle"] + shaken["angle"],
            "stretch": true["stretch"] * (1.0 + error.get("stretch", 0.0)) + self.truth.offset + shaken["stretch"],
            "temperature": true["temperature"] + error.get("temperature", 0.0) + shaken["temperature"],
        }
        if not turning.any():
            del read["torque"], read["angle"]
        lines = np.arange(2, len(self.steps) + 2)
        return RigLog(file, read, np.array(self.steps), np.array(self.uses, dtype=np.int64), lines)


def turned_angle(rig: Rig, truth: Truth, force: FloatArray, friction: float, use: int = 1) -> FloatArray:
    """Return the wrench angle (rad) at rising forces: stretch and shortening of the set-up, seating, air, wind-up."""
    give = truth.stretch_compliance + truth.setup_compliance + (truth.sets if use == 1 else 0.0)
    travel = give * force + truth.seating * (1.0 - np.exp(-force / 4e3))
    pressure = force / rig.stated.ram.area
    travel = travel + truth.air / rig.stated.ram.area * (1.0 - ATMOSPHERE / (pressure + ATMOSPHERE))
    wind = truth.torsion_compliance * thread_arm(rig.thread, friction) * force
    return 2.0 * np.pi * travel / rig.thread.pitch + wind


def service_log(rig: Rig, truth: Truth, random: np.random.Generator, file: str = "invented") -> RigLog:
    """Return an invented log of a day in service: tighten, wait, strike, heat and cool, loosen, and again."""
    made = _Writer(rig, truth, random)
    made.add("zero", 1, time=np.arange(10.0), force=0.0, torque=0.0, angle=0.0, stretch=0.0, temperature=21.0)
    clock = 20.0
    for use in (1, 2):
        more = 1.0 if use == 1 else truth.second
        clock, force = _tightened(made, use, more, clock)
        if use == 1:
            clock, force = _stood(made, force, clock)
        clock = _loosened(made, use, more, force, clock)
    return made.log(file)


def _tightened(made: _Writer, use: int, more: float, clock: float) -> tuple[float, float]:
    rig, truth = made.rig, made.truth
    thread, bearing = truth.thread_friction * more, truth.bearing_friction * more
    force = np.linspace(0.02, 1.0, 90) * truth.load
    arm = thread_arm(rig.thread, thread) + rig.bearing_diameter / 2.0 * bearing
    made.add(
        "tighten",
        use,
        time=clock + np.arange(90.0),
        force=force,
        torque=arm * force,
        angle=turned_angle(rig, truth, force, thread, use),
        stretch=truth.stretch_compliance * force,
        temperature=21.0,
    )
    return clock + 89.0, truth.load


def settled_share(truth: Truth, time: FloatArray | float) -> FloatArray:
    """Return the share of clamp that is left after standing for `time` (s)."""
    at_once = truth.settles * (1.0 - np.exp(-np.asarray(time) / truth.settling_time))
    return 1.0 - at_once - truth.rate * np.log10(1.0 + np.asarray(time) / SETTLING_REFERENCE)


def _stood(made: _Writer, force: float, clock: float) -> tuple[float, float]:
    """Add a day's wait, three strikes of a hammer, and a heat cycle; return the clock and the force left."""
    truth = made.truth
    angle = float(turned_angle(made.rig, truth, np.array([force]), truth.thread_friction)[0])
    common: dict[str, Any] = {"torque": 0.0, "angle": angle}
    since = np.concatenate([np.arange(1.0, 60.0, 3.0), np.geomspace(60.0, 86400.0, 70)])
    held = force * settled_share(truth, since)
    made.add(
        "hold", 1, time=clock + since, force=held, stretch=truth.stretch_compliance * held, temperature=21.0, **common
    )
    clock += 86400.0
    left = float(held[-1]) * (1.0 - truth.struck)
    made.add(
        "strike",
        1,
        time=clock + 10.0 + np.arange(15.0),
        force=left,
        stretch=truth.stretch_compliance * left,
        temperature=21.0,
        **common,
    )
    clock += 60.0
    heat = 21.0 + 70.0 * np.sin(np.linspace(0.0, np.pi, 80))
    warm = left + truth.per_degree * (heat - 21.0)
    made.add(
        "heat",
        1,
        time=clock + 30.0 * np.arange(80.0),
        force=warm,
        stretch=truth.stretch_compliance * warm,
        temperature=heat,
        **common,
    )
    return clock + 2500.0, left


def _loosened(made: _Writer, use: int, more: float, force: float, clock: float) -> float:
    """Add the turning back: at first the fastener unwinds and the nut stands on its thread, then clamp falls."""
    rig, truth = made.rig, made.truth
    thread, bearing = truth.thread_friction * more, truth.bearing_friction * more
    back = thread_arm(rig.thread, thread, loosening=True)
    falling = np.linspace(1.0, 0.03, 70) * force
    standing = np.full(8, force)
    # the nut has stood where it was left tight; the torsion of then gives way to that of loosening before it slips
    tight = truth.load
    start = float(turned_angle(rig, truth, np.array([tight]), thread, use)[0])
    twist = thread_arm(rig.thread, thread) * tight + back * force
    dead = truth.torsion_compliance * twist + truth.errors.get("angle", 0.0)
    give = truth.stretch_compliance + truth.setup_compliance
    slide = 2.0 * np.pi * give * (force - falling) / rig.thread.pitch
    wound = truth.torsion_compliance * back * (force - falling)
    angle = np.concatenate([start - np.linspace(0.0, 1.0, 8) * dead, start - dead - slide + wound])
    forces = np.concatenate([standing, falling])
    arm = back + rig.bearing_diameter / 2.0 * bearing
    torque = arm * forces * np.concatenate([np.linspace(0.3, 1.0, 8), np.ones(70)])
    rows = len(forces)
    made.add(
        "loosen",
        use,
        time=clock + np.arange(float(rows)),
        force=forces,
        torque=-torque,
        angle=angle,
        stretch=truth.stretch_compliance * forces,
        temperature=21.0,
    )
    return clock + rows + 60.0


def plastic_stretch(rig: Rig, truth: Truth, stress: FloatArray) -> FloatArray:
    """Return the plastic elongation (mm) of the free length at a stress (MPa) of the smallest section."""
    exponent = np.log(truth.uniform / PROOF_STRAIN) / np.log(truth.ultimate / truth.proof)
    return rig.free_length * PROOF_STRAIN * (stress / truth.proof) ** exponent


def strength_log(rig: Rig, truth: Truth, random: np.random.Generator, file: str = "invented") -> RigLog:
    """Return an invented log of a pull past yield until the force falls."""
    made = _Writer(rig, truth, random)
    common = {"torque": 0.0, "angle": 0.0, "temperature": 21.0}
    made.add("zero", 1, time=np.arange(10.0), force=0.0, stretch=0.0, **common)
    area = rig.joint.fastener.smallest_area
    stress = np.concatenate(
        [np.linspace(0.02, 0.8, 80) * truth.proof, np.linspace(0.81 * truth.proof, truth.ultimate, 120)]
    )
    force = stress * area
    stretch = truth.stretch_compliance * force + plastic_stretch(rig, truth, stress)
    neck = np.linspace(0.0, 1.0, 25)[1:]
    force = np.concatenate([force, force[-1] * (1.0 - 0.15 * neck**2)])
    stretch = np.concatenate([stretch, stretch[-1] + 0.8 * neck])
    made.add("pull", 1, time=20.0 + np.arange(float(len(force))), force=force, stretch=stretch, **common)
    return made.log(file)


# what can be wrong with a log, and how: a log and a random generator in, a log out
def slipped(log: RigLog, jump: float = -0.05) -> RigLog:
    """Return the log with an indicator that slips by `jump` (mm) midway up the first tightening or pull."""
    rows = np.flatnonzero(log.at("tighten", 1) | log.at("pull", 1))
    stretch = log.channels["stretch"].copy()
    stretch[rows[int(0.4 * len(rows))] :] += jump
    return replace(log, channels=log.channels | {"stretch": stretch})


def creeping_slip(log: RigLog, share: float = 0.3) -> RigLog:
    """Return the log with an indicator that slides more and more: it loses up to `share` of its reading."""
    stretch = log.channels["stretch"].copy()
    most = np.nanmax(stretch)
    return replace(log, channels=log.channels | {"stretch": stretch * (1.0 - share * stretch / most)})


def stalled(log: RigLog, *, catches_up: bool = True) -> RigLog:
    """Return the log with an indicator that sticks for a third of the first tightening or pull, catching up or not."""
    rows = np.flatnonzero(log.at("tighten", 1) | log.at("pull", 1))
    stuck = rows[int(0.3 * len(rows)) : int(0.6 * len(rows))]
    stretch = log.channels["stretch"].copy()
    if not catches_up:
        stretch[stuck[-1] + 1 : rows[-1] + 1] -= stretch[stuck[-1]] - stretch[stuck[0]]
    stretch[stuck] = stretch[stuck[0]]
    return replace(log, channels=log.channels | {"stretch": stretch})


def scaled(log: RigLog, channel: str, factor: float, share: float = 0.0) -> RigLog:
    """Return the log with one channel in another unit than its heading says, from a share of its rows on."""
    values = log.channels[channel].copy()
    values[int(share * log.rows) :] *= factor
    return replace(log, channels=log.channels | {channel: values})


def reset(log: RigLog, channel: str = "angle") -> RigLog:
    """Return the log with a gauge that was set to zero midway up the first tightening."""
    rows = np.flatnonzero(log.at("tighten", 1))
    at = rows[int(0.5 * len(rows))]
    values = log.channels[channel].copy()
    values[at : rows[-1] + 1] -= values[at]
    return replace(log, channels=log.channels | {channel: values})


def write_log(log: RigLog, path: Path, remarks: tuple[str, ...] = (), *, decimal_comma: bool = False) -> None:
    """Write a log as CSV in workshop units, with a caption that says it is invented."""
    shown = {
        "time": ("s", 1.0, 1),
        "pressure": ("bar", 10.0, 1),
        "force": ("kN", 1e-3, 2),
        "torque": ("N.m", 1e-3, 1),
        "angle": ("deg", 180.0 / np.pi, 1),
        "stretch": ("mm", 1.0, 3),
        "temperature": ("degC", 1.0, 1),
    }
    separator = ";" if decimal_comma else ","
    names = [name for name in shown if name in log.channels]
    words = ["step", "use"] + (["lubricant"] if log.lubricant else [])
    lines = [f"# {CAPTION}", *(f"# {remark}" for remark in remarks)]
    lines.append(separator.join([*(f"{name} [{shown[name][0]}]" for name in names), *words]))
    for row in range(log.rows):
        cells = []
        for name in names:
            _, factor, digits = shown[name]
            value = log.channels[name][row] * factor
            text = "" if np.isnan(value) else f"{value:.{digits}f}"
            cells.append(text.replace(".", ",") if decimal_comma else text)
        said = [str(log.step[row]), str(log.use[row])]
        if log.lubricant:
            said.append(log.lubricant if row == 0 else "")
        lines.append(separator.join([*cells, *said]))
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def main(folder: Path) -> None:
    """Write the logs that ship."""
    rigs = Path(__file__).parents[1] / "cases" / "shipped" / "rigs"
    rig, bolt_rig = (read_rig(rigs / f"hollow-ram-m11-{kind}.toml") for kind in ("stud", "bolt"))
    oiled = replace(
        drawn(rig, np.random.default_rng(5)),
        thread_friction=0.123,
        bearing_friction=0.108,
        stretch_compliance=6.02e-6,
        setup_compliance=2.68e-6,
        settles=0.028,
        struck=0.004,
        second=0.94,
        load=62e3,
    )
    dry = replace(oiled, thread_friction=0.171, bearing_friction=0.158, second=1.16)
    # a gasket in the stack gives, keeps part of it, creeps
    on_gasket = replace(oiled, setup_compliance=3.12e-6, sets=0.55e-6, seating=0.03, settles=0.046, rate=0.006)
    bolt = replace(
        oiled,
        thread_friction=0.127,
        bearing_friction=0.119,
        stretch_compliance=1.02 * stretch_compliance(bolt_rig),
        setup_compliance=1.04 * setup_compliance(bolt_rig),
        torsion_compliance=0.98 * torsion_compliance(bolt_rig),
        per_degree=81.0,
    )
    said = "truth: thread friction {0.thread_friction:g}, bearing friction {0.bearing_friction:g}; hollow-ram-m11-{1}"
    services = (
        ("stud-oiled", rig, oiled, 11, "engine oil"),
        ("stud-dry", rig, dry, 12, "dry"),
        ("stud-on-gasket", rig, on_gasket, 15, "engine oil"),
        ("bolt-oiled", bolt_rig, bolt, 16, "engine oil"),
    )
    for name, on, truth, seed, lubricant in services:
        log = replace(service_log(on, truth, np.random.default_rng(seed)), lubricant=lubricant)
        remark = said.format(truth, "bolt" if on is bolt_rig else "stud")
        if truth.sets:
            more = truth.setup_compliance + truth.sets - oiled.setup_compliance
            remark = f"truth: a gasket in the stack gives {1e6 * more:.2f} um/kN; hollow-ram-m11-stud"
        write_log(log, folder / f"{name}.csv", (remark,), decimal_comma=name == "stud-dry")
    pulled = strength_log(rig, oiled, np.random.default_rng(13))
    write_log(pulled, folder / "stud-pulled.csv", (f"truth: proof stress {oiled.proof:.0f} MPa; hollow-ram-m11-stud",))
    slipping = slipped(service_log(rig, oiled, np.random.default_rng(14)))
    write_log(slipping, folder / "stud-slipping-indicator.csv", ("the indicator slips by 0.05 mm midway",))


if __name__ == "__main__":
    main(Path(sys.argv[1]))
