"""Tightening by every method, step by step along the torque-angle curve, and turning on, letting go, replacing."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from headjoint.cases.service.fastener_law import turned
from headjoint.cases.service.memory import Memory, fresh
from headjoint.cases.service.model import ServiceModel
from headjoint.cases.service.steps import Reached, settle
from headjoint.model.base.arrays import FloatArray
from headjoint.model.base.errors import InputError
from headjoint.model.base.roots import rising_root
from headjoint.model.formulas.turning import Arms, breakaway_torque, torsion_left, travel_of, turning_arms
from headjoint.model.service import Change, Retorque, Tighten

FORCE_STEPS = 6  # along the way to a torque
ANGLE_STEP = math.radians(10.0)
GRADIENT_STEP = math.radians(2.0)
NEW_STRAIN = 1e-4  # plastic strain in a tightening from which the creep of a length starts anew
LARGEST_ANGLE = 4.0 * math.pi  # yield control that has not ended by then is given up


@dataclass(frozen=True)
class Turning:
    """A torque-angle curve: angle (rad, from first touch), wrench torque (N.mm) and force (N), means of all fasteners.

    reached : (f,) N, the force of each at its end. moved : False where a retorque did not break the nut away. stretch :
    mm that the fastener is longer than before.
    """

    angle: FloatArray = field(repr=False)
    torque: FloatArray = field(repr=False)
    force: FloatArray = field(repr=False)
    reached: FloatArray = field(repr=False)
    moved: bool = True
    stretch: float = 0.0


@dataclass(frozen=True)
class CurveReading:
    """A torque-angle curve as a fitter reads it; angles rad, forces N, slopes N/rad.

    snug : angle and force from which the slope is within a tenth of its steepest. slope : the steepest. yield_angle,
    yield_force : where it has fallen to half of that, None where it has not. slope_after : at the end, beyond yield.
    """

    snug_angle: float
    snug_force: float
    slope: float
    yield_angle: float | None
    yield_force: float | None
    slope_after: float | None


def read_curve(turning: Turning) -> CurveReading | None:
    """Return snug point, elastic slope and yield point of a torque-angle curve; None where it hardly turned."""
    angle, force = turning.angle, turning.force
    if len(angle) < 4 or not turning.moved or angle[-1] - angle[0] < 1e-6:
        return None
    slope = np.diff(force) / np.maximum(np.diff(angle), 1e-9)
    steepest = float(slope.max())
    snug = int(np.argmax(slope > 0.9 * steepest))
    after = np.flatnonzero(slope[int(slope.argmax()) :] < 0.5 * steepest)
    if not after.size:
        return CurveReading(float(angle[snug]), float(force[snug]), steepest, None, None, None)
    at = int(slope.argmax()) + int(after[0])
    return CurveReading(
        float(angle[snug]), float(force[snug]), steepest, float(angle[at]), float(force[at]), float(slope[-1])
    )


class _Curve:
    """A tightening under way, the state it has come to and the curve so far; `arms` are None where nothing turns."""

    def __init__(self, model: ServiceModel, arms: Arms | None, name: str, begun: Reached) -> None:
        self.model, self.arms, self.name = model, arms, name
        self.case = model.joint.load_cases[0]
        self.points: list[tuple[float, float, float]] = []
        # angles count from where the parts touch
        self._zero = begun.memory.travel
        self.add(begun)

    @property
    def arm(self) -> float:
        """Torsion of the shank over its force, mm."""
        return self.arms.shank if self.arms is not None else 0.0

    def add(self, reached: Reached) -> None:
        force = self.model.mean(reached.force)
        turn = float((reached.memory.travel - self._zero).mean())
        per_turn = travel_of(self.model.joint, 2.0 * math.pi)
        torque = force * self.arms.wrench if self.arms is not None else 0.0
        self.points.append((turn / per_turn * 2.0 * math.pi, torque, force))
        self.reached = reached

    def done(self, moved: bool, stretch: float) -> Turning:
        angle, torque, force = np.array(self.points).T
        return Turning(angle, torque, force, self.reached.force, moved, stretch)


def tighten(model: ServiceModel, memory: Memory, step: Tighten) -> tuple[Reached, Turning]:
    """Return the joint tightened as `step` says and the wrench let go, with its torque-angle curve.

    Raises SolveError and FractureError like `service_steps.settle`.
    """
    reached, turning = tightened_on(model, memory, step)
    return let_go(model, reached, arms_of(model, step), step.name), turning


def arms_of(model: ServiceModel, step: Tighten) -> Arms | None:
    """Return torque over force while a step turns nut or bolt head; None where it does not."""
    return turning_arms(model.joint, step.thread_friction, step.bearing_friction) if step.turned else None


def tightened_on(model: ServiceModel, memory: Memory, step: Tighten) -> tuple[Reached, Turning]:
    """Return the joint tightened as `step` says, the wrench still on, with its torque-angle curve.

    Raises SolveError and FractureError like `service_steps.settle`.
    """
    case = model.joint.load_cases[0]
    if step.again:
        memory = loosen(model, memory, step.name).memory
    memory = _about_to_tighten(model, memory)
    arms = arms_of(model, step)
    before = model.law.permanent(memory.strains)
    plastic_before = memory.plastic
    touching = settle(model, memory, case, force=np.zeros(model.fasteners), name=step.name)
    curve = _Curve(model, arms, step.name, touching)
    if step.forces is not None:
        _leave_with(curve, np.array(step.forces), step.pull)
    elif step.stretch is not None:
        assert arms is not None
        _to_force(curve, _force_at_stretch(model, touching.memory, step.stretch, arms))
    elif step.pull is not None:
        _pull(curve, step.pull)
    elif step.preload is not None:
        _to_force(curve, step.preload)
    else:
        assert arms is not None
        if step.snug is not None:
            _to_force(curve, step.snug)
        for torque in step.torques:
            _to_force(curve, torque / arms.wrench)
        for angle in step.angles:
            _by_angle(curve, angle)
        if step.gradient is not None:
            _to_gradient(curve, step.gradient)
    reached = curve.reached
    stretch = float(np.mean(stretched(model, reached) - before))
    return dataclasses.replace(reached, memory=_yielded_anew(reached.memory, plastic_before)), curve.done(True, stretch)


def _leave_with(curve: _Curve, forces: FloatArray, pull: float | None) -> None:
    """Leave every fastener with its own of `forces` (f,) N, a tensioner's `pull` (N) before.

    The gasket remembers the pull.
    """
    if pull is None:
        _to_force(curve, forces)
        return
    _to_force(curve, pull)
    curve.add(settle(curve.model, curve.reached.memory, curve.case, force=forces, name=curve.name))


def _about_to_tighten(model: ServiceModel, memory: Memory) -> Memory:
    """Return the memory from which embedding and creep count anew."""
    return dataclasses.replace(
        memory,
        embedded_before=memory.embedded,
        embedding_due=_embedding_due(model, memory),
        embedding_share=np.zeros(1),
        creep_before=memory.creep,
        clock=np.zeros(1),
    )


def _yielded_anew(memory: Memory, plastic_before: FloatArray) -> Memory:
    """Return the memory with creep starting anew in lengths that a tightening has yielded further."""
    anew = memory.plastic > plastic_before + NEW_STRAIN
    return dataclasses.replace(memory, creep_base=np.where(anew, memory.creep, memory.creep_base))


def stretched(model: ServiceModel, reached: Reached) -> FloatArray:
    """Return how much longer (f,) mm the fasteners' free lengths are than new and unloaded, as a micrometer reads."""
    law = model.law
    return reached.force * float(law.lengths.elastic.sum()) + law.permanent(reached.memory.strains)


