"""A hollow-ram rig marched through a tester's day, step by step: logs that share no formula with the fits.

The fastener is a spring with torsion that flows by a law of its own; its thread is a flank on which forces are resolved
as vectors; nut and thread stick and slip; the ram's seals drag on either way and turn over within a little travel;
faces settle with several time constants while the fixture warms; thermometer and fastener lag; gauges have zero, span,
noise and the steps of their scale. Every number is made up: no measurement stands behind any of them. Units: N, mm,
MPa, s, rad, K.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from headjoint.model.rig.rig import Rig

ATMOSPHERE = 0.1013  # MPa
COLD = 21.0  # degC
DAY = 86400.0
LEAST_TRAVEL = 1e-4  # mm of the ram within which seals turn over at the quickest


@dataclass(frozen=True)
class Bench:
    """What is true of fastener, rig and gauges.

    stretch, setup : mm/N. torsion : rad/(N.mm). settles : (share of clamp, time constant in s) each. creep, creep_from
    : share per tenfold time, and the time (s) it counts from. seal, seal_travel : drag of the seals as a share of
    force, and travel (mm) of the ram within which it turns over. proof : MPa at 0.2 %. gains, gains_over : MPa that
    hardening adds beyond the onset of flow, and the plastic strain over which. softens : share of strength lost per K.
    warms : K that the fixture gains in a day's wait. thermometer_lag, fastener_lag : s. air : mm3. play : rad of the
    angle gauge. span, zero, torque_error, dial_error, area_error : of the gauges. rough : how much more than usual
    readings scatter.
    """

    thread_friction: float = 0.12
    bearing_friction: float = 0.11
    stretch: float = 6.0e-6
    setup: float = 2.6e-6
    torsion: float = 1.3e-6
    seating: float = 0.006
    settles: tuple[tuple[float, float], ...] = ((0.015, 40.0), (0.01, 600.0))
    creep: float = 0.002
    creep_from: float = 60.0
    per_degree: float = 60.0
    struck: float = 0.004
    second: float = 0.95
    load: float = 60e3
    seal: float = 0.0
    seal_travel: float = 0.0
    proof: float = 1550.0
    gains: float = 350.0
    gains_over: float = 0.006
    softens: float = 3e-4
    warms: float = 0.0
    thermometer_lag: float = 0.0
    fastener_lag: float = 0.0
    air: float = 0.0
    play: float = 0.0
    span: float = 0.0
    zero: float = 0.0
    torque_error: float = 0.0
    dial_error: float = 0.0
    area_error: float = 0.0
    dial_at: float = 0.0
    rough: float = 1.0


def drawn(rig: Rig, random: np.random.Generator, load: tuple[float, float] = (45e3, 66e3)) -> Bench:
    """Return a bench drawn at random, gauge errors within the limits that the rig states."""
    fastener, gauges, ram = rig.joint.fastener, rig.stated.gauges, rig.stated.ram
    E = fastener.material.E.at(COLD)
    shear = E / (2.0 * (1.0 + fastener.material.nu))
    ends = random.uniform(0.4, 0.6) * fastener.nut_thread.nominal_diameter
    lengths = [(one.length, one.diameter) for one in fastener.segments]
    core = fastener.nut_thread.minor_diameter_external
    lengths += [(ends, core), (ends if fastener.kind == "stud" else 0.0, core)]
    stretch = sum(length / (E * math.pi / 4.0 * d**2) for length, d in lengths)
    # the file's limit of error is that of torsion; ends above are already off by half of it
    torsion = sum(length / (shear * math.pi / 32.0 * d**4) for length, d in lengths)

    def within(limit: float) -> float:
        return float(random.uniform(-limit, limit))

    assert gauges.pressure is not None
    assert gauges.torque is not None
    return Bench(
        thread_friction=float(random.uniform(0.08, 0.18)),
        bearing_friction=float(random.uniform(0.07, 0.18)),
        stretch=stretch * (1.0 + within(0.04)),
        setup=float(random.uniform(2.1e-6, 3.2e-6)),
        torsion=torsion * (1.0 + within(0.03)),
        seating=float(random.uniform(0.0, 0.01)),
        settles=(
            (float(random.uniform(0.003, 0.02)), float(10 ** random.uniform(1.0, 2.2))),
            (float(random.uniform(0.0, 0.02)), float(10 ** random.uniform(2.3, 3.3))),
        ),
        creep=float(random.uniform(0.0005, 0.005)),
        creep_from=float(10 ** random.uniform(1.2, 2.4)),
        per_degree=float(random.uniform(15.0, 130.0)),
        struck=float(random.uniform(0.0, 0.01)),
        second=float(random.uniform(0.85, 1.2)),
        load=float(random.uniform(*load)),
        seal=float(random.uniform(0.0, 0.004)),
        seal_travel=float(random.choice([0.0, 1.0]) * random.uniform(0.0, 0.004)),
        proof=float(random.uniform(1450.0, 1620.0)),
        gains=float(random.uniform(250.0, 400.0)),
        gains_over=float(random.uniform(0.004, 0.01)),
        warms=float(random.choice([0.0, 1.0]) * random.uniform(0.0, 8.0)),
        thermometer_lag=float(random.uniform(0.0, 240.0)),
        fastener_lag=float(random.uniform(0.0, 120.0)),
        play=float(random.choice([0.0, 1.0]) * random.uniform(0.0, 0.35)),
        span=within(gauges.pressure.accuracy / 2.0),
        zero=within(gauges.pressure.accuracy * gauges.pressure.range / 2.0),
        torque_error=within(gauges.torque.accuracy),
        dial_error=within(gauges.stretch.accuracy),
        area_error=within(ram.area_accuracy),
        dial_at=within(0.08),
    )


def flank_arms(rig: Rig, friction: float) -> tuple[float, float]:
    """Return shank torque per force (mm) as the nut turns up, and against turning it down.

    On the flank at the pitch diameter the normal is (tan 30 deg, tan phi, 1)/m and friction lies along the helix.
    """
    thread = rig.thread
    radius = thread.pitch_diameter / 2.0
    rise = math.atan(thread.pitch / (2.0 * math.pi * radius))
    size = math.sqrt(1.0 + math.tan(math.pi / 6.0) ** 2 + math.tan(rise) ** 2)
    along, axial, around = friction * math.sin(rise), 1.0 / size, math.tan(rise) / size
    drag = friction * math.cos(rise)
    return radius * (drag + around) / (axial - along), radius * (drag - around) / (axial + along)


class Machine:
    """The rig at one moment; every step of it is one of the methods."""

    def __init__(self, rig: Rig, bench: Bench) -> None:
        self.rig, self.bench = rig, bench
        self.lead = rig.thread.pitch / (2.0 * math.pi)
        self.area = rig.stated.ram.area * (1.0 + bench.area_error)
        self.section = rig.joint.fastener.smallest_area
        self.core = math.sqrt(4.0 * self.section / math.pi)
        self.time = self.nut = self.twist = self.force = self.settled = self.plastic = self.seal = 0.0
        self.air_temperature = self.fastener_temperature = self.thermometer = COLD
        self.wrench = 0.0
        self.friction = 1.0
        self.rows: list[dict[str, float]] = []
        self.words: list[tuple[str, int]] = []

    # --- what gives
    def travel(self, force: float) -> float:
        """Return how far (mm) the nut has come on its thread at a force."""
        bench = self.bench
        give = (bench.stretch + bench.setup) * force + bench.seating * (1.0 - math.exp(-force / 4e3))
        pressure = force / self.area
        give += bench.air / self.area * (1.0 - ATMOSPHERE / (pressure + ATMOSPHERE))
        hot = bench.per_degree * (bench.stretch + bench.setup) * (self.fastener_temperature - COLD)
        return give + self.flowed(force) + self.settled - hot

    def flowed(self, force: float) -> float:
        """Return the plastic stretch (mm): what it was, or what stress asks for beyond that."""
        stress = force / self.section
        shear = abs(self.twist / self.bench.torsion) / (math.pi / 12.0 * self.core**3)
        return max(self.plastic, self.flow_at(math.sqrt(stress**2 + 3.0 * shear**2)))

    def flow_at(self, stress: float) -> float:
        """Return the plastic stretch (mm) at a combined stress; hardening is exponential from its onset on."""
        bench = self.bench
        softer = 1.0 - bench.softens * max(self.fastener_temperature - COLD, 0.0)
        onset = bench.proof - bench.gains * (1.0 - math.exp(-0.002 / bench.gains_over))
        share = (stress / softer - onset) / bench.gains
        if share <= 0.0:
            return 0.0
        return -self.rig.free_length * bench.gains_over * math.log(max(1.0 - share, 1e-4))

    def equilibrium(self, twist: float) -> float:
        """Return the force at which the travel is that of nut and twist; the state keeps its twist."""
        kept, self.twist = self.twist, twist
        wanted = self.lead * (self.nut - twist)
        low, high = 0.0, 2.0 * self.bench.load + 40e3
        force = min(max(self.force, 1.0), high)
        for _ in range(60):
            rest = self.travel(force) - wanted
            low, high = (low, force) if rest > 0.0 else (force, high)
            slope = (self.travel(force + 1.0) - wanted) - rest
            step = force - rest / max(slope, 1e-12)
            force_new = step if low < step < high else (low + high) / 2.0
            if abs(force_new - force) < 1e-3:
                break
            force = force_new
        self.twist = kept
        return max(force_new, 0.0)

    # --- what happens
    def turn(self, by: float, seconds: float) -> None:
        """Turn the nut by an angle; its thread sticks while it can."""
        self.nut += by
        up, down = flank_arms(self.rig, self.bench.thread_friction * self.friction)
        limit, sign = (up, 1.0) if by > 0.0 else (down, -1.0)

        def beyond(twist: float) -> float:
            return sign * twist - self.bench.torsion * limit * self.equilibrium(twist)

        a, b = self.twist, self.twist + by
        if beyond(b) <= 0.0:
            twist = b  # stuck: fastener and nut turn together
        else:
            at_a, at_b = beyond(a), beyond(b)
            for _ in range(30):
                middle = a - at_a * (b - a) / (at_b - at_a) if at_b != at_a else (a + b) / 2.0
                at = beyond(middle)
                if abs(at) < 1e-9:
                    break
                if (at > 0.0) == (at_b > 0.0):
                    b, at_b, at_a = middle, at, at_a / 2.0
                else:
                    a, at_a, at_b = middle, at, at_b / 2.0
            twist = middle
        self.settle_at(twist, seconds)
        bearing = self.bench.bearing_friction * self.friction * self.rig.bearing_diameter / 2.0 * self.force
        self.wrench = self.twist / self.bench.torsion + sign * bearing

    def stand(self, seconds: float) -> None:
        """Leave it: without a wrench the bearing face alone holds the fastener's torsion."""
        self.wrench = 0.0
        holds = self.bench.bearing_friction * self.friction * self.rig.bearing_diameter / 2.0 * self.force
        most = self.bench.torsion * holds
        back = min(max(self.twist, -most), most)
        self.nut += back - self.twist
        self.settle_at(back, seconds)

    def settle_at(self, twist: float, seconds: float) -> None:
        before = self.force
        self.time += seconds
        for name, lag in (
            ("fastener_temperature", self.bench.fastener_lag),
            ("thermometer", self.bench.thermometer_lag),
        ):
            kept = math.exp(-seconds / lag) if lag > 0.0 else 0.0
            setattr(self, name, self.air_temperature + kept * (getattr(self, name) - self.air_temperature))
        self.force = self.equilibrium(twist)
        self.twist = twist
        self.plastic = self.flowed(self.force)
        most = self.bench.seal * self.force
        moved = (self.force - before) / self.rig.stated.ram.stiffness
        self.seal += most * moved / max(self.bench.seal_travel, LEAST_TRAVEL)
        self.seal = min(max(self.seal, -most), most)

    def read(self, step: str, use: int) -> None:
        """Write a row of true values."""
        self.words.append((step, use))
        self.rows.append(
            {
                "time": self.time,
                "pressure": (self.force - self.seal) / self.area,
                "torque": abs(self.wrench),
                "angle": self.nut + (self.bench.play if self.force > 0.0 or step != "zero" else 0.0),
                "stretch": self.bench.stretch * self.force + self.plastic,
                "temperature": self.thermometer,
                "force": self.force,
                "plastic": self.plastic,
                "twist": self.twist,
            }
        )


