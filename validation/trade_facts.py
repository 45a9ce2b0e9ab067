"""Rules of thumb of the trade for bolts and studs, beside what the mechanics gives with the shipped data.

Run as `python -m validation.trade_facts`. These are no published values: each is common practice, no source, and a band
of plausibility. Nothing is tuned to them and nothing passes or fails; where mechanics and rule part, the last column
says why.
"""

from __future__ import annotations

import dataclasses
import math

import numpy as np
from rich.console import Console
from rich.table import Table
from threadpoolctl import threadpool_limits

from headjoint.cases.command.stated_files import shipped_files
from headjoint.cases.condensed.condensation import condense, full_model
from headjoint.cases.models.condensed import OneFastener
from headjoint.cases.rig.cleaning import cleaned
from headjoint.cases.rig.prediction import predict
from headjoint.cases.service.model import ServiceModel, service_of
from headjoint.cases.service.run import run_service
from headjoint.meshes.one_fastener.single_stud import build
from headjoint.model.formulas.turning import turning_arms
from headjoint.model.joint import PARTS
from headjoint.model.reading.reading import read_joint
from headjoint.model.rig.log import RigLog
from headjoint.model.rig.reading import read_rig
from headjoint.model.service import Hold, Tighten
from validation.joints import joint_files

MINUTES, DAY, HOUR = 300.0, 86400.0, 3600.0


def model_of(name: str) -> ServiceModel:
    joint = read_joint(joint_files()[name])
    return service_of(OneFastener(joint, condense(joint, full_model(joint, build(joint)))))


def at(model: ServiceModel, temperature: float, duration: float) -> Hold:
    case = dataclasses.replace(model.joint.load_cases[0], temperatures=dict.fromkeys(PARTS, temperature))
    return Hold(f"{temperature:g} degC", "heat", case, duration)


def rows() -> list[tuple[str, str, str, str]]:
    stud, bolt = model_of("boosted-four-steel"), model_of("yield-tightened-bolt")
    return [*settling(stud, bolt), *heating(bolt), *dry(stud), *reuse(bolt), *torque(bolt), *rig()]


def percent(change: float) -> str:
    return f"{100 * change:+.1f} %"


def settling(stud: ServiceModel, bolt: ServiceModel) -> list[tuple[str, str, str, str]]:
    found = []
    for model in (stud, bolt):
        first = model.joint.history[0]
        steps = [first, at(model, 20.0, MINUTES), at(model, 20.0, DAY - MINUTES)]
        records = run_service(model, steps).records
        peak = float(records[0].turning.force[-1])
        found.append([float(record.force[0]) / peak - 1.0 for record in records])
    (_, minutes, day), (_, bolt_minutes, bolt_day) = found
    ratio = peak / bolt.joint.fastener.smallest_area / bolt.law.flow.ultimate
    return [
        (
            "a stud settles about 5 % from its peak within minutes",
            "-5 %",
            percent(minutes),
            "a long stud stretches 0.37 mm: VDI 2230-1's embedding of its faces is 2 to 3 % of that, not 5; a rig's "
            "own seals, or a gasket that beds in, may be the rest",
        ),
        (
            "between minutes and a day an elastic stud loses almost nothing that can be seen",
            "0",
            percent((1 + day) / (1 + minutes) - 1),
            "the rest of the embedding; relaxation of the steel is below 0.1 %",
        ),
        (
            "a bolt past yield loses 9 to 10 % over a day",
            "-9 to -10 %",
            percent(bolt_day) + f" ({percent(bolt_minutes)} after 5 min)",
            f"relaxation grows with the stress; this bolt ends at {100 * ratio:.0f} % of R_m, and the law's range is "
            "half to twice",
        ),
    ]


def heating(bolt: ServiceModel) -> list[tuple[str, str, str, str]]:
    first = bolt.joint.history[0]
    records = run_service(bolt, [first, at(bolt, 118.0, HOUR), at(bolt, 20.0, DAY)]).records
    peak = float(records[0].turning.force[-1])
    hot = float(records[1].trace[0, 1])
    cold = float(records[2].force[0])
    waited = run_service(bolt, [first, at(bolt, 20.0, DAY + HOUR)]).records[1].force[0]
    arm, area = turning_arms(bolt.joint, 0.12, 0.12).shank, bolt.law.lengths.area
    ratio = arm * area[0] / bolt.law.lengths.torsion_modulus[0]
    room = math.sqrt(1 + 3 * ratio**2) / math.sqrt(1 + 0.75 * ratio**2) - 1.0
    return [
        (
            "a yielded bolt heated to 118 degC gains about 21 %",
            "+21 %",
            percent(hot / peak - 1.0),
            f"torsion that springs back leaves room for {percent(room)} before it yields on, less "
            f"{100 * (1 - bolt.law.flow.hot(118.0)):.0f} % for the heat; 21 % needs more torsion, or an elastic margin",
        ),
        (
            "cold a day later it stands about 11 % below its first value",
            "-11 %",
            percent(cold / peak - 1.0),
            "the bolt has yielded while hot, and that is not recovered",
        ),
        (
            "which is close to one that was never heated",
            "0",
            percent(cold / float(waited) - 1.0),
            "not so here: yielding hot under an aluminium head costs more than relaxation; parts that expand like the "
            "bolt would leave it alone",
        ),
    ]


