"""Published checks of the closed formulas: threads, tightening, resilience, load factor, strength.

Where a check needs no formula but the product's own, it calls the product. Sources were rarely at hand in full:
each check says whether its number was seen in the source, or is from memory and recomputed.
"""

from __future__ import annotations

import math

from headjoint.model.formulas import strength
from headjoint.model.formulas.resilience import Layer, bar, layer_resilience
from headjoint.model.library import tightening
from headjoint.model.library.property_classes import property_class
from headjoint.model.library.threads import Thread, thread
from validation.check import Check

INCH, POUND, PSI = 25.4, 4.4482216152605, 6.894757293168e-3
MPSI = 1e6 * PSI  # MPa
MLBF_PER_INCH = 1e6 * POUND / INCH  # N/mm
TAN_30 = math.tan(math.radians(30.0))
ISO_898 = "ISO 898-1 tables for coarse threads (seen in two public reprints)"
ISO_898_FINE = "ISO 898-1 table of stress areas, fine threads (from memory, high confidence)"
B1_1 = "ASME B1.1 tensile stress areas (seen in two public stress-area tables)"
VDI_FINE = "VDI 2230:2003 table A for fine threads (seen in a public catalogue reprint)"
VDI_COARSE = "VDI 2230 table A1 (from memory, high confidence)"
SHIGLEY = "Shigley's Mechanical Engineering Design, 9th ed."
ROUNDED = "printed to three digits"


def checks() -> list[Check]:
    return [
        *_threads(),
        *_assembly_tables(),
        *_torque(),
        *_classes(),
        *_endurance(),
        *_shigley_8_2(),
        *_shigley_8_5(),
        *_other_joints(),
        *_scatter(),
    ]


def _threads() -> list[Check]:
    metric = {"M8": 36.6, "M10": 58.0, "M12": 84.3, "M10x1.25": 61.2, "M12x1.25": 92.1, "M14x1.5": 125.0, "M16": 157.0}
    unified = {"3/8-24": 0.0878, "7/16-20": 0.1187, "1/2-13": 0.1419, "1/2-20": 0.1599, "9/16-18": 0.203}
    return [
        Check(
            f"stress area {name}",
            ISO_898_FINE if "x" in name else ISO_898,
            area,
            thread(name).stress_area,
            0.004,
            "mm2",
            ROUNDED,
        )
        for name, area in metric.items()
    ] + [
        Check(f"stress area {name}", B1_1, area, thread(name).stress_area / INCH**2, 0.002, "in2", ROUNDED)
        for name, area in unified.items()
    ]


def _assembly_tables() -> list[Check]:
    # thread, class, mu, F_M kN, M_A N.m, source
    rows = [
        ("M8x1", "8.8", 0.10, 20.7, 22.8, VDI_FINE),
        ("M8x1", "12.9", 0.14, 33.9, 50.1, VDI_FINE),
        ("M10x1.25", "10.9", 0.12, 46.4, 75.0, VDI_FINE),
        ("M12x1.25", "8.8", 0.12, 48.0, 90.0, VDI_FINE),
        ("M12x1.25", "12.9", 0.14, 80.4, 174.0, VDI_FINE),
        ("M14x1.5", "10.9", 0.10, 97.5, 182.0, VDI_FINE),
        ("M10", "10.9", 0.12, 43.4, 71.0, VDI_COARSE),
        ("M12", "8.8", 0.14, 41.9, 93.0, "VDI 2230 table A1 (preload seen in a catalogue reprint, torque from memory)"),
        ("M12", "12.9", 0.08, 77.6, 108.0, VDI_COARSE),
    ]
    # hexagon heads and medium holes of the tables (ISO 4014, ISO 273): d_W, d_h
    heads = {8.0: (11.63, 9.0), 10.0: (14.63, 11.0), 12.0: (16.63, 13.5), 14.0: (19.64, 15.5)}
    found = []
    for name, grade, mu, preload, torque, source in rows:
        one = thread(name)
        R_p = property_class(grade).yield_strength.at(20.0)
        F_M = tightening.preload_at_stress(one, mu, one.stress_area, 0.9 * R_p)
        M_A = F_M * tightening.torque_per_preload(one, mu, mu, sum(heads[one.nominal_diameter]) / 2.0)
        label = f"{name} {grade}, mu = {mu:.2f}"
        found.append(Check(f"F_M {label}", source, preload, F_M / 1e3, 0.004, "kN", ROUNDED))
        found.append(Check(f"M_A {label}", source, torque, M_A / 1e3, 0.012, "N.m", "printed to 1 N.m"))
    return found


