"""Fits of rig logs against published torque-tension data and the standards' own constructions."""

from __future__ import annotations

import dataclasses
import math

import numpy as np

from headjoint.cases.command.stated_files import shipped_files
from headjoint.cases.rig.comparison import compare_findings
from headjoint.cases.rig.evaluation import QUANTITIES, Evaluated, Finding, evaluate
from headjoint.cases.rig.least_squares import COVERAGE
from headjoint.cases.rig.prediction import predict
from headjoint.model.library.threads import Thread, thread
from headjoint.model.rig.reading import read_rig
from headjoint.model.rig.rig import Rig, mean_friction, thread_arm
from validation.check import Check
from validation.invented_logs import Truth, service_log, strength_log

INCH, POUND = 25.4, 4.4482216152605
SHIGLEY = "Shigley, Mechanical Engineering Design, 9th ed."
# preload (kN) of bolts 1/2-20 tightened to 90 N.m, read from the bolt's stretch: Blake and Kurtz, Machine Design 37
# (1965) 128, as tables 8-13 and 8-14 of Shigley print them; from memory, high confidence (they give the printed means)
UNLUBRICATED = (23.6, 27.6, 28.0, 29.4, 30.3, 30.7, 32.9, 33.8, 33.8, 33.8, 34.7, 35.6, 35.6, 37.4, 37.8, 37.8, 39.2, 40.0, 40.5, 42.7)  # noqa: E501  # fmt: skip
LUBRICATED = (30.3, 32.5, 32.5, 32.9, 32.9, 33.8, 34.3, 34.7, 37.4, 40.5)
TORQUE = 90e3  # N.mm
# F_M (kN) and M_A (N.m) of classes 8.8, 10.9, 12.9 at one friction: VDI 2230 (2003) table A1, fine threads
TABLES = {
    ("M10x1.25", 0.10): ((32.4, 44.0), (47.5, 65.0), (55.6, 76.0)),
    ("M10x1.25", 0.14): ((30.8, 57.0), (45.2, 83.0), (52.9, 98.0)),
    ("M12x1.25", 0.12): ((48.0, 90.0), (70.5, 133.0), (82.5, 155.0)),
}
BEARING = {"M10x1.25": (14.63 + 11.0) / 2.0, "M12x1.25": (16.63 + 13.5) / 2.0}  # D_Km, mm


def the_rig() -> Rig:
    return read_rig(shipped_files("rigs")["hollow-ram-m11-stud"])


def checks() -> list[Check]:
    return [*table_frictions(), *shigley(), *scatter(), *offset_yield(), *pitch_term(), *prediction()]


def table_frictions() -> list[Check]:
    """The slope of torque over force through a printed table's classes gives back its friction."""
    found = []
    for (name, friction), rows in TABLES.items():
        force, torque = (np.array(column) * 1e3 for column in zip(*rows, strict=True))
        arm = float(force @ torque / (force @ force))
        found.append(
            Check(
                f"friction from torque and preload of {name}, classes 8.8 to 12.9",
                "VDI 2230 (2003) table of F_M and M_A, seen in a catalogue reprint",
                friction,
                mean_friction(thread(name), BEARING[name], arm),
                0.02,
                reason="the table rounds M_A to 1 N.m",
            )
        )
    return found


def shigley() -> list[Check]:
    """Example 8-3: 3/4-16 UNF, friction 0.15 on both faces, 25 kip: 3551 lbf.in, so a nut factor of 0.189."""
    size = Thread("3/4-16 UNF", 0.75 * INCH, INCH / 16.0, "unified", 0.0, 0.0, 0.0, "ASME B1.1")
    arm = 3551.0 / 25000.0 * INCH
    friction = mean_friction(size, 1.25 * 0.75 * INCH, arm)
    return [
        Check(
            "friction from the torque of example 8-3",
            f"{SHIGLEY}, example 8-3 (from memory, high confidence; recomputed)",
            0.15,
            friction,
            0.003,
            reason="3551 lbf.in is rounded to four figures",
        )
    ]


def nut_factors(preloads: tuple[float, ...]) -> list[Finding]:
    d = 0.5 * INCH
    name, unit = QUANTITIES["nut_factor"]
    return [Finding("nut_factor", name, 1, TORQUE / (1e3 * F * d), unit, 0.0, {}, "") for F in preloads]


