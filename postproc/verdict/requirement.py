"""What a requirement is, and what is judged by it: figures of states at the least, nominal and greatest tightening."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

from headjoint.model.base.figure import Text, factor, force, said
from headjoint.model.formulas.estimate import LARGEST_MARGIN
from headjoint.model.formulas.mesh_error import Relieved, mesh_errors
from headjoint.model.formulas.sealing import Seal, SealNeed
from headjoint.model.joint import Joint
from headjoint.postproc.verdict.model_seen import MEAN_OF_SIDES, ModelSeen

End = Literal["least", "nominal", "greatest"]
LEVELS: tuple[End, ...] = ("least", "nominal", "greatest")


@dataclass(frozen=True)
class StateFigures:
    """What the requirements need of one state; force N, pressures MPa, temperatures degC. None where there is no gas.

    fired : whether gas acts. force : of the fastener that is worst for what its tightening is judged by; assembled :
    its force at assembly, which what is kept is measured by. tension : greatest of any fastener in its smallest
    section, of force and bending. bent : whether bending is in it. seal, need : least along the sealing line, and what
    it needs. sealing_without_gas : least along it at the same temperatures. stroke : its opening under gas, mm.
    separation_judged : whether its factor was searched for. zones : name, greatest pressure and crush limit of each
    gasket zone. bearings : name, pressure and limit of each bearing face.
    """

    name: str
    kind: str
    fastener_temperature: float
    head_temperature: float
    block_temperature: float
    gas_pressure: float
    fired: bool
    force: float
    tension: float
    bent: bool
    assembled: float
    seal: Seal
    need: SealNeed
    sealing_without_gas: float | None
    stroke: float | None
    separation_factor: float | None
    separation_judged: bool
    force_amplitude: float | None
    zones: tuple[tuple[str, float, float | None], ...]
    bearings: tuple[tuple[str, float, float | None], ...]


@dataclass(frozen=True)
class PartHeat:
    """The hottest that a part gets (degC), when (in words), and where its material begins to melt."""

    part: str
    material: str
    when: str
    reached: float
    solidus: float


@dataclass(frozen=True)
class PastYield:
    """The greatest plastic strain of a fastener that was tightened past yield on purpose, and where it necks."""

    strain: float
    uniform: float


@dataclass(frozen=True)
class Tightened:
    """The states of one tightening at its preload (N), assembly first.

    peak : N, the greatest force while tightening, where it is not the preload. past_yield : None within the elastic
    range, where yield is judged.
    """

    name: str
    preload: float
    states: tuple[StateFigures, ...]
    peak: float | None = None
    past_yield: PastYield | None = None


@dataclass(frozen=True)
class ServiceFigures:
    """What the requirements need of a service besides its states.

    strain : greatest plastic strain in the weakest length of a fastener, None where nothing lasts. uniform : strain at
    which it necks. reused : name and plastic strain before every use again. permanent_limit : allowed then. miner :
    Miner sum, None without pressure cycles. fastener : number of the one that it holds for, from 1.
    """

    strain: float | None
    uniform: float
    reused: tuple[tuple[str, float], ...]
    permanent_limit: float
    miner: float | None
    fastener: int


@dataclass(frozen=True)
class NotJudged:
    """A requirement that was not judged, and why. deciding : whether nothing may be called sound without it.

    by_mesh : whether only the mesh is too coarse to tell.
    """

    key: str
    name: str
    why: str
    deciding: bool
    by_mesh: bool = False

    def plain(self) -> dict[str, Any]:
        """Return what documents say of it."""
        return {"key": self.key, "name": self.name, "why": self.why, "deciding": self.deciding}


@dataclass(frozen=True)
class Criterion:
    """One requirement at its worst: a factor that must not fall below `needed`.

    key : of the requirement. value None means more than was searched. where : state and tightening. remedy : what to
    change. mesh_error : by how much the factor may be less, or another state's below it, because elements are not
    small; None where that is not known. in_hand : how often its need is met, less that error; above 1 holds.
    """

    key: str
    name: str
    where: Text
    value: float | None
    needed: float
    detail: Text
    remedy: Text
    in_hand: float
    mesh_error: float | None = None

    @property
    def holds(self) -> bool | None:
        """Whether the requirement is met; None where it is met by less than its mesh error."""
        if plain_factor(self.value) < self.needed:
            return False
        return None if plain_factor(self.at_least) < self.needed else True

    @property
    def at_least(self) -> float | None:
        """Its factor less its mesh error; None for more than was searched."""
        error = self.mesh_error or 0.0
        return None if self.value is None and error == 0.0 else plain_factor(self.value) - error

    @property
    def word(self) -> str:
        """Whether it is met, in a word."""
        return {True: "ok", False: "FAILS", None: "not judged"}[self.holds]

    @property
    def digits(self) -> str:
        """How its factor is written, so that rounding never hides that it falls short."""
        close = self.value is not None and f"{self.value:.2f}" == f"{self.needed:.2f}"
        return ".4f" if close and self.holds is False else ".2f"

    @property
    def too_close(self) -> NotJudged | None:
        """Why the mesh cannot tell whether it is met, None where it can."""
        if self.holds is not None:
            return None
        why = (
            f"mesh too coarse to tell: a factor of {plain_factor(self.value):.5g} with a mesh error of "
            f"{self.mesh_error:.2g} against {self.needed:.5g} needed ({self.where.written()}); give smaller [mesh] "
            "sizes"
        )
        return NotJudged(self.key, self.name, why, deciding=True, by_mesh=True)

    def plain(self) -> dict[str, Any]:
        """Return what documents say of it, sentences in SI."""
        return {
            "key": self.key,
            "name": self.name,
            "where": self.where.written(),
            "value": self.value,
            "needed": self.needed,
            "mesh_error": self.mesh_error,
            "detail": self.detail.written(),
            "remedy": self.remedy.written(),
        }


@dataclass(frozen=True)
class CoarseFigure:
    """A requirement at its worst on a coarse mesh: as it was found there, and less the allowance for such a mesh."""

    found: Criterion
    allowed: Criterion


@dataclass(frozen=True)
class Judged:
    """What is judged: states by tightening, heat of parts, a service; empty where there is none.

    seen : by which model. blind : what it cannot judge besides what no such model can, by key, and why. coarse : what
    the engine says on a coarse mesh, beside one stud of it. unsure : share of a factor that is assumed for its mesh
    error, where the mesh to compare with failed.
    """

    joint: Joint
    seen: ModelSeen
    levels: dict[str, Tightened]
    heat: tuple[PartHeat, ...] = ()
    service: ServiceFigures | None = None
    blind: dict[str, str] = field(default_factory=dict)
    coarse: tuple[CoarseFigure, ...] = ()
    unsure: float = 0.0


@dataclass(frozen=True)
class Candidate:
    """A requirement at one state: its factor, None for more than was searched; where, in detail, what to change.

    relieved : of head-room on gas, pressure on the sealing line under it, and without.
    """

    where: Text
    value: float | None
    detail: Text
    remedy: Text
    relieved: Relieved | None = None


@dataclass(frozen=True)
class Event:
    """What scatter counts when the requirement's factor falls below a physical limit.

    figure : what is compared with `limit`, by the name that outcomes give it; unit of both. axis : that in words, the
    requirement's where it is "".
    """

    name: str
    figure: str
    unit: str
    limit: Callable[[Joint], float]
    axis: str = ""


def plain_factor(value: float | None) -> float:
    """Return a factor as a number, where None stands for more than was searched."""
    return LARGEST_MARGIN if value is None else value


def ratio(value: float, needed: float) -> float:
    """Return how often a factor meets its need."""
    return value / needed if needed > 0.0 else LARGEST_MARGIN


def share_left(value: float, needed: float) -> float:
    """Return how often a share that cannot exceed 1 meets its need: the loss that is allowed over the one there is.

    As a plain ratio it could never show much in hand, and would hide what really limits.
    """
    lost = 1.0 - value
    return LARGEST_MARGIN if lost <= 0.0 else min((1.0 - needed) / lost, LARGEST_MARGIN)


@dataclass(frozen=True)
class Requirement:
    """One requirement: all that is said of it anywhere.

    key : by which code names it; title : by which readers do. end : the tightening that it is judged at. needed : least
    factor of a joint, `source` where that number comes from. candidates : its factor in every state that can be judged.
    why_not : why there is none, "" where the requirement has no meaning. deciding : whether nothing may be called sound
    where the model cannot judge it; unknown_decides : also for what `why_not` says. in_hand : how often a value meets
    its need. colour : in pictures. axis : its factor in words, for an axis. events : what scatter counts. untold,
    untold_solid : share of its factor that its mesh error is at the least, for two meshes hardly tell more: of one
    fastener, and in three dimensions. at_most : of factors that are lower limits, what is said with factor and need
    where they fall short, which proves no failure: it is not judged then; "" where they are none.
    """

    key: str
    title: str
    end: End | None
    needed: Callable[[Joint], float]
    source: str
    candidates: Callable[[Judged], Iterable[Candidate]]
    colour: str
    axis: str
    why_not: Callable[[Judged], str] = lambda judged: ""
    deciding: bool = False
    in_hand: Callable[[float, float], float] = ratio
    events: tuple[Event, ...] = ()
    untold: float = 0.0
    untold_solid: float = 0.0
    at_most: str = ""
    unknown_decides: bool = False

    def judge(self, judged: Judged, coarse: Judged | None = None) -> Criterion | NotJudged | None:
        """Return the requirement at its worst, why it was not judged, or None where it has no meaning.

        coarse : the same joint on a coarser mesh, from which the mesh error follows.
        """
        blind = judged.seen.blind | judged.blind
        if self.key in blind:
            return NotJudged(self.key, self.title, blind[self.key], self.deciding)
        needed = self.needed(judged.joint)
        candidates = list(self.candidates(judged))
        if not candidates:
            why = self.why_not(judged)
            return NotJudged(self.key, self.title, why, self.unknown_decides) if why else None
        if judged.seen.mean_of_sides:
            return NotJudged(self.key, self.title, MEAN_OF_SIDES, deciding=True)
        error = (
            _assumed(candidates, judged)
            if coarse is None
            else self.least_error(factors(candidates), factors(self.candidates(coarse)), solid=judged.seen.solid)
        )
        worst = min((self._criterion(one, needed, error) for one in candidates), key=lambda one: one.in_hand)
        if self.at_most and not worst.holds:
            assert worst.value is not None
            limits = (factor(one).written() for one in (worst.value - (error or 0.0), needed))
            return NotJudged(self.key, self.title, self.at_most.format(*limits), self.deciding)
        return worst

    def least_error(self, fine: Factors, coarse: Factors, *, solid: bool) -> float | None:
        """Return the mesh error of its factors at their least, as `least_error` has it, of a model in 3D or not."""
        return least_error(fine, coarse, untold=self.untold_solid if solid else self.untold, solid=solid)

    def _criterion(self, one: Candidate, needed: float, error: float | None) -> Criterion:
        beyond = one.value is None and not error
        in_hand = LARGEST_MARGIN if beyond else self.in_hand(plain_factor(one.value) - (error or 0.0), needed)
        return Criterion(self.key, self.title, one.where, one.value, needed, one.detail, one.remedy, in_hand, error)


def _assumed(found: Sequence[Candidate], judged: Judged) -> float | None:
    """Return the mesh error that is assumed where the comparison failed, None where there is none to make."""
    return judged.unsure * min(plain_factor(one.value) for one in found) or None


Factors = list[tuple[float, Relieved | None]]  # of a requirement: in each state, of head-room with what the line keeps


def factors(candidates: Iterable[Candidate]) -> Factors:
    """Return factors as numbers, of head-room with what the line keeps."""
    return [(plain_factor(one.value), one.relieved) for one in candidates]


def least_error(
    fine: Factors, coarse: Factors, *, of_factors: bool = True, untold: float = 0.0, solid: bool
) -> float | None:
    """Return by how much the least of some factors, or other figures, may be less for the mesh's sake, whichever it is.

    Where the two meshes went through different states, their worst ones are compared; None where one has none, and
    where the factors are the same on both: beyond what was searched, or not of these meshes.
    """
    if not coarse:
        return None
    if len(fine) != len(coarse):
        fine, coarse = [_least(fine)], [_least(coarse)]
    (ours, relieved), (theirs, coarse_relieved) = zip(*fine, strict=True), zip(*coarse, strict=True)
    errors = mesh_errors(ours, theirs, relieved, coarse_relieved, factors=of_factors, untold=untold, solid=solid)
    return min(ours) - min(one - (error or 0.0) for one, error in zip(ours, errors, strict=True)) or None


def _least(some: Factors) -> tuple[float, Relieved | None]:
    return min(some, key=lambda one: one[0])


def at_state(state: StateFigures, tightened: Tightened) -> Text:
    """Say at which state and preload something is worst."""
    return said("{}, {} preload {}", state.name, tightened.name, force(tightened.preload))


def fixed(value: float) -> Callable[[Joint], float]:
    """Return a need that is the same for every joint."""
    return lambda joint: value
