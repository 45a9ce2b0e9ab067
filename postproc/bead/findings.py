"""What a bead shows, of the whole gasket: its curve, what it keeps after openings, stiffness under gas, life."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from headjoint.cases.bead.history import History, Leg, Opened, pressed
from headjoint.cases.bead.readings import Patch, Strained, end_travel, equivalent, patches, strained
from headjoint.cases.bead.side_by_side import here, side_by_side
from headjoint.cases.bead.start import formed_of
from headjoint.cases.bead.tolerances import Spread, asked_loads, others, spread_of
from headjoint.model.base.arrays import FloatArray
from headjoint.model.bead.bead import Bead
from headjoint.model.bead.life import cycles_to_crack

KEEPS_NOTHING = 0.002  # of the height


@dataclass(frozen=True)
class Opening:
    """The gasket opened wholly. closure, set, lost (crown height) : mm. peak : N/mm. stiffness : over the first small
    stroke, mean : from the peak to the set, N/mm per mm."""

    closure: float
    peak: float
    set: float
    lost: float
    stiffness: float
    mean: float


@dataclass(frozen=True)
class Stamping:
    """What stamping left in a bead let go. dies : height of their profile, mm. stress : greatest equivalent stress that
    is left, MPa. plastic_strain : greatest."""

    dies: float
    stress: float
    plastic_strain: float


@dataclass(frozen=True)
class AtTemperature:
    """All of one temperature (degC).

    closure (mm), line_load (N/mm) : first loading of the gasket. openings : by depth. gas_stiffness : N/mm per mm over
    the small stroke. gas : strains of it. plastic_strain : greatest at the deepest closure. patches : there, of one
    bead. travel : of its inner and outer end, mm.
    """

    temperature: float
    closure: FloatArray
    line_load: FloatArray
    openings: tuple[Opening, ...]
    gas_stiffness: float
    gas: Strained
    plastic_strain: float
    patches: tuple[Patch, ...]
    travel: tuple[float, float]
    history: History = field(repr=False)

    @property
    def stamping(self) -> Stamping | None:
        """What stamping left, None of a bead that starts in its stated shape."""
        start = self.history.start
        if start.dies is None:
            return None
        state = start.state
        return Stamping(start.dies, float(equivalent(state.stress).max()), float(state.metal.equivalent.max()))


@dataclass(frozen=True)
class BeadFindings:
    """All that a bead file came to. life : cycles of the stroke to a crack, None where strength is not known and of a
    solid ring.

    spread : of the load by tolerances, None where none are stated.
    """

    bead: Bead
    at: tuple[AtTemperature, ...]
    life: float | None
    spread: Spread | None


def find(bead: Bead, told: Callable[[str], None], processes: int = 1) -> BeadFindings:
    """Press a bead at all its temperatures and return what it shows, in so many processes.

    Raises SolveError where it finds no equilibrium.
    """
    pressings = len(bead.steels) + others(bead)
    apart = processes > 1 and pressings > 1
    # one pressing alone has its openings done side by side
    with side_by_side(min(processes, pressings if pressings > 1 else len(bead.path.open_from) + 1)) as ask:
        formed = formed_of(bead) if len(bead.steels) > 1 else None
        if apart:
            told(f"bead at {' and '.join(f'{one:g}' for one, _ in bead.steels)} degC")
            histories = [ask(pressed, bead, *at, None, formed) for at in bead.steels]
        else:
            histories = [here(pressed, bead, *at, told, formed, ask) for at in bead.steels]
        loads = asked_loads(bead, ask)
        found = tuple(_at(bead, history()) for history in histories)
        if any(bead.tolerances):
            told("bead off by its tolerances")
        spread = spread_of(bead, [one.peak for one in found[0].openings], loads)
    lives = [
        cycles_to_crack(one.gas.parameter, steel.tensile_strength, steel.E)
        for one, (_, steel) in zip(found, bead.steels, strict=True)
        if steel.tensile_strength is not None and not bead.solid
    ]
    return BeadFindings(bead, found, min(lives, default=None), spread)


def _at(bead: Bead, history: History) -> AtTemperature:
    count = bead.in_series
    closure, load = first_loading(history.legs)
    openings = tuple(
        _opening(leg, opened, count, bead.path.stroke)
        for leg, opened in zip((leg for leg in history.legs if leg.kind == "opening"), history.opened, strict=True)
    )
    opened, closed = history.strokes
    drop = (closed.line_load - opened.line_load) / history.share
    return AtTemperature(
        history.temperature,
        count * closure,
        load,
        openings,
        drop / (count * (closed.closure - opened.closure)),
        strained(history.pressing.sheet.youngs_moduli, opened, closed),
        float(history.deepest.metal.equivalent.max()),
        tuple(patches(history, history.deepest)),
        end_travel(history, history.deepest),
        history,
    )


def first_loading(legs: tuple[Leg, ...]) -> tuple[FloatArray, FloatArray]:
    """Return closures (mm) and loads (N/mm) of a bead on its first loading, from first touch."""
    pieces = [leg for leg in legs if leg.kind == "loading"]
    closures = np.concatenate([[0.0], *(leg.closures[1:] for leg in pieces)])
    loads = np.concatenate([[0.0], *(leg.loads[1:] for leg in pieces)])
    return closures, np.maximum(loads, 0.0)


def _opening(leg: Leg, opened: Opened, count: int, stroke: float) -> Opening:
    back = min(stroke, opened.closure - opened.set)
    left = float(np.interp(opened.closure - back, leg.closures[::-1], leg.loads[::-1]))
    return Opening(
        count * opened.closure,
        opened.peak,
        count * opened.set,
        count * opened.lost,
        (opened.peak - left) / (count * back),
        opened.peak / (count * (opened.closure - opened.set)),
    )
