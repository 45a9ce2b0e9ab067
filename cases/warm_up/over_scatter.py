"""A warm-up over the scatter of tightening, at half the pace, and on doubled elements."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable

from headjoint.cases.models.condensed import pressed
from headjoint.cases.models.from_mesh import COARSE, NO_COARSER, or_why_not
from headjoint.cases.service.steps import FractureError
from headjoint.cases.service.tightened import assembled_and_settled, cold_and_settled
from headjoint.cases.warm_up.instant import WarmUpAtPreload
from headjoint.cases.warm_up.warm_up import WarmUp, nominal_warm_up, warm_up, warmed_up
from headjoint.model.base.errors import SolveError
from headjoint.model.cell import Cell
from headjoint.model.formulas.tightened import Tightened
from headjoint.model.joint import Joint

SLOWER = 2.0  # times the duty's times, to see what patience would change
BEYOND_PEAK = 1.5  # of the time of greatest clamp, how far the slower warm-up is followed


def both_paces(stated: Joint | Cell, stage: Callable[[str], None] = lambda name: None) -> tuple[WarmUp, WarmUp]:
    """Return the warm-up over the scatter of tightening, and the nominal one at half the pace.

    The latter goes as far as its greatest clamp and somewhat beyond.
    """
    warmed = _with_scatter(warm_up(stated, stage), stage)
    stage("the same at half the pace")
    peak = warmed.extreme(lambda one: one.force).time
    slow = warmed.duty.slower(SLOWER)
    followed = dataclasses.replace(slow, duration=min(slow.duration, BEYOND_PEAK * SLOWER * max(peak, 1.0)))
    return warmed, warmed_up(warmed.march.heated, followed, warmed.found, warmed.march.stiffness, stage)


def on_coarse_mesh(stated: Joint | Cell, stage: Callable[[str], None] = lambda name: None) -> tuple[WarmUp | None, str]:
    """Return the warm-up over the scatter of tightening on doubled elements, or why there is none."""
    if isinstance(stated, Cell) and stated.mesh.file is not None:
        return None, NO_COARSER

    def tell(name: str) -> None:
        stage(f"coarse mesh for comparison: {name}")

    return or_why_not(lambda: _with_scatter(nominal_warm_up(stated, tell, COARSE), tell))


def _with_scatter(warmed: WarmUp, stage: Callable[[str], None]) -> WarmUp:
    """Return the warm-up with those at the least and the greatest preload of the tightening beside it."""
    levels = warmed.found.over(warmed.joint.tightening)

    def at(name: str) -> WarmUpAtPreload:
        if levels[name].preload == warmed.found.preload:
            return dataclasses.replace(warmed.nominal, head_room=warmed.march.head_room(warmed.checkpoints))
        stage(f"the same at the {name} preload")
        try:
            return _at_preload(warmed, levels[name], head_room=name == "least")
        except (FractureError, SolveError) as error:
            raise SolveError(f"at the {name} preload, {levels[name].preload / 1e3:.1f} kN: {error}") from None

    return dataclasses.replace(warmed, least=at("least"), greatest=at("greatest"))


def _at_preload(warmed: WarmUp, found: Tightened, *, head_room: bool) -> WarmUpAtPreload:
    """Return the clamp of another preload at the temperatures and instants of a warm-up.

    head_room : whether the factor on gas that still seals is searched for.
    """
    march = warmed.march.strengthened(found)
    model = march.heated.model
    (on, tight), chain = assembled_and_settled(model, found), cold_and_settled(march.chain, found)
    followed = [march.advanced(tight, chain, 0.0, 0.0, warmed.checkpoints[0].temperature)]
    for nominal in warmed.checkpoints[1:]:
        followed.append(march.after(followed[-1], nominal.instant.time, nominal.temperature))
    room = march.head_room(followed) if head_room else None
    instants = tuple(one.instant for one in followed)
    return WarmUpAtPreload(found, model.mean(tight.force), pressed(model.reduced, on.equilibrium), instants, room)
