"""The gasket law that follows from a pressed bead, how far it is off the bead, and the fragment that carries it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from importlib.metadata import version
from itertools import pairwise
from typing import Any

import numpy as np

from headjoint.model.base.arrays import FloatArray
from headjoint.model.base.errors import InputError
from headjoint.model.bead.bead import Bead
from headjoint.model.gasket.law import GasketLaw, check_law
from headjoint.model.gasket.loading import LoadingCurve
from headjoint.model.gasket.one_stiffness import OneStiffnessLaw
from headjoint.model.gasket.stiffness_by_pressure import StiffnessByPressureLaw
from headjoint.postproc.bead.findings import KEEPS_NOTHING, AtTemperature, BeadFindings
from headjoint.postproc.present.document import toml_text

ROW_ACCURACY = 0.005  # of the greatest load, to which rows of the law follow the curve
FALL = 0.02  # of the greatest load, by which it may fall from one step to the next without a word
MOST_OFF = 0.05  # of the peak: beyond it the law's form is said to be off
JUST_BEFORE = 0.999  # of the pressure reached, from which a bead's own stiffness is that of deeper loading
STOPPER_ROW = 0.005  # mm beyond its closure, where the stopper's law has its second row
FALLS = "its load falls on the way, which no law may: the law bears no more than what comes after"
ONE_LINE = (
    "it does not spring back the stiffer the harder it was pressed; the law springs back along its stiffest line, "
    "which is on the safe side"
)


@dataclass(frozen=True)
class BeadLaw:
    """A law, that of the stopper beside it, cautions, and how far it is off the bead.

    off : greatest difference over the stroke of each opening, the deepest last, as a share of its peak. off_gas : of
    the stiffness over the last of the small strokes.
    """

    law: GasketLaw
    stopper: GasketLaw | None
    cautions: tuple[str, ...]
    off: tuple[float, ...]
    off_gas: float


def law_of(found: BeadFindings) -> BeadLaw:
    """Return the law that an engine may take for a bead, smeared over the width of its zone."""
    bead, first = found.bead, found.at[0]
    cautions = []
    if any(np.any(np.diff(one.line_load) < -FALL * one.line_load.max()) for one in found.at):
        cautions.append(FALLS)
    curves = tuple(_curve(one, bead.zone_width) for one in found.at)
    keeps = any(one.set > KEEPS_NOTHING * bead.height * bead.stack.beads for one in first.openings)
    spread = None if found.spread is None else found.spread.share
    about = {"title": _title(bead), "source": _source(bead), "spread": spread}
    springs = [(one.peak / bead.zone_width, one.stiffness / bead.zone_width) for one in first.openings]
    rows = _no_softer_than_loading(_rising(springs), curves) if keeps else ()
    law, caution = _springing_back(bead.name, curves, rows, about)
    off, off_gas = _off(law, found)
    return BeadLaw(law, _stopper_law(bead), (*cautions, *caution), off, off_gas)


def _springing_back(
    name: str, curves: tuple[LoadingCurve, ...], rows: tuple[tuple[float, float], ...], about: dict[str, Any]
) -> tuple[GasketLaw, tuple[str, ...]]:
    """Return a checked law that opens by the pressure reached, or where no such law holds by one stiffness, with what
    to be wary of. rows : of pressure and stiffness, none where no set is kept."""
    if len(rows) > 1:
        try:
            return check_law(StiffnessByPressureLaw(name, curves, unloading=rows, **about), "law"), ()
        except InputError:
            pass
    stiffest = max((stiffness for _, stiffness in rows), default=None)
    law = OneStiffnessLaw(name, curves, unloading_stiffness=stiffest, **about)
    return check_law(law, "law"), (ONE_LINE,) if len(rows) > 1 else ()


def _rising(rows: list[tuple[float, float]]) -> tuple[tuple[float, float], ...]:
    """Return rows of pressure and stiffness with rising pressures; of equal ones the stiffest."""
    kept: dict[float, float] = {}
    for pressure, stiffness in sorted(rows):
        kept[round(pressure, 6)] = max(stiffness, kept.get(round(pressure, 6), 0.0))
    return tuple(kept.items())


def _no_softer_than_loading(
    rows: tuple[tuple[float, float], ...], curves: Sequence[LoadingCurve]
) -> tuple[tuple[float, float], ...]:
    """Return rows of stiffness raised to the steepest loading, as every law needs.

    Where loading gets steeper just where a bead was opened, as when leg tips touch, the bead's own stiffness holds up
    to there and a second row has what further loading needs.
    """
    pieces = [piece for curve in curves for piece in zip(curve.pressure, curve.slopes(), strict=False)]

    def least(until: float) -> float:
        return (1.0 + 1e-6) * max(slope for start, slope in pieces if start < until)

    raised: list[tuple[float, float]] = []
    for number, (pressure, stiffness) in enumerate(rows):
        until = rows[number + 1][0] if number + 1 < len(rows) else np.inf
        own, beyond = max(stiffness, least(JUST_BEFORE * pressure)), max(stiffness, least(until))
        raised += [(JUST_BEFORE * pressure, own)] * (beyond > own) + [(pressure, beyond)]
    return tuple(raised)


def _curve(at: AtTemperature, width: float) -> LoadingCurve:
    """Return the loading curve in few rows, never above what is borne further on."""
    # from the far end back, so that a load that falls takes the rest down with it
    bears = np.minimum.accumulate(at.line_load[::-1])[::-1]
    turns = [int(np.abs(at.closure - one.closure).argmin()) for one in at.openings]
    closure, kept = _thinned(at.closure, bears, turns)
    # closure of first touch bears nothing, whatever rounding says
    pressure = np.concatenate([[0.0], kept[1:]]) / width
    return LoadingCurve(at.temperature, tuple(map(float, closure)), tuple(map(float, pressure)))


def _thinned(closure: FloatArray, load: FloatArray, turns: Sequence[int]) -> tuple[FloatArray, FloatArray]:
    """Return as few rows, those of `turns` among them, as follow a curve to `ROW_ACCURACY` of its greatest load
    (Douglas and Peucker, 1973)."""
    keep = {0, len(closure) - 1, *turns}
    todo = list(pairwise(sorted(keep)))
    while todo:
        a, b = todo.pop()
        if b - a < 2:
            continue
        line = np.interp(closure[a : b + 1], closure[[a, b]], load[[a, b]])
        off = np.abs(load[a : b + 1] - line)
        if off.max() > ROW_ACCURACY * load.max():
            worst = a + int(off.argmax())
            keep.add(worst)
            todo += [(a, worst), (worst, b)]
    places = sorted(keep)
    return closure[places], load[places]


def _off(law: GasketLaw, found: BeadFindings) -> tuple[tuple[float, ...], float]:
    """Return by how much the law is off where gas moves the joint, as `BeadLaw` has it."""
    bead, at = found.bead, found.at[0]
    count, width, stroke = bead.stack.beads, bead.zone_width, bead.path.stroke
    off = []
    for leg in (leg for leg in at.history.legs if leg.kind == "opening"):
        kept = law.set_after(count * float(leg.closures[0]), 0.0, at.temperature)
        moved = leg.closures[0] - leg.closures <= stroke * (1.0 + 1e-9)
        said = np.array([law.pressure(count * float(c), kept, at.temperature) for c in leg.closures[moved]]) * width
        off.append(float(np.abs(said - leg.loads[moved]).max()) / float(leg.loads[0]))
    top, back = count * bead.path.deepest, count * stroke
    kept = law.set_after(top, 0.0, at.temperature)
    lost = law.pressure(top, kept, at.temperature) - law.pressure(top - back, kept, at.temperature)
    return tuple(off), lost * width / (back * at.gas_stiffness) - 1.0


def _stopper_law(bead: Bead) -> GasketLaw | None:
    """Return the law of a stopper as a zone of its own: steel as high as all layers there, from its closure on."""
    if bead.stopper is None:
        return None
    stack = bead.stack
    high = stack.beads * (bead.thickness + bead.stopper.thickness) + stack.flats * stack.flat_thickness
    stiffness, start = bead.steel.E / high, stack.beads * bead.stopper.closure
    rows = (start, start + STOPPER_ROW)
    curve = LoadingCurve(bead.steels[0][0], rows, (0.0, STOPPER_ROW * stiffness))
    return OneStiffnessLaw(f"{bead.name} stopper", (curve,), title=f"stopper of {bead.name}", source=_source(bead))


def _title(bead: Bead) -> str:
    count = bead.stack.beads
    layers = "one layer" if count == 1 else f"{count} beaded layers"
    shape = f"{bead.profile.kind} bead {bead.height:g} mm high in {bead.thickness:g} mm"
    return f"{layers}, {shape}, pressed by finite elements"


def _source(bead: Bead) -> str:
    degrees = " and ".join(f"{one:g}" for one, _ in bead.steels)
    shape = f"{bead.profile.kind} bead {bead.height:g} x {bead.profile.width:g} mm in {bead.thickness:g} mm"
    deepest = bead.stack.beads * bead.path.deepest
    return (
        f"`headjoint bead`: {shape} of {bead.steel.name} at {degrees} degC, closed by up to {deepest:g} mm; steel: "
        f"{bead.steel.source}"
    )


def fragment_text(found: BeadFindings, carried: BeadLaw) -> str:
    """Return the law as TOML that a joint or engine file includes."""
    bead, laws = found.bead, [carried.law, *([] if carried.stopper is None else [carried.stopper])]
    loads = [float(one.line_load.max()) for one in found.at]
    lines = [
        "# A gasket law computed from a bead, written by `headjoint bead`. Name this file in an engine or joint file",
        '# that lies beside it:   include = "law.toml"   and the law in a zone:   law = ' + toml_text(bead.name),
        *(f"# Caution: {one}." for one in carried.cautions),
        "",
        "[computed]",
        f"bead = {toml_text(bead.name)}",
        f"note = {toml_text(bead.note)}",
        f"written_by = {toml_text('headjoint ' + version('headjoint'))}",
        f"temperature = [{', '.join(toml_text(f'{one:g} degC') for one, _ in bead.steels)}]",
        f'deepest_closure = "{bead.stack.beads * bead.path.deepest:.6g} mm"',
        f'greatest_line_load = "{max(loads):.6g} N/mm"',
        f'zone_width = "{bead.zone_width:.6g} mm"  # over which the line load is smeared',
    ]
    for law in laws:
        lines += ["", *_law_lines(law)]
    return "\n".join(lines) + "\n"


def _law_lines(law: GasketLaw) -> list[str]:
    """Return a law as TOML, in digits enough that a stiffness raised to the steepest loading is so when read back."""
    name = toml_text(law.name)
    lines = [f"[gasket.laws.{name}]", f"source = {toml_text(law.source)}"]
    lines += (
        []
        if law.spread is None
        else [f"spread = {law.spread:.10g}  # plus-minus, by tolerances of height and thickness"]
    )
    if isinstance(law, StiffnessByPressureLaw):
        rows = ", ".join(f'["{p:.10g} MPa", "{k:.10g} MPa/mm"]' for p, k in law.unloading)
        lines.append(f"unloading = [{rows}]")
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
