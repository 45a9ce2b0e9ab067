"""What the live page lets a reader move: quantities of an engine file, with their range and unit."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass, replace
from typing import Any

from headjoint.model.base.errors import InputError
from headjoint.model.base.figure import shown
from headjoint.model.base.units import convert
from headjoint.model.cell import Bank, Cell
from headjoint.model.gasket import shipped_laws
from headjoint.model.joint import Joint
from headjoint.model.library import property_classes
from headjoint.model.library import threads as thread_library
from headjoint.model.reading.joint_reading import IN_RANGE
from headjoint.model.reading.overrides import BOOST, SIZE, Content, Value, dimension, number, stated
from headjoint.postproc.designs.axes import TABLE_UNITS

ALL, FIRED = "all", "layout.fired"
STEPS = 200  # of a slider over its range


@dataclass(frozen=True)
class Control:
    """One quantity to move. path : of the file. unit : in which `value`, `low` and `high` are, "" for a bare number.

    choices : of a name, empty for a quantity. condenses : whether another value needs the joint meshed and condensed
    again. replaces : path of what this one takes the place of when it is moved. seen : whether the model that is shown
    changes with it.
    """

    path: str
    label: str
    group: str
    value: float | str
    unit: str = ""
    low: float = 0.0
    high: float = 0.0
    step: float = 0.0
    choices: tuple[str, ...] = ()
    condenses: bool = False
    replaces: str = ""
    seen: bool = True

    def plain(self) -> dict[str, Any]:
        """Return what the page is told."""
        return asdict(self)


@dataclass(frozen=True)
class _Wanted:
    """A quantity that files may state. low, high : of its stated value, or as they are where `absolute`."""

    path: str
    label: str
    group: str
    low: float
    high: float
    absolute: bool = False
    condenses: bool = False
    default: Callable[[Joint], float] | None = None
    replaces: str = ""


TIGHTENING, GAS, HEAT, GASKET, FASTENER, SHAPE = "Tightening", "Gas", "Heat", "Gasket", "Fastener", "Shape"
ORDER = (TIGHTENING, FASTENER, GAS, GASKET, HEAT, SHAPE)  # on the page: what takes a minute comes last
WANTED = (
    _Wanted("tightening.torque", "torque", TIGHTENING, 0.4, 1.5),
    _Wanted("tightening.angle", "angle", TIGHTENING, 0.2, 1.6),
    _Wanted("tightening.stretch", "stretch", TIGHTENING, 0.4, 1.5),
    _Wanted("tightening.pull", "pull of the tensioner", TIGHTENING, 0.4, 1.5),
    _Wanted("tightening.preload", "preload", TIGHTENING, 0.4, 1.5),
    _Wanted("tightening.thread_friction", "friction in the thread", TIGHTENING, 0.05, 0.3, True, False,
            lambda joint: joint.tightening.thread_friction),
    _Wanted("tightening.bearing_friction", "friction under the nut", TIGHTENING, 0.05, 0.3, True, False,
            lambda joint: joint.tightening.bearing_friction),
    _Wanted("tightening.scatter", "greatest over least preload", TIGHTENING, 1.0, 2.5, True, False,
            lambda joint: joint.tightening.tightening_factor),
    _Wanted(BOOST, "boost", GAS, 0.0, 3.0, replaces="load_cases.gas_pressure"),
    _Wanted("load_cases.gas_pressure", "peak gas pressure", GAS, 0.2, 2.0, replaces=BOOST),
    _Wanted("load_cases.temperatures.head", "head, hot", HEAT, 20.0, 220.0, True),
    _Wanted("load_cases.temperatures.fastener", "fastener, hot", HEAT, 20.0, 220.0, True),
    _Wanted("load_cases.temperatures.block", "block, hot", HEAT, 20.0, 220.0, True),
    _Wanted("head.fire_deck", "fire deck", SHAPE, 0.6, 1.6, condenses=True),
    _Wanted("head.side_wall", "side wall of the head", SHAPE, 0.6, 1.6, condenses=True),
    _Wanted("exhaust_side.side_wall", "side wall of the head, exhaust side", SHAPE, 0.6, 1.6, condenses=True),
    _Wanted("head.height", "height of the head", SHAPE, 0.8, 1.3, condenses=True),
    _Wanted("block.deck_thickness", "deck of the block", SHAPE, 0.6, 1.6, condenses=True),
    _Wanted("block.wall", "bore wall", SHAPE, 0.7, 1.4, condenses=True),
)  # fmt: skip


def controls_of(content: Content, design: Joint | Cell, units: str) -> list[Control]:
    """Return all that can be moved of a file, in the reader's units, at its values."""
    joint = design.joint if isinstance(design, Cell) else design
    found = [one for wanted in WANTED if (one := _range(content, joint, wanted, units)) is not None]
    found += _gasket(content, design, units)
    found += [*_fastener(content, design), *_fired(design)]
    return sorted(found, key=lambda one: ORDER.index(one.group))