def tighten(machine: Machine, use: int, load: float, steps: int = 100, most: float = 30.0) -> None:
    """Turn the nut up to a force, or by an angle `most` beyond where it stands."""
    by = 2.0 * math.pi / machine.rig.thread.pitch * (machine.bench.stretch + machine.bench.setup) * load / steps
    by *= 1.1
    start = machine.nut
    while machine.force < load and machine.nut - start < most:
        machine.turn(by, 0.5)
        machine.read("tighten", use)


def loosen(machine: Machine, use: int, steps: int = 100) -> None:
    """Turn the nut down until hardly any force is left."""
    top = machine.force
    by = 2.0 * math.pi / machine.rig.thread.pitch * (machine.bench.stretch + machine.bench.setup) * top / steps * 1.2
    while machine.force > 0.02 * top:
        machine.turn(-by, 0.5)
        machine.read("loosen", use)


def hold(machine: Machine, use: int, seconds: float, rows: int = 120) -> None:
    """Leave it for a while: faces settle, the fixture warms slowly."""
    bench, begun, top = machine.bench, machine.time, machine.force
    give = bench.stretch + bench.setup
    had, cold = machine.settled, machine.air_temperature
    before = 0.0
    for at in np.unique(np.concatenate([np.arange(1.0, min(60.0, seconds), 3.0), np.geomspace(60.0, seconds, rows)])):
        machine.settled = had + give * top * settled_share(bench, float(at))
        machine.air_temperature = cold + bench.warms * min(1.0, float(at) / (0.3 * DAY))
        machine.stand(float(at) - before)
        before = float(at)
        machine.time = begun + before
        machine.read("hold", use)