def _torque() -> list[Check]:
    # 3/4-16 UNF is outside the library: stated here
    one = Thread("3/4-16 UNF", 0.75 * INCH, INCH / 16.0, "unified", 0.0, 0.0, 0.0, "here")
    force = 25e3 * POUND
    arm = tightening.torque_per_preload(one, 0.15, 0.15, 1.25 * one.nominal_diameter)
    source = f"{SHIGLEY}, example 8-3 (from memory, recomputed)"
    nut_factor = tightening.torque_per_preload(thread("1/2-13"), 0.15, 0.15, 1.25 * 0.5 * INCH) / (0.5 * INCH)
    return [
        Check("torque for 25 kip, 3/4-16, f = 0.15", source, 3551.0, force * arm / (POUND * INCH), 0.005, "lbf.in"),
        Check(
            "nut factor K at f = 0.15",
            f"{SHIGLEY}, sec. 8-8: K = 0.20 for f = 0.15 whatever the size (from memory)",
            0.20,
            nut_factor,
            0.03,
            "",
            "a rounded rule",
        ),
    ]


def _classes() -> list[Check]:
    clamp = {"3/8-24": 7900, "7/16-14": 9550, "7/16-20": 10700, "1/2-13": 12750, "1/2-20": 14400, "9/16-12": 16400}
    source = "fan maker's fastener table: clamp = 0.75 proof A_t of grade 8 (seen)"
    grade_8 = property_class("SAE J429 grade 8").proof
    proof_loads = {("M10", "8.8"): 33.7, ("M10", "12.9"): 56.3, ("M12", "10.9"): 70.0}
    return [
        Check(
            f"grade 8 clamp {name}",
            source,
            load,
            0.75 * grade_8 * thread(name).stress_area / POUND,
            0.006,
            "lbf",
            "rounded to 50 lbf",
        )
        for name, load in clamp.items()
    ] + [
        Check(
            f"proof load {name} {grade}",
            ISO_898,
            load,
            property_class(grade).proof * thread(name).stress_area / 1e3,
            0.004,
            "kN",
            ROUNDED,
        )
        for (name, grade), load in proof_loads.items()
    ]


def _endurance() -> list[Check]:
    source = "VDI 2230-1 endurance limit 0.85 (150/d + 45), printed values (from memory, recomputed)"
    return [
        Check(
            f"sigma_ASV {name}",
            source,
            value,
            strength.endurance_limit(thread(name), "before heat treatment", 0.0, None),
            0.002,
            "MPa",
            ROUNDED,
        )
        for name, value in {"M8": 54.2, "M10": 51.0, "M12": 48.9}.items()
    ]


def _frustum(thickness: float, start: float, hole: float, modulus: float) -> float:
    """Return the stiffness of a 30 degree frustum (Shigley eq. 8-20) by the product's cone integral."""
    return 1.0 / layer_resilience(Layer("", thickness, hole, 1e6, modulus), start, TAN_30)


def _shigley_8_2() -> list[Check]:
    d, D = 0.5 * INCH, 0.75 * INCH
    steel, iron = 30.0 * MPSI, 14.5 * MPSI
    k1 = _frustum(0.595 * INCH, D, d, steel)
    k2 = _frustum(0.0775 * INCH, D + 2 * 0.595 * INCH * TAN_30, d, iron)
    k3 = _frustum(0.6725 * INCH, D, d, iron)
    km = 1.0 / (1 / k1 + 1 / k2 + 1 / k3)
    A_d, A_t = math.pi / 4 * d**2, thread("1/2-20").stress_area
    kb = 1.0 / (bar(0.25 * INCH, steel, A_d) + bar(1.095 * INCH, steel, A_t))
    source = f"{SHIGLEY}, example 8-2 (inputs seen, answers from memory, recomputed)"
    return [
        Check("frustum k1", source, 30.80, k1 / MLBF_PER_INCH, 0.002, "Mlbf/in"),
        Check("frustum k2", source, 285.5, k2 / MLBF_PER_INCH, 0.002, "Mlbf/in"),
        Check("frustum k3", source, 14.15, k3 / MLBF_PER_INCH, 0.002, "Mlbf/in"),
        Check("members k_m", source, 9.378, km / MLBF_PER_INCH, 0.002, "Mlbf/in"),
        Check("bolt k_b", source, 3.69, kb / MLBF_PER_INCH, 0.002, "Mlbf/in", ROUNDED),
    ]