def let_go(
    model: ServiceModel, reached: Reached, arms: Arms | None, name: str, moved: NDArray[np.bool_] | None = None
) -> Reached:
    """Return the state once the wrench is off: torsion springs back in part, the first embedding comes.

    moved : (f,) fasteners that were turned, all of them by default.
    """
    memory = reached.memory
    left = np.zeros(model.fasteners)
    if arms is not None:
        left = np.array([torsion_left(model.joint, arms, float(force)) for force in reached.force])
    if moved is not None:
        left = np.where(moved, left, memory.torsion)
    share = np.maximum(memory.embedding_share, model.joint.ageing.embedding_first)
    memory = dataclasses.replace(
        memory,
        torsion=left,
        embedding_share=share,
        embedded=memory.embedded_before + share * memory.embedding_due,
    )
    return settle(model, memory, model.joint.load_cases[0], name=name)


def _embedding_due(model: ServiceModel, memory: Memory) -> FloatArray:
    """Return the embedding (f,) mm to come: all of it in new faces, a share where they were loaded before."""
    whole = model.joint.tightening.embedding
    return np.maximum(
        whole - memory.embedded, np.where(memory.embedded > 0.0, model.joint.ageing.embedding_again * whole, 0.0)
    )


def _to_force(curve: _Curve, force: float | FloatArray) -> None:
    """Turn, or pull, every fastener to `force` (N, or each its own) in steps."""
    start = curve.reached.force
    for number in range(1, FORCE_STEPS + 1):
        # fasteners that carry more already are left alone
        wanted = np.maximum(start + (force - start) * number / FORCE_STEPS, start)
        curve.add(settle(curve.model, curve.reached.memory, curve.case, force=wanted, arm=curve.arm, name=curve.name))


def _by_angle(curve: _Curve, angle: float) -> None:
    """Turn every nut by `angle` (rad), in steps."""
    steps = max(1, math.ceil(angle / ANGLE_STEP))
    for _ in range(steps):
        _turn(curve, np.full(curve.model.fasteners, angle / steps))


def _turn(curve: _Curve, angle: FloatArray) -> None:
    """Turn the nuts by `angle` (f,) rad at once."""
    memory = curve.reached.memory
    memory = dataclasses.replace(memory, travel=memory.travel + travel_of(curve.model.joint, 1.0) * angle)
    curve.add(settle(curve.model, memory, curve.case, arm=curve.arm, name=curve.name))