def settled_share(bench: Bench, seconds: float) -> float:
    """Return the share of clamp that faces have lost after a time."""
    quick = sum(share * (1.0 - math.exp(-seconds / tau)) for share, tau in bench.settles)
    return quick + bench.creep * math.log10(1.0 + seconds / bench.creep_from)


def strike(machine: Machine, use: int, rows: int = 12) -> None:
    """Strike the block: a little of the clamp goes at once."""
    machine.settled += (machine.bench.stretch + machine.bench.setup) * machine.bench.struck * machine.force
    machine.stand(5.0)
    for _ in range(rows):
        machine.stand(2.0)
        machine.read("strike", use)


def heat(machine: Machine, use: int, to: float = 95.0, rows: int = 80) -> None:
    """Warm it in an hour, let it soak a little, and let it cool in three."""
    start = machine.air_temperature
    begun = machine.time
    for at in np.linspace(0.0, 4.0 * 3600.0, rows):
        up = min(1.0, at / 2700.0)
        down = math.exp(-max(0.0, at - 3600.0) / 2000.0)
        machine.air_temperature = start + (to - start) * up * down
        machine.stand(max(begun + at - machine.time, 1e-3))
        machine.read("heat", use)


def service(rig: Rig, bench: Bench, steps: Iterable[str]) -> Machine:
    """Return a machine that has gone through steps: tighten, hold, strike, heat, loosen, again."""
    machine = Machine(rig, bench)
    for _ in range(12):
        machine.read("zero", 1)
        machine.time += 1.0
    use = 1
    for step in steps:
        if step == "tighten":
            tighten(machine, use, bench.load)
        elif step == "turn on":
            tighten(machine, use, 1e9, steps=int(1e9 / bench.load * 90), most=bench.load * 1e-4)
        elif step == "hold":
            hold(machine, use, DAY)
        elif step == "strike":
            strike(machine, use)
        elif step == "heat":
            heat(machine, use)
        elif step == "loosen":
            loosen(machine, use)
        elif step == "again":
            use += 1
            machine.nut = machine.twist = machine.force = machine.settled = machine.seal = 0.0
            machine.friction = bench.second
            machine.air_temperature = machine.fastener_temperature = machine.thermometer = COLD
            machine.time += 120.0
            tighten(machine, use, bench.load)
    return machine