def with_sight(
    controls: list[Control], design: Joint | Cell, moved_to: Callable[[str, Value], Joint | Cell]
) -> list[Control]:
    """Return controls that say which of them change a design, as its model shows it, at all.

    One stud has no fire deck, and an engine's own mesh stands for head, block and fastener whatever the file says.

    moved_to : gives the design with the quantity of a path at a value.
    """
    if isinstance(design, Cell):
        return [replace(one, seen=not (design.mesh.file and one.group == SHAPE)) for one in controls]

    def seen(one: Control) -> bool:
        try:
            return moved_to(one.path, value_text(one, _elsewhere(one))) != design
        except InputError:  # not with all else as it is, which is no sign that nothing would change
            return True

    return [replace(one, seen=seen(one)) if one.condenses else one for one in controls]


def _elsewhere(control: Control) -> float | str:
    """Return another value of a control than its own; its own where there is none."""
    if control.choices:
        return next((one for one in control.choices if one != control.value), control.value)
    return control.low if control.value != control.low else control.high


def value_text(control: Control, value: float | str) -> Value:
    """Return what a file would state for a value of a control; InputError for one out of its range or choices."""
    if control.choices:
        if value not in control.choices:
            raise InputError(f"give one of {', '.join(control.choices)}", field=control.path, value=str(value)[:40])
        return str(value)
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise InputError("give a number", field=control.path, value=str(value)[:40])
    slack = 1e-6 * abs(control.high - control.low)
    if not control.low - slack <= value <= control.high + slack:
        raise InputError(f"give {control.low:g} to {control.high:g} {control.unit}", field=control.path, value=value)
    return f"{value:.9g} {control.unit}" if control.unit else float(value)


def _range(content: Content, joint: Joint, wanted: _Wanted, units: str) -> Control | None:
    """Return the control of a quantity, None where the file neither states it nor has a default for it."""
    try:
        value = stated(content, wanted.path)
        kind = dimension(content, wanted.path)
    except InputError:
        return None
    internal = None
    if value is not None and kind is not None:
        try:
            internal = number(content, wanted.path, value)
        except (InputError, ValueError, TypeError):
            internal = None  # a name where a number may stand too
    if internal is None and wanted.default is not None:
        internal = wanted.default(joint)
    if internal is None or internal == 0.0 and wanted.path != BOOST:
        return None
    unit, table = _in_table(internal, kind)
    now, name = shown(table, unit, units)
    if wanted.path == BOOST:
        low, high = shown(0.0, unit, units)[0], shown(max(3.0, 2.0 * table), unit, units)[0]
    elif wanted.absolute:
        low, high = (shown(one, unit, units)[0] for one in (wanted.low, wanted.high))
    else:
        low, high = wanted.low * now, wanted.high * now
    low, high = min(low, now), max(high, now)
    step = _round_step((high - low) / STEPS)
    low, high = step * _floor(low / step), step * _ceil(high / step)
    return Control(
        wanted.path, wanted.label, wanted.group, _tidy(now), name, _tidy(low), _tidy(high), _tidy(step),
        condenses=wanted.condenses, replaces=wanted.replaces,
    )  # fmt: skip