def dry(stud: ServiceModel) -> list[tuple[str, str, str, str]]:
    arms = [turning_arms(stud.joint, mu, 0.12).wrench for mu in (0.12, stud.joint.ageing.dry_friction, 0.17)]
    return [
        (
            "unlubricated threads give about 15 % less tension at the same torque",
            "-15 %",
            percent(arms[0] / arms[1] - 1.0),
            f"threads alone at friction 0.16 against 0.12; at 0.17 it is {percent(arms[0] / arms[2] - 1.0)}",
        )
    ]


def reuse(bolt: ServiceModel) -> list[tuple[str, str, str, str]]:
    first = bolt.joint.history[0]
    assert isinstance(first, Tighten)
    records = run_service(bolt, [first, dataclasses.replace(first, again=True, name="again")]).records
    forces = [float(record.turning.force[-1]) for record in records]
    stretches = [record.turning.stretch for record in records]
    in_all = stretches[1] + float(bolt.law.permanent(records[0].memory.strains)[0])
    return [
        (
            "a yielded bolt used again reaches its usual clamp",
            "0",
            percent(forces[1] / forces[0] - 1.0),
            "hardened by what it has yielded",
        ),
        (
            "but stretches about 65 % more at the same high load",
            "+65 %",
            f"{percent(stretches[1] / stretches[0] - 1)} from its start, {percent(in_all / stretches[0] - 1)} from new",
            "by the same angle it stretches as much again; from new it shows as much more as the first use had yielded",
        ),
    ]


def torque(bolt: ServiceModel) -> list[tuple[str, str, str, str]]:
    first = bolt.joint.history[0]
    assert isinstance(first, Tighten)
    rough = dataclasses.replace(first, thread_friction=0.15, bearing_friction=0.15)
    needed, rougher = (float(run_service(bolt, [step]).records[0].turning.torque[-1]) / 1e3 for step in (first, rough))
    return [
        (
            "the last quarter turn of a yield-tightened bolt takes about 128 N.m",
            "128 N.m",
            f"{needed:.0f} N.m",
            f"M11 with a shank of 9.3 mm, class 10.9, friction 0.12; at friction 0.15 it is {rougher:.0f} N.m",
        )
    ]


def rig() -> list[tuple[str, str, str, str]]:
    """What is said of a hollow-ram rig, beside the shipped one (ram of 1767 mm2, M11 stud)."""
    stated = read_rig(shipped_files("rigs")["hollow-ram-m11-stud"])
    rows, pressure = 10, 68.0
    log = RigLog(
        "one reading", {"pressure": np.full(rows, pressure)}, np.full(rows, "pull"), np.ones(rows, int), np.arange(rows)
    )
    force = float(cleaned(log, stated).force[0])
    gauge, predicted = stated.stated.gauges.pressure, predict(stated)
    assert gauge is not None
    allowed = stated.stated.ram.area * gauge.accuracy * gauge.range
    area, pitch = stated.thread.stress_area, stated.thread.pitch
    length = 0.69 / force * stated.modulus * area
    degree = pitch / 360.0 / predicted.travel  # N of clamp per degree of turn, the nut's thread sliding
    two_per_cent = 0.02 * stated.joint.tightening.preload / degree
    return [
        (
            "a gauge at 68 MPa on a ram of about 1767 mm2 stands for about 120 kN",
            "120 kN",
            f"{force / 1e3:.1f} kN",
            f"pressure times area; the gauge's class allows {allowed / 1e3:.1f} kN",
        ),
        (
            "an 11 mm class stud of the strongest steels stretches about 0.69 mm at that load",
            "0.69 mm",
            f"{force * predicted.stretch:.2f} mm; 0.69 mm over {length:.0f} mm",
            f"the shipped stud has {stated.free_length:.0f} mm free and both engaged threads besides; 0.69 mm is what "
            f"{length:.0f} mm of the thread's stress area stretch, at {force / area:.0f} MPa: only if it stays elastic",
        ),
        (
            "a hammer changes clamp by under 2 %, as much as less than one degree of turn",
            "< 2 %, < 1 deg",
            f"1 deg: {degree / 1e3:.2f} kN; 2 %: {two_per_cent:.1f} deg",
            f"one degree is {100 * degree / stated.joint.tightening.preload:.1f} % of "
            f"{stated.joint.tightening.preload / 1e3:.0f} kN and {100 * degree / force:.1f} % of {force / 1e3:.0f} kN: "
            "less than a degree says less than that, well under 2 %",
        ),
    ]


def main() -> None:
    """Print the table."""
    table = Table(title="Common practice, no source: plausibility only", title_justify="left", show_lines=True)
    for heading in ("rule of thumb", "said", "computed", "why they differ"):
        table.add_column(heading)
    with threadpool_limits(limits=1):
        for row in rows():
            table.add_row(*row)
    Console(width=150).print(table)


if __name__ == "__main__":
    main()
