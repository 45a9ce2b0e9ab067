"""The gasket law that follows from a pressed bead, how far it is off the bead, and the fragment that carries it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from importlib.metadata import version
from itertools import pairwise
from math import isclose
from typing import Any

import numpy as np

from headjoint.cases.bead.history import Leg
from headjoint.model.base.arrays import FloatArray
from headjoint.model.base.errors import InputError
from headjoint.model.bead.bead import Bead
from headjoint.model.bead.hardening import AS_STATED, SpringSteel
from headjoint.model.bead.solid import Solid
from headjoint.model.gasket.law import GasketLaw, check_law
from headjoint.model.gasket.loading import LoadingCurve, steepest
from headjoint.model.gasket.one_stiffness import OneStiffnessLaw
from headjoint.model.gasket.opening_curves import OpeningCurvesLaw
from headjoint.postproc.bead.findings import KEEPS_NOTHING, AtTemperature, BeadFindings, Opening
from headjoint.postproc.present.document import toml_text

ROW_ACCURACY = 0.005  # of the load, to which rows of the law follow a curve
LIGHT = 0.1  # of the greatest load: what a lighter one counts as to rows of loading, and where a law is off
# of the load, that leaving out may miss: own measurement, validation/benchmarks/bead_between.py. The other way, the
# safe side, laws of shipped beads bear up to 16 % less than the bead between their openings, by the same measurement
RIPPLE = 0.05
LESS = 0.16
FALL = 0.02  # of the greatest load, by which it may fall from one step to the next without a word
MOST_OFF = 0.05  # of the same: beyond it the law's form is said to be off
NOTHING = 1e-4  # of the load that a bead is opened from, below which its opening needs no row
STOPPER_ROW = 0.005  # mm beyond its closure, where the stopper's law has its second row
FALLS = "its load falls on the way, which no law may: the law bears no more than what comes after"
FOLDED = (
    "its stopper is a fold that counts as solid and {:.4g} mm higher than one sheet: a real one stands higher by its "
    "bend and springs, so that the bead is closed less and bears less; state as its `thickness` what was measured "
    "under load"
)
BONDED_WIRE = (
    "its wire is taken as bonded to the ring: a wire that is not bonded bears less, at worst as little as a ring with "
    "an empty hole in its place"
)
LEAST_OPENINGS = 3  # of which one may be left out to see how far the law is off there
ONE_LINE = "no law opens along its curves: {}; it springs back along its stiffest line, which is on the safe side"
LEFT_OUT = "opened from {:.6g} mm it begins no lower than from deeper: the law is made without that opening"

Rows = tuple[tuple[float, float], ...]  # closure, mm, and pressure, MPa, of an opening from its set up


@dataclass(frozen=True)
class Off:
    """How far a law is off its bead at the worst temperature, as shares of the load that an opening begins at, or of
    `LIGHT` of the greatest, if that is more.

    near : within the stroke of gas, of each opening, the deepest last. whole : over all of it. between : how much more
    than the bead the law may bear between its openings, within the stroke of gas and over all of it: as much as at the
    worst of those that it is made without, twice as far from the next as it has them, and `RIPPLE`, for nodes that
    touch one after the other make curves that no law without that depth knows; None for a law of fewer than
    `LEAST_OPENINGS`. How much less it may bear there, the safe side, leaving out does not tell: by few depths it may be
    several times what is found so. gas : of the stiffness over the last of the small strokes. loop : how far opening
    and closing again are apart at one closure, within the last small stroke and over whole openings, those of every
    other depth: friction and yielding back, of which the law knows nothing.
    """

    near: tuple[float, ...]
    whole: tuple[float, ...]
    between: tuple[float, float] | None
    gas: float
    loop: tuple[float, float]


@dataclass(frozen=True)
class BeadLaw:
    """A law, that of the stopper beside it, cautions, and how far it is off the bead."""

    law: GasketLaw
    stopper: GasketLaw | None
    cautions: tuple[str, ...]
    off: Off


def law_of(found: BeadFindings) -> BeadLaw:
    """Return the law that an engine may take for a bead, smeared over the width of its zone."""
    bead = found.bead
    cautions = []
    if any(np.any(np.diff(one.line_load) < -FALL * one.line_load.max()) for one in found.at):
        cautions.append(FALLS)
    if bead.stopper is not None and bead.stopper.folded:
        cautions.append(FOLDED.format(bead.stopper.thickness))
    if bead.cores:
        cautions.append(BONDED_WIRE)
    curves = tuple(_curve(one, bead.zone_width) for one in found.at)
    nothing = KEEPS_NOTHING * bead.reach * bead.in_series
    keeps = any(one.set > nothing for at in found.at for one in at.openings)
    spread = None if found.spread is None else found.spread.share
    about: dict[str, Any] = {"title": _title(bead), "source": _source(bead), "spread": spread}
    if keeps:
        law, caution = _springing_back(found, curves, about)
    else:
        law, caution = check_law(OneStiffnessLaw(bead.name, curves, **about), "law"), ()
    return BeadLaw(law, _stopper_law(bead), (*cautions, *caution), _off(law, found))


def _springing_back(
    found: BeadFindings, curves: tuple[LoadingCurve, ...], about: dict[str, Any]
) -> tuple[GasketLaw, tuple[str, ...]]:
    """Return a checked law that opens along the bead's own curves, or where no such law holds along one line, with
    what to be wary of."""
    bead, first = found.bead, found.at[0]
    openings = [_opening(leg, one, curves[0]) for leg, one in zip(_legs(first), first.openings, strict=True)]
    stiffest = max(one.stiffness / bead.zone_width for at in found.at for one in at.openings)
    return opening_law(bead.name, curves, openings, stiffest, about)


def opening_law(
    name: str, curves: tuple[LoadingCurve, ...], openings: Sequence[Rows], stiffest: float, about: dict[str, Any]
) -> tuple[GasketLaw, tuple[str, ...]]:
    """Return a checked law that opens along curves, by rising depth, or where no such law holds along one line of at
    least `stiffest` (MPa/mm); with what to be wary of."""
    # from the deepest back: beyond the last opening the law would have to guess
    kept = list(openings[-1:])
    cautions: list[str] = []
    for rows in reversed(openings[:-1]):
        if rows[-1][1] < kept[0][-1][1]:
            kept.insert(0, rows)
        else:
            cautions.insert(0, LEFT_OUT.format(rows[-1][0]))
    try:
        law = check_law(OpeningCurvesLaw(name, curves, openings=tuple(kept), **about), "law")
    except InputError as refusal:
        stiffest = max(stiffest, (1.0 + 1e-6) * steepest(curves))
        one_line = OneStiffnessLaw(name, curves, unloading_stiffness=stiffest, **about)
        return check_law(one_line, "law"), (ONE_LINE.format(_in_words(refusal, kept)),)
    return law, tuple(cautions)


def _in_words(refusal: InputError, openings: Sequence[Rows]) -> str:
    """Return why openings make no law, the one that is named told by where it begins."""
    number = re.search(r"openings\[(\d+)\]", refusal.field)
    return f"that from {openings[int(number[1])][-1][0]:.6g} mm {refusal.problem}" if number else refusal.problem


def _legs(at: AtTemperature) -> list[Leg]:
    """Return the openings of one bead, by depth."""
    return [leg for leg in at.history.legs if leg.kind == "opening"]


def _opening(leg: Leg, opened: Opening, curve: LoadingCurve) -> Rows:
    """Return an opening in few rows of closure (mm) and pressure (MPa), from its set up to the loading curve."""
    # where it bears more again as it opens, the law goes on with what it bore before
    load = np.minimum.accumulate(leg.loads)[::-1]
    closure = leg.closures[::-1] * (opened.closure / leg.closures[0])
    rises = (closure > opened.set) & (load > NOTHING * load[-1]) & (np.diff(load, append=np.inf) > 0.0)
    closure, load = np.append(opened.set, closure[rises]), np.append(0.0, load[rises])
    closure, load = thinned(closure, load, ())
    pressure = load * (curve.at(opened.closure) / load[-1])
    return tuple(zip(map(float, closure), map(float, pressure), strict=True))


def _curve(at: AtTemperature, width: float) -> LoadingCurve:
    """Return the loading curve in few rows, never above what is borne further on."""
    # from the far end back, so that a load that falls takes the rest down with it
    bears = np.minimum.accumulate(at.line_load[::-1])[::-1]
    turns = [int(np.abs(at.closure - one.closure).argmin()) for one in at.openings]
    closure, kept = thinned(at.closure, bears, turns, LIGHT)
    # closure of first touch bears nothing, whatever rounding says
    pressure = np.concatenate([[0.0], kept[1:]]) / width
    return LoadingCurve(at.temperature, tuple(map(float, closure)), tuple(map(float, pressure)))


def thinned(
    closure: FloatArray, load: FloatArray, turns: Sequence[int], light: float = 1.0
) -> tuple[FloatArray, FloatArray]:
    """Return as few rows, those of `turns` among them, as follow a curve to `ROW_ACCURACY` of its load, of a share
    `light` of its greatest load at least (Douglas and Peucker, 1973)."""
    allowed = ROW_ACCURACY * np.maximum(load, light * load.max())
    keep = {0, len(closure) - 1, *turns}
    todo = list(pairwise(sorted(keep)))
    while todo:
        a, b = todo.pop()
        if b - a < 2:
            continue
        line = np.interp(closure[a : b + 1], closure[[a, b]], load[[a, b]])
        off = np.abs(load[a : b + 1] - line) / allowed[a : b + 1]
        if off.max() > 1.0:
            worst = a + int(off.argmax())
            keep.add(worst)
            todo += [(a, worst), (worst, b)]
    places = sorted(keep)
    return closure[places], load[places]


def _off(law: GasketLaw, found: BeadFindings) -> Off:
    """Return by how much the law is off its bead."""
    bead = found.bead
    over = [[_over(law, leg, at, bead) for leg in _legs(at)] for at in found.at]
    near, whole = (
        tuple(max(float(np.abs(one[part]).max()) for one in same) for same in zip(*over, strict=True))
        for part in (0, 1)
    )
    gas = max((_off_gas(law, at, bead) for at in found.at), key=abs)
    loops = np.array([_loop(at) for at in found.at]).max(axis=0)
    return Off(near, whole, _between(law, found), gas, (float(loops[0]), float(loops[1])))


def _loop(at: AtTemperature) -> tuple[float, float]:
    """Return how far opening and closing again are apart, as shares of the load before: within the last small stroke,
    and the worst of those whole openings that are closed again, every other one."""
    legs = at.history.legs
    apart = [
        (one.kind == "gas", _apart(one, other))
        for one, other in pairwise(legs)
        if (one.kind, other.kind) == ("opening", "closing again")
        or (one.kind == other.kind == "gas" and one.closures[-1] < one.closures[0])
    ]
    strokes, openings = ([share for gas, share in apart if gas is kind] for kind in (True, False))
    return strokes[-1], max(openings)


def _apart(opening: Leg, closing: Leg) -> float:
    """Return the greatest difference of load between two legs there and back, as a share of the load before."""
    back = np.interp(opening.closures, closing.closures, closing.loads)
    return float(np.abs(back - opening.loads)[1:].max() / opening.loads[0])


def _between(law: GasketLaw, found: BeadFindings) -> tuple[float, float] | None:
    """Return by how much the law may bear more than the bead between its openings, by each of them but the deepest that
    it is made without."""
    if not isinstance(law, OpeningCurvesLaw) or len(law.openings) < LEAST_OPENINGS:
        return None
    over = []
    for at in found.at:
        for leg, opened in zip(_legs(at)[:-1], at.openings[:-1], strict=True):
            rest = tuple(rows for rows in law.openings if not isclose(rows[-1][0], opened.closure))
            over.append(_over(replace(law, openings=rest), leg, at, found.bead))
    near, whole = (np.concatenate(part) for part in zip(*over, strict=True))
    return max(float(near.max()), 0.0) + RIPPLE, max(float(whole.max()), 0.0) + RIPPLE


def _off_gas(law: GasketLaw, at: AtTemperature, bead: Bead) -> float:
    """Return how far the law's stiffness over the stroke of gas is off the bead's, as a share of it."""
    top, back = bead.in_series * bead.path.deepest, bead.in_series * bead.path.stroke
    kept = law.set_after(top, 0.0, at.temperature)
    lost = law.pressure(top, kept, at.temperature) - law.pressure(top - back, kept, at.temperature)
    return lost * bead.zone_width / (back * at.gas_stiffness) - 1.0


def _over(law: GasketLaw, leg: Leg, at: AtTemperature, bead: Bead) -> tuple[FloatArray, FloatArray]:
    """Return by how much more than the bead the law bears along an opening, within the stroke of gas and over all of
    it, as shares of its peak or of a light load."""
    places = bead.in_series * leg.closures
    kept = law.set_after(float(places[0]), 0.0, at.temperature)
    said = bead.zone_width * np.array([law.pressure(float(place), kept, at.temperature) for place in places])
    over = (said - leg.loads) / max(float(leg.loads[0]), LIGHT * float(at.line_load.max()))
    return over[leg.closures[0] - leg.closures <= bead.path.stroke * (1.0 + 1e-9)], over


def _stopper_law(bead: Bead) -> GasketLaw | None:
    """Return the law of a stopper as a zone of its own: steel as high as all layers there, from its closure on."""
    if bead.stopper is None:
        return None
    stack = bead.stack
    high = stack.beads * (bead.thickness + bead.stopper.thickness) + stack.flats * stack.flat_thickness
    stiffness, start = bead.steel.E / high, bead.in_series * bead.stopper.closure
    rows = (start, start + STOPPER_ROW)
    curve = LoadingCurve(bead.steels[0][0], rows, (0.0, STOPPER_ROW * stiffness))
    return OneStiffnessLaw(f"{bead.name} stopper", (curve,), title=f"stopper of {bead.name}", source=_source(bead))


def _title(bead: Bead) -> str:
    if bead.solid:
        return f"solid ring, {_section(bead)}{_about_wire(bead)}, pressed by finite elements"
    count = bead.stack.beads
    layers = "one layer" if count == 1 else f"{count} beaded layers"
    layers += " in contact" if bead.stack.laid else ""
    shape = f"{bead.profile.kind} bead {bead.height:g} mm high in {bead.thickness:g} mm"
    return f"{layers}, {shape}, pressed by finite elements"


def _section(bead: Bead) -> str:
    return f"{bead.profile.kind} section {bead.height:g} x {bead.profile.width:g} mm"


def _about_wire(bead: Bead) -> str:
    """Return the wire of a solid ring in words, "" where it has none."""
    if not bead.cores:
        return ""
    assert isinstance(bead.profile, Solid)
    return f" about a bonded wire of {bead.profile.core:g} mm{_of_metal(bead.cores[0])}"


def _of_metal(metal: SpringSteel) -> str:
    """Return of what metal something is, as words to go on with."""
    return " (its metal as stated)" if metal.name == AS_STATED else f" of {metal.name}"


def _source(bead: Bead) -> str:
    degrees = " and ".join(f"{one:g}" for one, _ in bead.steels)
    shape = f"{bead.profile.kind} bead {bead.height:g} x {bead.profile.width:g} mm in {bead.thickness:g} mm"
    shape = _section(bead) if bead.solid else shape
    deepest = bead.in_series * bead.path.deepest
    shape += f", layers in contact: {', '.join(bead.stack.names)}" if bead.stack.laid else ""
    stamped = "" if bead.stamped_in is None else "stamped "
    made = f"{stamped}{shape}{_of_metal(bead.steel)}{_about_wire(bead)}"
    wire = "".join(f"; wire: {one.source}" for one in bead.cores[:1])
    return (
        f"`headjoint bead`: {made} at {degrees} degC, closed by up to {deepest:g} mm; "
        f"{'metal' if bead.solid else 'steel'}: {bead.steel.source}{wire}"
    )


def fragment_text(found: BeadFindings, carried: BeadLaw) -> str:
    """Return the law as TOML that a joint or engine file includes."""
    bead = found.bead
    loads = [float(one.line_load.max()) for one in found.at]
    lines = [
        "# A gasket law computed from a bead, written by `headjoint bead`. Name this file in an engine or joint file",
        '# that lies beside it:   include = "law.toml"   and the law in a zone:   law = ' + toml_text(bead.name),
        "",
        "[computed]",
        f"bead = {toml_text(bead.name)}",
        f"note = {toml_text(bead.note)}",
        f"written_by = {toml_text('headjoint ' + version('headjoint'))}",
        f"temperature = [{', '.join(toml_text(f'{one:g} degC') for one, _ in bead.steels)}]",
        f'deepest_closure = "{bead.in_series * bead.path.deepest:.6g} mm"',
        f'greatest_line_load = "{max(loads):.6g} N/mm"',
        f'zone_width = "{bead.zone_width:.6g} mm"  # over which the line load is smeared',
        *_cautions_lines(carried.cautions),
    ]
    lines += ["", *law_lines(carried.law)]
    if carried.stopper is not None and bead.stopper is not None:
        lines += ["", f"# of a stopper {bead.stopper.width:.6g} mm wide: give its zone that width"]
        lines += law_lines(carried.stopper)
    return "\n".join(lines) + "\n"


def _cautions_lines(cautions: Sequence[str]) -> list[str]:
    """Return cautions as a key of the fragment, by which whoever includes it is told; none where there are none."""
    return ["cautions = [", *(f"  {toml_text(one)}," for one in cautions), "]"] if cautions else []


def law_lines(law: GasketLaw, spread_by: str = "by tolerances of height and thickness") -> list[str]:
    """Return a law as TOML, in digits enough that a stiffness raised to the steepest loading is so when read back."""
    name = toml_text(law.name)
    lines = [f"[gasket.laws.{name}]", f"source = {toml_text(law.source)}"]
    lines += [] if law.spread is None else [f"spread = {law.spread:.10g}  # plus-minus, {spread_by}"]
    if isinstance(law, OpeningCurvesLaw):
        openings = (", ".join(f"[{c:.10g}, {p:.10g}]" for c, p in rows) for rows in law.openings)
        lines += ["openings = [  # rows of closure, mm, and pressure, MPa", *(f"  [{one}]," for one in openings), "]"]
    elif isinstance(law, OneStiffnessLaw) and law.unloading_stiffness is not None:
        lines.append(f'unloading_stiffness = "{law.unloading_stiffness:.10g} MPa/mm"')
    for curve in law.curves:
        lines += [
            f"[[gasket.laws.{name}.curves]]",
            f'temperature = "{curve.temperature:.10g} degC"',
            f"closure = [{_listed(curve.closure)}]  # mm",
            f"pressure = [{_listed(curve.pressure)}]  # MPa",
        ]
    return lines


def _listed(values: Sequence[float]) -> str:
    texts = [f"{value:.10g}" for value in values]
    assert all(float(a) <= float(b) for a, b in pairwise(texts))  # closures and pressures never fall
    return ", ".join(texts)