def scatter() -> list[Check]:
    """Published tests of torque against tension: nut factor, its scatter, and dry against lubricated."""
    dry, oiled = nut_factors(UNLUBRICATED), nut_factors(LUBRICATED)
    values = [np.array([one.value for one in side]) for side in (dry, oiled)]
    both = compare_findings("lubricated against unlubricated", dry, oiled, shared=True)
    # Welch's interval of the difference of means, worked from the printed means and deviations of the preload alone
    n_dry, n_oiled, s_dry, s_oiled = 20, 10, 4.91 / 34.3, 2.88 / 34.18
    half = COVERAGE * math.sqrt(s_dry**2 / n_dry + s_oiled**2 / n_oiled)
    source = "Blake and Kurtz 1965, in Shigley tables 8-13, 8-14; from memory, high confidence"
    return [
        Check("mean preload of 20 unlubricated bolts, kN", source, 34.3, float(np.mean(UNLUBRICATED)), 0.002),
        Check("its standard deviation, kN", source, 4.91, float(np.std(UNLUBRICATED, ddof=1)), 0.005),
        Check("mean preload of 10 lubricated bolts, kN", source, 34.18, float(np.mean(LUBRICATED)), 0.002),
        Check("its standard deviation, kN", source, 2.88, float(np.std(LUBRICATED, ddof=1)), 0.005),
        Check(
            "nut factor by 90 N.m, unlubricated",
            f"{SHIGLEY}, table 8-15 gives 0.20 where the finish is not known",
            0.20,
            float(values[0].mean()),
            0.08,
            reason="the book rounds to 0.2; the mean of 1/F is above 1/mean by the scatter squared",
        ),
        Check(
            "half the interval of lubricated against unlubricated",
            "Welch's, from the printed means and deviations",
            half,
            both.smallest,
            0.10,
            reason="the printed deviations are those of preload, not of its inverse",
        ),
        Check(
            "whether these data tell lubricated from unlubricated in the mean (0 no)",
            "0.4 % between means against 4 % of interval",
            0.0,
            float(both.can_tell),
            1e-9,
            scale=1.0,
        ),
    ]


def noiseless() -> Truth:
    return Truth(noise=dict.fromkeys(("pressure", "torque", "angle", "stretch", "temperature"), 1e-9))


def evaluated(truth: Truth, *, pulled: bool) -> Evaluated:
    rig = the_rig()
    make = strength_log if pulled else service_log
    return evaluate(make(rig, truth, np.random.default_rng(1)), rig)


def offset_yield() -> list[Check]:
    """Ramberg and Osgood's curve passes its own R_p0.2 at 0.2 % of plastic strain, which is the standard's offset."""
    found = []
    for proof, ultimate in ((1500.0, 1850.0), (900.0, 1040.0)):
        truth = dataclasses.replace(noiseless(), proof=proof, ultimate=ultimate)
        for noise, tolerance in ((1e-9, 1e-3), (0.05, 5e-3)):
            noisy = dataclasses.replace(truth, noise=truth.noise | {"pressure": noise, "stretch": noise / 50.0})
            one = evaluated(noisy, pulled=True).get("proof_stress")
            assert one is not None
            found.append(
                Check(
                    f"R_p0.2 by the offset line, readings with {'no ' if noise < 1e-6 else ''}scatter",
                    "ISO 6892-1 construction on the curve of NACA TN 902 (1943), whose parameter R_p0.2 is",
                    proof,
                    one.value,
                    tolerance,
                    "MPa",
                    "readings are some MPa apart round the crossing"
                    if noise < 1e-6
                    else "three standard deviations of the scatter",
                )
            )
    return found


def pitch_term() -> list[Check]:
    """Torque up less torque down: the bearing face drops out and the helix is left."""
    rig = the_rig()
    one = evaluated(noiseless(), pulled=False)
    pitch, thread_friction = one.get("pitch"), one.get("thread_friction")
    assert pitch is not None
    assert thread_friction is not None
    exact = thread_arm(rig.thread, 0.12) - thread_arm(rig.thread, 0.12, loosening=True)
    return [
        Check(
            "torque up less torque down over force",
            "P/pi of a thread without friction (mechanics of the inclined plane)",
            rig.thread.pitch / math.pi,
            exact,
            0.025,
            "mm",
            "friction adds tan^2 rho', 2 % at 0.12",
        ),
        Check(
            "pitch from torques both ways", "ISO 261, M11x1.25", 1.25, pitch.value, 2e-3, "mm", "friction alike 0.117"
        ),
    ]


def prediction() -> list[Check]:
    """The rig as a joint: finite elements beside strength of materials."""
    rig = the_rig()
    predicted = predict(rig)
    fastener = rig.joint.fastener
    bars = sum(segment.length / (rig.modulus * segment.area) for segment in fastener.segments)
    engaged = (fastener.engagement + rig.joint.seat.height) / (rig.modulus * fastener.thread.stress_area)
    return [
        Check(
            "stretch of the stud over both ends, finite elements",
            "between its free lengths as bars and those with the whole engaged threads at full force: the middle",
            bars + 0.5 * engaged,
            predicted.stretch,
            0.5 * engaged / (bars + 0.5 * engaged),
            "mm/N",
            "the two bounds themselves",
        ),
        Check(
            "stretch of the stud, closed form",
            "finite elements of the rig as a joint",
            predicted.stretch,
            predicted.stretch_estimate,
            0.06,
            "mm/N",
            "half a diameter of engaged core is the standard's round figure",
        ),
    ]
