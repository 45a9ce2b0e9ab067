"""Signs that the model is wrong for a log: mixed units, a sliding indicator, air in the ram, gauges past their range.

Nothing is put right here: a suspicion is said, with what to look at. Bands of plausibility are common practice, no
source.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from headjoint.cases.rig.cleaning import Cleaned
from headjoint.cases.rig.faults import ALL, APART, FRICTION, STRETCH, TURNING, Fault
from headjoint.cases.rig.fits import LOWEST, Values, greatest, key_of, turning_fit
from headjoint.cases.rig.least_squares import COVERAGE, Points
from headjoint.cases.rig.rows import uses_tightened
from headjoint.model.rig.rig import Rig, setup_compliance, stretch_compliance

BAND = (0.03, 0.45)  # of steel on steel, from coated and waxed to dry and galled: common practice, no source
LIKELY_FRICTION = (0.07, 0.25)  # what a slip of units is expected to lead back to
STRETCH_RATIO = (0.7, 1.4)  # measured over closed form
TURNING_RATIO = (0.5, 2.5)
LOST_TRAVEL = 0.05  # mm that faces may take to seat: common practice, no source
SEATING = 0.015  # mm that air must still give at the lowest load to be told from faces that seat
PLAY = 0.1  # mm of travel that play of an angle gauge makes at most: common practice, no source
ATMOSPHERE = 0.1013  # MPa
BOW = 0.5  # of the residuals' squares that a parabola explains
BOW_SIZE = 0.006  # of the range of stretch, that the bow has at least
PITCH_DOUBT, RUBBING_DOUBT = 0.06, 0.03  # shares of pitch and of what rubs, by which up and down may differ: as above
JUMPED = "neither the indicator"  # said of a force that jumped
BREAK = 1.2  # factor by which torque per force changes at one place
SPOILT_BY = {"torque": FRICTION, "stretch": STRETCH}
# how many times too large a reading is when written in a wrong unit, and which
SLIPS = {
    "torque": (
        (1.3558, "N.m headed as lbf.ft"),
        (1 / 1.3558, "lbf.ft headed as N.m"),
        (1 / 0.11298, "lbf.in headed as N.m"),
        (0.1, "N.m headed as kgf.m, or bar headed as MPa"),
        (10.0, "kgf.m headed as N.m"),
    ),  # fmt: skip
    "pressure": (
        (10.0, "bar headed as MPa"),
        (0.1, "MPa headed as bar"),
        (145.04, "psi headed as MPa"),
        (14.504, "psi headed as bar"),
        (1 / 14.504, "bar headed as psi"),
    ),  # fmt: skip
    "force": (
        (1 / 4.4482, "kN headed as klbf"),
        (4.4482, "lbf headed as N"),
        (9.80665, "N headed as kgf"),
        (1 / 9.80665, "kgf headed as N"),
    ),  # fmt: skip
    "stretch": (
        (25.4, "thousandths of an inch headed as hundredths of a millimetre, or mm headed as in"),
        (1 / 25.4, "in headed as mm"),
        (10.0, "mm headed as cm, or hundredths read as tenths"),
        (0.1, "tenths read as hundredths"),
    ),  # fmt: skip
}


def check_log(
    clean: Cleaned, rig: Rig, values: Values, shifts: dict[str, dict[str, float]]
) -> tuple[list[str], list[str]]:
    """Return what is wrong or suspicious, and what is only worth a note, one sentence each.

    Where a gauge is known to have jumped or stood still, nothing else is blamed for what follows from it.
    """

    def deviation(key: str) -> float:
        return math.sqrt(values[key].variance + sum(shift**2 for shift in shifts[key].values()))

    faults = _past_ranges(clean, rig)
    if any(JUMPED in fault for fault in clean.faults):
        return faults, []
    known = set().union(*(fault.spoils for fault in clean.faults if isinstance(fault, Fault) and "jumps" in fault), ())
    if "stretch_compliance" not in known:
        faults += _stretch(
            clean, rig, values, deviation("stretch_compliance") if "stretch_compliance" in values else 0.0
        )
    for use in uses_tightened(clean.log):
        key = key_of("pitch", use)
        said = _breaks(clean, use) or _friction_band(clean, rig, values, use)
        if not said and key in values:
            said = _pitch(clean, rig, values, use, deviation(key))
        # one use is enough to say it
        if said:
            faults += said
            break
    faults += _apart(values, deviation)
    notes: list[str] = []
    for use in uses_tightened(clean.log):
        said, noted = _lost_travel(clean, rig, use)
        faults, notes = faults + said, notes + noted
        if said or noted:
            break
    if "setup_compliance" not in known:
        faults += _turning(rig, values)
    return list(dict.fromkeys(faults)), notes


def _past_ranges(clean: Cleaned, rig: Rig) -> list[str]:
    gauges, log = rig.stated.gauges, clean.log
    found: list[str] = []
    for name, gauge, unit, factor in (
        ("pressure", gauges.pressure, "MPa", 1.0),
        ("force", gauges.force, "kN", 1e-3),
        ("torque", gauges.torque, "N.m", 1e-3),
        ("stretch", gauges.stretch, "mm", 1.0),
    ):
        if gauge is None or name not in log.channels or (name == "force" and "pressure" in log.channels):
            continue
        most = float(np.nanmax(np.abs(log.channels[name])))
        if most > 1.02 * gauge.range:
            text = (
                f"{name} reads up to {factor * most:.4g} {unit}, beyond the gauge's range of "
                f"{factor * gauge.range:.4g} {unit}: is the unit in the heading right?"
            )
            found.append(Fault(text, SPOILT_BY.get(name, ALL)))
    return found


def _suspects(channels: tuple[str, ...], ratio_by: dict[str, float]) -> str:
    """Name the slips of units that would explain readings, by channel and how far off (times too large) it seems."""
    names = []
    for channel in channels:
        for factor, words in SLIPS[channel]:
            if abs(math.log(ratio_by[channel] / factor)) < 0.25:
                names.append(f"{channel}: {words}")
    return "; ".join(names)


def _torque_suspects(clean: Cleaned, rig: Rig, values: Values, ratio: float) -> str:
    """Name the slips that would explain torque per force; where stretch bears the force out, only those of torque."""
    load = "pressure" if "pressure" in clean.log.channels else "force"
    borne_out = False
    if "stretch_compliance" in values:
        borne_out = STRETCH_RATIO[0] < values["stretch_compliance"].value / stretch_compliance(rig) < STRETCH_RATIO[1]
    return _suspects(("torque",) if borne_out else ("torque", load), {"torque": ratio, load: 1.0 / ratio})


def _friction_band(clean: Cleaned, rig: Rig, values: Values, use: int) -> list[str]:
    key = key_of("mean_friction", use)
    if key not in values or BAND[0] < values[key].value < BAND[1]:
        return []
    K = values[key_of("nut_factor", use)].value
    likely = 1.3 * math.sqrt(LIKELY_FRICTION[0] * LIKELY_FRICTION[1]) + 0.02
    ratio = max(K, 1e-6) / likely
    names = _torque_suspects(clean, rig, values, ratio)
    hint = f" Units that would explain it: {names}." if names else ""
    text = (
        f"a friction of {values[key].value:.3g} (nut factor {K:.3g}) is outside {BAND[0]:g} to {BAND[1]:g}, "
        f"what steel on steel shows (common practice, no source): torque and force do not belong together.{hint}"
    )
    return [Fault(text, FRICTION if "pressure:" not in hint and "force:" not in hint else ALL)]


def _apart(values: Values, deviation: Callable[[str], float]) -> list[str]:
    """Find frictions that are impossible once told apart: what told them apart was no twist."""
    for key in values:
        if not key.startswith(("thread_friction", "bearing_friction")):
            continue
        value, doubt = values[key].value, COVERAGE * deviation(key)
        if value + doubt < BAND[0] or value - doubt > BAND[1]:
            name = key.replace("_", " ")
            text = (
                f"{name} comes out at {value:.3g}, which no face has: what told the two apart is wrong. By angle: "
                "the gauge moved between tightening and loosening, or the lower thread turned in the base"
            )
            return [Fault(text, APART)]
    return []


def _breaks(clean: Cleaned, use: int) -> list[str]:
    """Find one place in a tightening where torque per force changes by a factor: another unit from there on."""
    log = clean.log
    if "torque" not in log.channels:
        return []
    tightened = log.at("tighten", use)
    loaded = clean.force > LOWEST * greatest(clean, tightened)
    rows = np.flatnonzero(tightened & loaded & (log.channels["torque"] > 0.0))
    if len(rows) < 4:
        return []
    beside = 5 if len(rows) >= 16 else 2
    ratio = np.log(log.channels["torque"][rows] / clean.force[rows])
    places = range(beside, len(rows) - beside + 1)
    jumps = [abs(np.median(ratio[at : at + beside]) - np.median(ratio[at - beside : at])) for at in places]
    at = int(np.argmax(jumps)) + beside
    before, after = ratio[:at], ratio[at:]
    within = max(float(np.ptp(part)) for part in (before, after)) if beside == 2 else 0.0
    if jumps[at - beside] < max(math.log(BREAK), 2.0 * within):
        return []
    factor = float(np.exp(np.median(ratio[at : at + beside]) - np.median(ratio[at - beside : at])))
    load = "pressure" if "pressure" in log.channels else "force"
    names = _suspects(("torque", load), {"torque": factor, load: 1.0 / factor})
    hint = f" as by {names}" if names else ""
    text = (
        f"torque per force changes by a factor of {factor:.3g} near line {log.line[rows[at]]}{hint}: mixed units, or a "
        "thread that seizes. One line cannot fit both parts; do not use the friction below"
    )
    return [Fault(text, FRICTION)]


def _pitch(clean: Cleaned, rig: Rig, values: Values, use: int, deviation: float) -> list[str]:
    pitch = values[key_of("pitch", use)].value
    ratio = pitch / rig.thread.pitch
    # friction that differs between up and down counts in full beside the little that the pitch makes of a torque
    rubbing = math.pi * values[key_of("nut_factor", use)].value * rig.thread.nominal_diameter - rig.thread.pitch / 2.0
    if abs(pitch - rig.thread.pitch) < max(3.0 * deviation, PITCH_DOUBT * rig.thread.pitch, RUBBING_DOUBT * rubbing):
        return []
    names = _torque_suspects(clean, rig, values, ratio) if ratio > 0.0 else ""
    hint = f" Units that would explain it: {names}." if names else ""
    return [
        Fault(
            f"torque up less torque down says a pitch of {pitch:.3g} mm, the thread has {rig.thread.pitch:.3g} mm: "
            f"torque over force is off by a factor of {ratio:.3g}, friction differs between up and down, or another "
            "thread slid."
            f"{hint}",
            FRICTION,
        )
    ]


def _lost_travel(clean: Cleaned, rig: Rig, use: int) -> tuple[list[str], list[str]]:
    """Find travel that makes no force: a fault where it is air in the ram or faces that do not seat, a note where play.

    Air gives way under load, too: at a pressure p what is left of its travel is p0/(p + p0). Play of the angle gauge is
    over before the first load. Where no reading is low enough to tell, only more than play ever is counts as air.
    """
    log = clean.log
    turned = turning_fit(clean, rig, use)
    if turned is None:
        return [], []
    lead = rig.thread.pitch / (2.0 * math.pi)
    angle, force = log.channels["angle"], clean.force
    rows = (log.at("zero", use) | log.at("tighten", use)) & np.isfinite(angle) & np.isfinite(force)
    most = float(turned.x.max())
    free = rows & log.at("zero", use) if (rows & log.at("zero", use)).any() else rows & (force < 0.03 * most)
    if not free.any():
        return [], []
    lost = (turned.intercept - float(np.median(angle[free]))) * lead
    doubt = math.sqrt(turned.variance_at(0.0)) * lead
    if lost < LOST_TRAVEL + 2.0 * doubt:
        return [], []
    low = rows & log.at("tighten", use) & (force > 0.002 * most) & (force < 0.1 * most)
    left = ATMOSPHERE / (np.maximum(force, 0.0) / rig.stated.ram.area + ATMOSPHERE)
    told = low & (left * lost > SEATING)
    said = f"the nut travels {lost:.2f} mm ({math.degrees(lost / lead):.0f} deg) before clamp rises as it does later"
    if told.any():
        short = (turned.at(0.0) + turned.slope * force[told] - angle[told]) * lead
        if float(np.sum(short * left[told]) / np.sum(left[told] ** 2)) < 0.5 * lost + SEATING:
            return [], [
                f"{said}: play of the angle gauge or of the wrench, over before the first load; no figure takes it in"
            ]
    elif lost < PLAY + 2.0 * doubt:
        return [], [
            f"{said}: play of the angle gauge, faces that seat, or a little air in the ram; readings below a tenth of "
            "the load would tell"
        ]
    volume = lost * rig.stated.ram.area / 1e3
    text = (
        f"{said}: air in the ram (about {volume:.2g} ml would do it) or faces that do not seat. Torque against force "
        "is not touched by it; angles from the start are. Bleed the ram and tighten once to seat, then measure"
    )
    return [Fault(text, ("setup_compliance",))], []


def _bowed(points: Points | None, size: float) -> bool:
    if points is None or points.odd < BOW:
        return False
    x = (points.x - points.x.mean()) / np.ptp(points.x)
    bow = np.polyval(np.polyfit(x, points.y - points.fitted, 2), x)
    return float(np.ptp(bow)) > size * float(np.ptp(points.y))


def _stretch(clean: Cleaned, rig: Rig, values: Values, deviation: float) -> list[str]:
    if "stretch_compliance" not in values:
        return []
    found: list[str] = []
    one = values["stretch_compliance"]
    if _bowed(one.points, BOW_SIZE):
        text = (
            "stretch is not proportional to force: it bows away from a line by more than its scatter. The indicator "
            "slides or leans, or the fastener yields; elastic slope and effective length are not to be trusted"
        )
        found.append(Fault(text, STRETCH))
    ratio = one.value / stretch_compliance(rig)
    low, high = ratio - 2.0 * deviation / stretch_compliance(rig), ratio + 2.0 * deviation / stretch_compliance(rig)
    if high < STRETCH_RATIO[0] or low > STRETCH_RATIO[1]:
        load = "pressure" if "pressure" in clean.log.channels else "force"
        names = _suspects(("stretch", load), {"stretch": abs(ratio), load: 1.0 / abs(ratio)})
        hint = f"units that would explain it: {names}" if names else "the indicator slips, or touches another part"
        text = (
            f"stretch per force is {ratio:.3g} times what the fastener's shape says: check shape and indicator; {hint}"
        )
        found.append(Fault(text, STRETCH if f"{load}:" not in hint else ALL))
    return found


def _turning(rig: Rig, values: Values) -> list[str]:
    if "setup_compliance" not in values or "stretch_compliance" not in values:
        return []
    measured = values["setup_compliance"].value + values["stretch_compliance"].value
    ratio = measured / (setup_compliance(rig) + stretch_compliance(rig))
    if TURNING_RATIO[0] < ratio < TURNING_RATIO[1]:
        return []
    hint = ""
    for factor, words in ((180.0 / math.pi, "degrees headed as rad"), (math.pi / 180.0, "rad headed as degrees")):
        if abs(math.log(abs(ratio) / factor)) < 0.5:
            hint = f"; units that would explain it: angle: {words}"
    text = f"the nut turns {ratio:.3g} times as far as stiffness says: angle or force is off, or the ram is soft{hint}"
    return [Fault(text, TURNING)]