def _to_gradient(curve: _Curve, share: float) -> None:
    """Turn each fastener on until its torque-angle slope has fallen to `share` of its steepest.

    Raises InputError where it has not within `LARGEST_ANGLE`.
    """
    turning = np.ones(curve.model.fasteners, dtype=bool)
    steepest = np.zeros(curve.model.fasteners)
    turned = 0.0
    while turning.any():
        if turned >= LARGEST_ANGLE:
            raise InputError(
                f"yield control has not ended after {LARGEST_ANGLE / (2.0 * math.pi):g} turns: the slope of torque "
                "over angle has not fallen that far; a greater yield_slope, or a shorter fastener",
                field="tightening.yield_slope",
                value=share,
            )
        before = curve.reached.force
        _turn(curve, GRADIENT_STEP * turning)
        slope = (curve.reached.force - before) / GRADIENT_STEP
        steepest = np.where(turning, np.maximum(steepest, slope), steepest)
        turning &= slope > share * steepest
        turned += GRADIENT_STEP


def _pull(curve: _Curve, pull: float) -> None:
    """Pull with a tensioner's `pull` (N), run the nut down and let go.

    While it pulls, the nut's thread carries nothing; when it lets go, the nut's teeth take the load and give, and the
    nut sinks in by `seating`: the elastic loss.
    """
    _to_force(curve, pull)
    joint, memory = curve.model.joint, curve.reached.memory
    lost = joint.fastener.nut_compliance * pull + joint.ageing.seating
    memory = dataclasses.replace(memory, travel=memory.travel - lost)
    curve.add(settle(curve.model, memory, curve.case, name=curve.name))


def _force_at_stretch(model: ServiceModel, memory: Memory, stretch: float, arms: Arms) -> float:
    """Return the force (N) at which the first fastener, turned, is `stretch` (mm) longer than it is now, unloaded."""
    law, temperature = model.law, model.joint.assembly_temperature
    twist = turned(arms.shank, model.fasteners)
    before = float(law.permanent(memory.strains)[0])

    def longer(force: float) -> float:
        strains = law.yielded(np.full(model.fasteners, force), memory.strains, twist, temperature)
        return force * float(law.lengths.elastic.sum()) + float(law.permanent(strains)[0]) - before - stretch

    return rising_root(longer, 0.0, stretch / float(law.lengths.elastic.sum()), 1e-9)


def retorque(model: ServiceModel, reached: Reached, step: Retorque) -> tuple[Reached, Turning]:
    """Return the joint after its nuts were turned on; a torque below breakaway moves nothing."""
    case = model.joint.load_cases[0]
    arms = turning_arms(model.joint, step.thread_friction, step.bearing_friction)
    plastic_before, moves = reached.memory.plastic, np.ones(model.fasteners, dtype=bool)
    # at room temperature, whatever the joint did before
    curve = _Curve(model, arms, step.name, settle(model, reached.memory, case, name=step.name))
    before = float(np.mean(stretched(model, curve.reached)))
    if step.angle is not None:
        _by_angle(curve, step.angle)
    else:
        assert step.torque is not None
        start = curve.reached.force
        needed = [
            breakaway_torque(model.joint, step.thread_friction, step.bearing_friction, float(force)) for force in start
        ]
        moves = np.array(needed) < step.torque
        if not moves.any():
            return curve.reached, curve.done(False, 0.0)
        force = step.torque / arms.wrench
        for number in range(1, FORCE_STEPS + 1):
            # nuts that stick stay where they are, and feel what the others do
            goal = np.where(moves, np.maximum(start, start + (force - start) * number / FORCE_STEPS), np.nan)
            curve.add(settle(model, curve.reached.memory, case, force=goal, arm=arms.shank, name=step.name))
    reached = curve.reached
    stretch = float(np.mean(stretched(model, reached))) - before
    memory = _yielded_anew(reached.memory, plastic_before)
    memory = dataclasses.replace(memory, creep_before=np.where(moves[:, None], memory.creep, memory.creep_before))
    return let_go(model, Reached(memory, reached.equilibrium), arms, step.name, moves), curve.done(True, stretch)


def loosen(model: ServiceModel, memory: Memory, name: str) -> Reached:
    """Return the joint with every fastener let go."""
    memory = dataclasses.replace(memory, torsion=np.zeros(model.fasteners))
    case = model.joint.load_cases[0]
    return settle(model, memory, case, force=np.zeros(model.fasteners), name=name)


def change(model: ServiceModel, memory: Memory, step: Change) -> Reached:
    """Return the joint after something was done to it at no load."""
    new = fresh(model)
    if step.kind == "replace gasket":
        memory = dataclasses.replace(memory, permanent_set=new.permanent_set, crept=new.crept, q=new.q)
    elif step.kind == "new fastener":
        names = (
            "travel",
            "plastic",
            "axial",
            "creep",
            "creep_before",
            "creep_base",
            "torsion",
            "embedded",
            "embedded_before",
            "q",
        )
        memory = dataclasses.replace(memory, **{name: getattr(new, name) for name in names})
    return loosen(model, memory, step.name)
