"""Operating points: temperatures of the parts that the page sets together, those of a warm-up by the heat model too."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any

from headjoint.cases.warm_up.instant import Instant
from headjoint.cases.warm_up.warm_up import WarmUp
from headjoint.model.base.figure import shown
from headjoint.model.joint import Joint
from headjoint.postproc.live.controls import Control
from headjoint.postproc.warm_up.findings import time_text

PARTS = ("head", "fastener", "block")
PATH = "load_cases.temperatures."
Point = tuple[str, dict[str, float]]  # its name, and degC by part
NOTHING_BURNS = -math.inf
WORST: dict[str, Callable[[Instant], float]] = {
    "head hottest": lambda one: one.temperatures["head mean"],
    "greatest clamp": lambda one: one.force,
    "sealing line pressed least under gas": lambda one: (
        NOTHING_BURNS if one.fired_sealing is None else -one.fired_sealing
    ),
    "head furthest before the stud": lambda one: one.temperatures["head mean"] - one.temperatures["fastener mean"],
    "head furthest behind the stud": lambda one: one.temperatures["fastener mean"] - one.temperatures["head mean"],
}


def cold_start(joint: Joint) -> Point:
    """Return the point at which nothing has warmed up yet and gas presses already."""
    return "cold start", dict.fromkeys(PARTS, joint.assembly_temperature)


def warm_up_points(warmed: WarmUp) -> list[Point]:
    """Return the instants of a warm-up at which something is at its worst; temperatures are means of the parts."""
    found: dict[float, Point] = {}
    for words, value in WORST.items():
        instant = warmed.extreme(value)
        if value(instant) == NOTHING_BURNS:
            continue
        name = f"warm-up, {time_text(instant.time)}: {words}"
        found.setdefault(instant.time, (name, {part: instant.temperatures[f"{part} mean"] for part in PARTS}))
    return [one for _, one in sorted(found.items())]


def plain_points(points: list[Point], controls: Mapping[str, Control], units: str) -> list[dict[str, Any]]:
    """Return points as the page sets them: values by path, in the reader's unit.

    Left out is a point that the controls cannot set whole: it would go by the name of temperatures that it has not.
    """
    found = []
    for name, parts in points:
        values = {PATH + part: round(shown(value, "degC", units)[0], 1) for part, value in parts.items()}
        if all(one in controls and controls[one].low <= value <= controls[one].high for one, value in values.items()):
            found.append({"name": name, "values": values})
    return found