def pull(rig: Rig, bench: Bench) -> Machine:
    """Return a machine that has pulled its fastener until the force fell."""
    machine = Machine(rig, bench)
    for _ in range(12):
        machine.read("zero", 1)
        machine.time += 1.0
    onset = bench.proof - bench.gains * (1.0 - math.exp(-0.002 / bench.gains_over))
    for stress in np.concatenate(
        [np.linspace(0.03, 0.97, 90) * onset, np.linspace(onset, onset + 0.985 * bench.gains, 140)]
    ):
        machine.force = float(stress) * machine.section
        machine.plastic = machine.flow_at(float(stress))
        machine.time += 1.0
        machine.seal = -bench.seal * machine.force  # the ram pushes outward: seals take from the pull
        machine.read("pull", 1)
    top, flowed = machine.force, machine.plastic
    for neck in np.linspace(0.05, 1.0, 20):
        machine.force, machine.plastic = top * (1.0 - 0.12 * neck**2), flowed + 0.7 * neck
        machine.time += 1.0
        machine.read("pull", 1)
    return machine


def with_air(bench: Bench, random: np.random.Generator) -> Bench:
    """Return the bench with a bubble in the ram and a tight angle gauge."""
    return replace(bench, air=float(random.uniform(250.0, 900.0)), play=0.0)