def _in_table(internal: float, kind: str | None) -> tuple[str, float]:
    """Return the unit of tables for a kind of quantity, and a value in it."""
    unit = TABLE_UNITS.get(kind or "", "")
    return unit, internal / convert(1.0, unit, kind) if kind and unit and unit != "degC" else internal


def in_other_units(content: Content, control: Control, value: Value, units: str) -> float | str:
    """Return what a file would state as the page shows it in `units`, within the range of its `control` there."""
    internal = number(content, control.path, value)
    if internal is None:
        return str(value)
    unit, table = _in_table(internal, dimension(content, control.path))
    return min(max(_tidy(shown(table, unit, units)[0]), control.low), control.high)


def _round_step(wanted: float) -> float:
    """Return the next of 1, 2, 5 times a power of ten."""
    power = 10.0 ** math.floor(math.log10(wanted))
    return next(one * power for one in (1.0, 2.0, 5.0, 10.0) if one * power >= wanted * (1.0 - 1e-9))


def _floor(value: float) -> int:
    return math.floor(value + 1e-9)


def _ceil(value: float) -> int:
    return math.ceil(value - 1e-9)


def _tidy(value: float) -> float:
    return float(f"{value:.9g}")


def _rings(content: Content) -> Iterator[tuple[str, str, dict[str, Any]]]:
    """Yield name, path and table of every zone of the gasket."""
    gasket = content.get("gasket", {})
    for ring in (*gasket.get("rings", ()), *gasket.get("zones", ())):
        kind = "rings" if ring in gasket.get("rings", ()) else "zones"
        yield ring["name"], f"gasket.{kind}.{ring['name']}", ring
    if isinstance(gasket.get("body"), dict):
        yield "body", "gasket.body", gasket["body"]


def _gasket(content: Content, design: Joint | Cell, units: str) -> list[Control]:
    joint = design.joint if isinstance(design, Cell) else design
    own = tuple(content.get("gasket", {}).get("laws", {}))
    laws = (*own, *(name for name in shipped_laws.library() if name not in own))
    found = []
    for name, path, ring in _rings(content):
        step = _range(content, joint, _Wanted(f"{path}.step", f"step of the {name}", GASKET, 0.0, 2.0), units)
        found += [] if step is None else [step]
        found.append(Control(f"{path}.law", f"law of the {name}", GASKET, ring["law"], choices=laws))
    if any(zone.law.spread for zone in joint.gasket.zones):
        now = content.get("gasket", {}).get("laws_at", "middle")
        found.append(Control("gasket.laws_at", "laws, within their range", GASKET, now, choices=tuple(IN_RANGE)))
    return found


def _fastener(content: Content, design: Joint | Cell) -> list[Control]:
    joint = design.joint if isinstance(design, Cell) else design
    found = []
    stated_class = content.get("fastener", {}).get("property_class")
    if isinstance(stated_class, str):
        names = tuple(dict.fromkeys((stated_class, *property_classes.names())))
        found.append(Control("fastener.property_class", "property class", FASTENER, stated_class, choices=names))
    thread = content.get("fastener", {}).get("thread")
    if isinstance(thread, str) and "nut_thread" not in content["fastener"]:
        size = joint.fastener.thread.nominal_diameter
        near = [
            one.designation
            for one in thread_library.library().values()
            if 0.8 * size <= one.nominal_diameter <= 1.3 * size
        ]
        names = tuple(dict.fromkeys((thread, *near)))
        found.append(
            Control(SIZE, "thread, and all that grows with it", FASTENER, thread, choices=names, condenses=True)
        )
    return found


def _fired(design: Joint | Cell) -> list[Control]:
    """Return which bore fires, of a row of several."""
    if not isinstance(design, Cell) or not isinstance(design.layout, Bank) or design.layout.bores == 1:
        return []
    count = design.layout.bores
    now = ALL if len(design.fired) == count else ", ".join(str(one + 1) for one in design.fired)
    names = tuple(dict.fromkeys((now, ALL, *(str(one + 1) for one in range(count)))))
    return [Control(FIRED, "which bore fires", GAS, now, choices=names)]
