"""Rules of thumb of the trade for bolts and studs, beside what the mechanics gives with the shipped data.

Run as `python -m validation.trade_facts`. These are no published values: each is common practice, no source, with a
band in which it counts as met. The bolt's inputs are found so that they hold together (`validation.bolt_fit`); the
stud's are not: where mechanics and rule part, the last column says why, and `validation.trade_curves` draws it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from rich.console import Console
from rich.table import Table
from threadpoolctl import threadpool_limits

from headjoint.cases.command.stated_files import shipped_files
from headjoint.cases.condensed.condensation import condense, full_model
from headjoint.cases.rig.cleaning import cleaned
from headjoint.cases.rig.prediction import predict
from headjoint.cases.service.model import ServiceModel
from headjoint.cases.service.run import run_service
from headjoint.meshes.one_fastener.single_stud import build
from headjoint.model.formulas.turning import turning_arms
from headjoint.model.reading.reading import read_joint
from headjoint.model.rig.log import RigLog
from headjoint.model.rig.reading import read_rig
from validation.bolt_fit import BOLT, DAY, OBSERVATIONS, Observation, at, finite_elements, observed
from validation.joints import joint_files
from validation.trade_curves import MINUTES, embedding_for


@dataclass(frozen=True)
class Row:
    """A rule of thumb with its band, what the mechanics gives, and why."""

    rule: str
    said: Observation
    computed: float
    why: str

    @property
    def shown(self) -> tuple[str, str, str, str]:
        """The row in words: shares in per cent, torque in N.m."""
        low, high, found = (_number(value) for value in (self.said.low, self.said.high, self.computed))
        within = "within" if self.said.holds(self.computed) else "OUTSIDE"
        return self.rule, f"{low} to {high}", f"{found} {within}", self.why


def _number(value: float) -> str:
    return f"{value:.0f} N.m" if abs(value) > 10.0 else f"{100 * value:+.1f} %"


def model_of(name: str) -> ServiceModel:
    joint = read_joint(joint_files()[name])
    return finite_elements(joint, condense(joint, full_model(joint, build(joint))))


def rows() -> list[tuple[str, str, str, str]]:
    stud, bolt = model_of("boosted-four-steel"), model_of(BOLT)
    found = [*yielded(bolt), *settling(stud), *dry(stud)]
    return [*(row.shown for row in found), *rig()]


def settling(stud: ServiceModel) -> list[Row]:
    first = stud.joint.history[0]
    records = run_service(stud, [first, at(stud.joint, 20.0, MINUTES), at(stud.joint, 20.0, DAY - MINUTES)]).records
    peak = float(records[0].turning.force[-1])
    _, minutes, day = (float(record.force[0]) / peak - 1.0 for record in records)
    needed = {share: embedding_for(stud, -0.05, share) for share in (stud.joint.ageing.embedding_first, 1.0)}
    said = " or ".join(f"{1e3 * f_Z:.0f} um with {100 * share:.0f} % of it at once" for share, f_Z in needed.items())
    return [
        Row(
            "a stud settles about 5 % from its peak within minutes",
            Observation("-5 %", -0.06, -0.04),
            minutes,
            f"conflict: it takes an embedding of {said}, against {1e3 * stud.joint.tightening.embedding:.0f} um of VDI "
            "2230-1's metal faces (`validation.trade_curves`): a rig's seals or a gasket that beds in may be the rest",
        ),
        Row(
            "between minutes and a day an elastic stud loses almost nothing that can be seen",
            Observation("0", -0.015, 0.0),
            (1 + day) / (1 + minutes) - 1,
            "the rest of the embedding; relaxation of the steel is below 0.1 %",
        ),
    ]


def yielded(bolt: ServiceModel) -> list[Row]:
    """Return what the shipped bolt shows, each beside its band; its inputs are those that `bolt_fit` found."""
    why = {
        "torque": "friction and strength together: of the order of 0.24",
        "share": "torsion takes its share of an early yield; a bolt of class 10.9 would clamp with two thirds: "
        "`validation.trade_curves`",
        "day": "embedding, the gasket's faces counted; the steel relaxes little at this stress",
        "heated": "the heat brings the embedding early, and hardly a yield",
        "hot": "torsion springs back as the wrench lets go, which leaves room before it yields on",
        "again": "yields along its plateau, which hardly hardens",
        "stretch": "as much again as the first use has yielded, from new",
        "dry": "threads alone",
        "struck": "at most: all the torsion left springs back",
    }
    found = observed(bolt)
    return [Row(one.said, one, found[key], why[key]) for key, one in OBSERVATIONS.items()]


def dry(stud: ServiceModel) -> list[Row]:
    dry_friction = stud.joint.ageing.dry_friction
    arms = [turning_arms(stud.joint, mu, 0.12).wrench for mu in (0.12, dry_friction)]
    return [
        Row(
            "unlubricated threads of a stud give about 15 % less tension at the same torque",
            OBSERVATIONS["dry"],
            arms[0] / arms[1] - 1.0,
            f"conflict: threads alone at {dry_friction:g} against 0.12 give less; at 0.17 it is "
            f"{100 * (arms[0] / turning_arms(stud.joint, 0.17, 0.12).wrench - 1.0):+.1f} %",
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
    table = Table(title="Common practice, no source", title_justify="left", show_lines=True)
    for heading in ("rule of thumb", "said", "computed", "why"):
        table.add_column(heading)
    with threadpool_limits(limits=1):
        for row in rows():
            table.add_row(*row)
    Console(width=150).print(table)


if __name__ == "__main__":
    main()