def _shigley_8_5() -> list[Check]:
    d, D = 0.625 * INCH, 0.9375 * INCH
    steel, iron = 30.0 * MPSI, 16.0 * MPSI
    # cap screw: effective grip = cover + washer + d/2 = 1 in; half of it is 0.5 in
    k1 = _frustum(0.5 * INCH, D, d, steel)
    k2 = _frustum(0.1875 * INCH, D + 2 * 0.3125 * INCH * TAN_30, d, steel)
    k3 = _frustum(0.3125 * INCH, D, d, iron)
    km = 1.0 / (1 / k1 + 1 / k2 + 1 / k3)
    A_t = 0.226 * INCH**2
    kb = 1.0 / bar(1.0 * INCH, steel, A_t)
    C = kb / (kb + km)
    preload, load = 14.4e3 * POUND, 5e3 * POUND
    source = f"{SHIGLEY}, example 8-5 (seen, recomputed)"
    amplitude = C * load / (2.0 * A_t)
    return [
        Check("frustum k1", source, 46.46, k1 / MLBF_PER_INCH, 0.002, "Mlbf/in"),
        Check("frustum k2", source, 197.43, k2 / MLBF_PER_INCH, 0.002, "Mlbf/in"),
        Check("members k_m", source, 17.40, km / MLBF_PER_INCH, 0.002, "Mlbf/in"),
        Check("cap screw k_b", source, 6.78, kb / MLBF_PER_INCH, 0.002, "Mlbf/in"),
        Check("joint constant C", source, 0.280, C, 0.003, "", ROUNDED),
        Check("separation factor n_0", source, 4.00, preload / (load * (1 - C)), 0.005, "", ROUNDED),
        Check("stress amplitude", source, 3.10, amplitude / (1e3 * PSI), 0.005, "kpsi", ROUNDED),
    ]


def _other_joints() -> list[Check]:
    # Shigley problem 8-23: M12 cap screw, l_d 10, l_t 16
    kb = 1.0 / (bar(10.0, 207e3, math.pi / 4 * 144.0) + bar(16.0, 207e3, thread("M12").stress_area))
    # problem 8-20: M12, printed with l_d 30, l_t 15
    kb_20 = 1.0 / (bar(30.0, 207e3, math.pi / 4 * 144.0) + bar(15.0, 207e3, thread("M12").stress_area))
    manual = "Shigley solution manual, problem {} (seen, recomputed)"
    # Brown, chapter 8 example 2: 20 steel + 25 iron, d = 12, D = 1.5 d
    half = 22.5
    k1 = _frustum(20.0, 18.0, 12.0, 207e3)
    k2 = _frustum(half - 20.0, 18.0 + 40.0 * TAN_30, 12.0, 110e3)
    k3 = _frustum(half, 18.0, 12.0, 110e3)
    km = 1.0 / (1 / k1 + 1 / k2 + 1 / k3)
    return [
        Check("cap screw k_b, M12", manual.format("8-23"), 744.0, kb / 1e3, 0.003, "kN/mm", ROUNDED),
        Check("bolt k_b, M12", manual.format("8-20"), 466.8, kb_20 / 1e3, 0.003, "kN/mm", ROUNDED),
        Check(
            "members k_m, M12 through steel and iron",
            "T. H. Brown, Marks' Calculations for Machine Design (2005), ch. 8 example 2 (seen, recomputed)",
            1.47e9,
            km * 1e3,
            0.004,
            "N/m",
            ROUNDED,
        ),
    ]


def _scatter() -> list[Check]:
    # (alpha_A - 1)/(alpha_A + 1), printed beside the factors
    from headjoint.model.joint import Tightening
    from headjoint.model.service import Tighten

    turned = Tighten("tighten", (1.0,), (), None, None, None, None, 0.1, 0.1)
    source = "VDI 2230-1 table A8, scatter printed beside alpha_A (from memory, recomputed)"
    return [
        Check(
            f"scatter of alpha_A = {factor}",
            source,
            percent,
            100 * Tightening("torque", turned, 1.0, 1.0, 0.1, 0.1, factor, "", 0.0, "").scatter,
            0.03,
            "%",
            "printed to 1 %",
        )
        for factor, percent in {1.6: 23.0, 2.5: 43.0, 4.0: 60.0}.items()
    ]
