"""What to change first where a joint does not hold, in one sentence.

Every requirement is known at the least, the nominal and the greatest tightening, and so how it goes with the preload:
along straight lines between and beyond them what is judged at the least tightening, and the inverse of what is judged
at the greatest, for stresses are straight lines of the preload. What lies beyond the three is said to be "about".

The first of these that mends all that fails, without another requirement failing for it, is what to change first:

1. how tight, where that is more, or not much less: it costs nothing;
2. the washer, where bearing pressure alone stands in the way, and how tight;
3. the fastener's strength, or its size, where its yield alone does, and how tight;
4. how tight, however much less;
5. the gas, as far as head-room and stroke allow, where that is not another engine, and how tight;
6. what the requirement that fails worst says of itself.

Where how tight alone would mend the worst but break another, that is said, too.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from headjoint.model.base.arrays import FloatArray
from headjoint.model.base.figure import Figure, Text, force, plain_text, pressure, said
from headjoint.model.formulas.strength import WASHER_SPREAD
from headjoint.model.joint import Joint, bearing_ring, washer_ring
from headjoint.model.library import property_classes, threads
from headjoint.postproc.verdict.fastener import FATIGUE, YIELD
from headjoint.postproc.verdict.parts import BEARING
from headjoint.postproc.verdict.requirement import LEVELS, Criterion, Judged, Requirement, Tightened
from headjoint.postproc.verdict.sealing import LINE_LOAD, SEALING, SEPARATION, STROKE

# how far an advice goes beyond what just holds: judgement, no source
TIGHTER = np.geomspace(0.3, 4.0, 1037)  # of the preload: tried, a quarter of a per cent apart
LEAST_LOOSENED = 0.7  # of the preload: below, it gives away more than another washer or fastener would cost
LEAST_GAS = 0.25  # of the gas: below, it is another engine
RESERVE = 1.01  # beyond what just mends it
LARGER = 1.05  # of the stress area, for a stiffer fastener takes more of heat and gas
BY_GAS = (SEALING.key, LINE_LOAD.key, SEPARATION.key, STROKE.key, FATIGUE.key)
# up to its factor on gas a line presses as hard as it must
IN_SEPARATION = (SEALING.key, LINE_LOAD.key)
ON_HEAD = "washer on head"
AND_THEN = "then every requirement that is judged holds"


@dataclass(frozen=True)
class Curve:
    """How often a requirement meets its need over the preload (N), rising, and at which end it is judged.

    rough : known at one preload alone, and taken to be in proportion.
    """

    greatest: bool
    preloads: FloatArray
    in_hand: FloatArray
    rough: bool = False

    def at(self, preloads: FloatArray) -> FloatArray:
        """Return the same at other preloads (N)."""
        if self.greatest:
            return 1.0 / np.maximum(_straight(preloads, self.preloads, 1.0 / self.in_hand), 1e-9)
        return np.maximum(_straight(preloads, self.preloads, self.in_hand), 0.0)


def _straight(x: FloatArray, known: FloatArray, values: FloatArray) -> FloatArray:
    """Return what goes along straight lines between known places, the outer ones carried on."""
    rise = np.diff(values) / np.diff(known)
    found = np.interp(x, known, values)
    return found + np.minimum(x - known[0], 0.0) * rise[0] + np.maximum(x - known[-1], 0.0) * rise[-1]


def change_first(judged: Judged, table: Iterable[Requirement], criteria: Sequence[Criterion]) -> Text | None:
    """Return what to change first, None where all that is judged holds."""
    failing = [one for one in criteria if one.holds is False]
    if not failing:
        return None
    worst = min(failing, key=lambda one: one.in_hand)
    tried = _Tried(judged, {one.key: one for one in table}, tuple(failing))
    for lever in (tried.somewhat_tighter, tried.washer, tried.stronger, tried.tighter, tried.less_gas):
        found = lever()
        if found is not None:
            return found
    return said("{}: {}{}", worst.name, worst.remedy, tried.clash())


@dataclass(frozen=True)
class _Tried:
    judged: Judged
    table: Mapping[str, Requirement]
    failing: tuple[Criterion, ...]

    @property
    def joint(self) -> Joint:
        return self.judged.joint

    @cached_property
    def curves(self) -> dict[str, Curve]:
        """The curve of every requirement that is judged at an end of the scatter; none without scatter."""
        levels = sorted(self.judged.levels.values(), key=lambda one: one.preload)
        if levels[-1].preload < 1.001 * levels[0].preload or any(one.past_yield is not None for one in levels):
            return {}
        found = {key: _curve(self.judged, one, levels) for key, one in self.table.items()}
        return {key: one for key, one in found.items() if one is not None and not self._implied(key, found)}

    def _implied(self, key: str, found: Mapping[str, Curve | None]) -> bool:
        """Whether head-room on gas says all of a requirement."""
        separation = found.get(SEPARATION.key)
        return key in IN_SEPARATION and separation is not None and not separation.rough

    def own(self, curve: Curve) -> float:
        """Return the preload (N) at which the requirement of a curve is judged."""
        return self.judged.levels["greatest" if curve.greatest else "least"].preload

    def nearest(self, without: Sequence[str] = ()) -> float | None:
        """Return the share of the preload nearest to 1, with some reserve, at which all that is known holds.

        without : requirements that are left out. None where there is none, or what fails does not go by the preload.
        """
        implied = IN_SEPARATION if SEPARATION.key in self.curves else ()
        if any(one.key not in (*self.curves, *implied, *without) for one in self.failing):
            return None
        good = np.ones(len(TIGHTER), dtype=bool)
        for key, curve in self.curves.items():
            if key not in without:
                good &= curve.at(TIGHTER * self.own(curve)) >= 1.0
        shares = TIGHTER[good]
        if not self.curves or not len(shares):
            return None
        nearest = min(shares, key=lambda one: abs(math.log(one)))
        if abs(math.log(nearest)) < RESERVE - 1.0:
            nearest = 1.0 if 1.0 in np.round(shares, 2) else nearest
        wanted = nearest * (RESERVE if nearest > 1.0 else 1.0 if nearest == 1.0 else 1.0 / RESERVE)
        return float(min(shares, key=lambda one: abs(math.log(one / wanted))))

    def somewhat_tighter(self) -> Text | None:
        """Return the same, where it is more, or not much less."""
        share = self.nearest()
        return None if share is None or share < LEAST_LOOSENED else self.tighter()

    def tighter(self) -> Text | None:
        """Return how tight it must be, where that alone mends all."""
        share = self.nearest()
        return None if share is None else said(f"{{}}: {AND_THEN}", self.how_tight(share))

    def how_tight(self, share: float) -> Text:
        """Say how tight a share of the preload is, by what the tool is set to where that is in proportion."""
        tight, levels = self.joint.tightening, self.judged.levels
        nominal = levels["nominal"].preload
        stated = tight.preload is not None and math.isclose(tight.preload, nominal, rel_tol=1e-3)
        if stated and tight.torque is not None:
            of, (before, after) = "torque", (Figure(x * tight.torque / 1e3, "N.m", ".1f") for x in (1.0, share))
        else:
            of, before, after = "nominal preload", force(nominal), force(share * nominal)
        spread = levels["greatest"].preload / levels["least"].preload
        rough = any(one.key in self.curves and self.curves[one.key].rough for one in self.failing)
        about = "about " if rough or not 1.0 / spread <= share <= spread else ""
        return said(f"{'more' if share > 1.0 else 'less'} {of}, {about}{{}} in place of {{}}", after, before)

    def with_tightness(self, what: Text, share: float) -> Text:
        """Return a change with the tightness that it needs."""
        if math.isclose(share, 1.0, rel_tol=5e-3):
            return said(f"{{}}: {AND_THEN}", what)
        return said(f"{{}}, and {{}}: {AND_THEN}", what, self.how_tight(share))

    def washer(self) -> Text | None:
        """Return the washer, where bearing pressure alone stands in the way."""
        washer, share, faces = self.joint.washer, self.nearest([BEARING.key]), self._faces()
        if washer is None or share is None or share < LEAST_LOOSENED or ON_HEAD not in faces:
            return None
        if any(share * lack > 1.0 for face, lack in faces.items() if face != ON_HEAD):
            return None
        inner, edge = washer_ring(self.joint)
        _, seat = bearing_ring(self.joint)
        bearing = min(edge, seat + WASHER_SPREAD * washer.thickness)
        # the loaded ring must grow as the pressure shall fall
        wanted = math.sqrt(inner**2 + RESERVE * max(share, 1.0) * faces[ON_HEAD] * (bearing**2 - inner**2))
        if wanted > self.joint.head.outer_diameter:
            return None
        thickness = Figure(max((wanted - seat) / WASHER_SPREAD, washer.thickness), "mm")
        size = said("{} thick in place of {}", thickness, Figure(washer.thickness, "mm"))
        if wanted > edge:
            size = said("{} wide and {} thick", Figure(wanted, "mm"), thickness)
        return self.with_tightness(said("a washer {}", size), share)

    def _faces(self) -> dict[str, float]:
        """Return by how much every bearing face whose limit is known falls short at worst; above 1 where it does."""
        needed = self.joint.requirements.bearing_factor
        worst: dict[str, float] = {}
        for state in self.judged.levels["greatest"].states:
            for face, found, limit in state.bearings:
                if limit is not None:
                    worst[face] = max(worst.get(face, 0.0), needed * found / limit)
        return worst

    def stronger(self) -> Text | None:
        """Return the fastener's strength or size, where its yield alone stands in the way."""
        share, table = self.nearest([YIELD.key]), self.joint.fastener.yield_strength
        curve = self.curves.get(YIELD.key)
        if share is None or share < LEAST_LOOSENED or table is None or curve is None:
            return None
        short = 1.0 / float(curve.at(np.array([share * self.own(curve)]))[0])
        own, thread = table.at(20.0), self.joint.fastener.thread
        wanted = RESERVE * short * own
        strong = [one for one in property_classes.library().values() if one.yield_strength.at(20.0) >= wanted]
        if strong:
            weakest = min(strong, key=lambda one: one.yield_strength.at(20.0))
            strengths = pressure(wanted, ".0f"), pressure(own, ".0f")
            words = "a stronger fastener, yield strength {} in place of {} (property class {} has it)"
            return self.with_tightness(said(words, *strengths, weakest.name), share)
        area = LARGER * short * thread.stress_area
        thick = [one for one in threads.library().values() if one.series == thread.series and one.stress_area >= area]
        if not thick:
            return None
        larger = min(thick, key=lambda one: one.stress_area)
        words = "a larger fastener, {} in place of {}, at the same preload"
        if math.isclose(share, 1.0, rel_tol=5e-3):
            return said(f"{words}: {AND_THEN}", larger.designation, thread.designation)
        after, before = (force(x * self.judged.levels["nominal"].preload) for x in (share, 1.0))
        words = "a larger fastener, {} in place of {}, at a nominal preload of {} in place of {}"
        return said(f"{words}: {AND_THEN}", larger.designation, thread.designation, after, before)

    def less_gas(self) -> Text | None:
        """Return the gas pressure that all that fails allows, with the tightness that all else needs."""
        share = self.nearest(BY_GAS)
        fired = [state for state in self.judged.levels["least"].states if state.gas_pressure > 0.0]
        if share is None or not fired:
            return None
        allowed = []
        told = [key for key in BY_GAS if key in self.curves and key not in IN_SEPARATION]
        if SEPARATION.key not in told and any(one.key in IN_SEPARATION for one in self.failing):
            return None  # what a line needs does not fall in proportion to gas; only head-room tells
        for key in told:
            curve = self.curves[key]
            hand = float(curve.at(np.array([share * self.own(curve)]))[0])
            # below a need of 1 what seals the stated gas counts
            needed = min(self.joint.requirements.separation_factor, 1.0) if key == SEPARATION.key else 1.0
            allowed.append(hand * needed)
        gas_share = min(allowed, default=0.0) / RESERVE
        if gas_share < LEAST_GAS:
            return None
        gas = max(state.gas_pressure for state in fired)
        words = "less gas pressure (boost, ignition, compression), at most {} in place of {}"
        what = said(words, Figure(10.0 * gas_share * gas, "bar", ".0f"), Figure(10.0 * gas, "bar", ".0f"))
        return said("{}{}", self.with_tightness(what, share), self.clash())

    def clash(self) -> Text:
        """Say what would fail if only the tightness were changed until the worst held."""
        worst = min(self.failing, key=lambda one: one.in_hand)
        key = SEPARATION.key if worst.key in IN_SEPARATION and worst.key not in self.curves else worst.key
        if key not in self.curves:
            return plain_text("")
        curve = self.curves[key]
        mends = TIGHTER[curve.at(TIGHTER * self.own(curve)) >= 1.0]
        if not len(mends):
            return plain_text("")
        share = float(min(mends, key=lambda one: abs(math.log(one))))
        broken = [
            self.table[key].title
            for key, one in self.curves.items()
            if one.at(np.array([share * self.own(one)]))[0] < 1.0 - 1e-9
        ]
        if not broken:
            return plain_text("")
        return said("; by {} alone, {} would fail", self.how_tight(share), " and ".join(broken))


def _curve(judged: Judged, one: Requirement, levels: Sequence[Tightened]) -> Curve | None:
    if one.end not in ("least", "greatest"):
        return None
    known = []
    for level in levels:
        found = one.judge(dataclasses.replace(judged, levels=dict.fromkeys(LEVELS, level)))
        if isinstance(found, Criterion):
            known.append((level.preload, found.in_hand))
    if not known or (len(known) == 1 and one.key != SEPARATION.key):
        return None
    rough = len(known) == 1
    preloads, in_hand = np.array(([(0.0, 0.0)] if rough else []) + known).T
    return Curve(one.end == "greatest", preloads, in_hand, rough)
