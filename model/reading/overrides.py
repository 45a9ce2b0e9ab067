"""Changes of what a joint or cell file states, by dotted path: the quantities of a study.

A path names a key: "tightening.torque", "fastener.segments[1].diameter", "gasket.zones.bead.step" (an entry of a list
by its name), "load_cases.gas_pressure" (every entry that states the key). A last name that is stated in one table only
may stand alone: "torque". A path may name a whole table, too: what is stated takes its place, keys that it has not are
gone. Four words change what belongs together: `boost`, `size`, `gas`, a factor on all gas pressures, and `gasket`, a
shipped one by its name.
"""

from __future__ import annotations

import copy
import re
from collections.abc import Iterator, Mapping
from typing import Any

from headjoint.model.base.errors import InputError, nearest
from headjoint.model.base.unit_table import DIMENSIONS, NEEDS_UNIT
from headjoint.model.base.units import Quantity, parse
from headjoint.model.files.cell_file import CellFile
from headjoint.model.files.joint_file import JointFile
from headjoint.model.files.service_file import QuantityStages
from headjoint.model.formulas.peak_pressure import ATMOSPHERE
from headjoint.model.gasket.shipped_gaskets import shipped_gasket
from headjoint.model.library import threads
from headjoint.model.reading.reading import kind_at

Content = dict[str, Any]
Value = float | str
Change = Value | Content  # what takes the place of one key, or of a whole table
Key = str | int

BOOST, SIZE, GAS, GASKET = "boost", "size", "gas", "gasket"
WORDS = (SIZE, BOOST, GAS, GASKET)
# what grows with the thread when `size` changes it, besides the thread itself: (table, keys)
GROWING = (
    ("fastener", ("engagement", "bonded_diameter", "nut_bonded_diameter")),
    ("nut", ("height", "outer_diameter", "bearing_outer_diameter", "bearing_inner_diameter")),
    ("bolt_head", ("height", "outer_diameter", "bearing_outer_diameter", "bearing_inner_diameter")),
    ("washer", ("inner_diameter", "outer_diameter")),
    ("head", ("hole_diameter",)),
    ("block", ("counterbore_diameter",)),
)
FORCES, TORQUES = ("preload", "pull", "snug_force"), ("torque", "snug_torque")
QUANTITY = re.compile(r"^\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*(.*?)\s*$")
PART = re.compile(r"\[(\d+)\]")


def changed(content: Content, changes: Mapping[str, Change]) -> Content:
    """Return a copy of `content` with every change made: words first, then whole tables, then single keys.

    Raises InputError for a path that names nothing.
    """
    copied = copy.deepcopy(content)
    for path in sorted(changes, key=lambda name: _turn(name, changes[name])):
        value = changes[path]
        if isinstance(value, dict):
            for place in places(copied, path, whole=True):
                _set(copied, place, copy.deepcopy(value))
        elif path == GASKET:
            _set_gasket(copied, str(value))
        elif path == BOOST:
            _set_boost(copied, value)
        elif path == SIZE:
            _set_size(copied, str(value))
        elif path == GAS:
            _scale_gas(copied, float(value))
        else:
            for place in places(copied, path):
                _set(copied, place, value)
    return copied


def _turn(path: str, value: Change) -> int:
    """Return when a change is made."""
    if isinstance(value, dict):
        return len(WORDS)
    return WORDS.index(path) if path in WORDS else len(WORDS) + 1


def places(content: Content, path: str, *, whole: bool = False) -> list[tuple[Key, ...]]:
    """Return the places in `content` that a path names, at least one; InputError with the nearest name otherwise.

    whole : of tables; otherwise of keys.
    """
    keys = [key for key in PART.sub(r".\1", path).split(".") if key]
    if not keys:
        raise InputError("names nothing; give a path such as tightening.torque", field="quantity", value=path)
    if len(keys) == 1 and keys[0] not in _top(content):
        return _by_last_name(content, path)
    found = [place for place in _walk(content, keys, whole) if _may_stand(content, place)]
    if not found:
        raise _no_such(content, path)
    return found


def stated(content: Content, path: str) -> Value | None:
    """Return what the file states at the first place of a path, None where it states nothing."""
    if path == BOOST:
        boost = content.get("gas", {}).get("boost")
        return boost if isinstance(boost, (int, float, str)) else None
    if path == GAS:
        return 1.0
    if path == SIZE:
        path = "fastener.thread"
    if path == GASKET:
        return None
    value: Any = content
    for key in places(content, path)[0]:
        if isinstance(value, dict):
            value = value.get(str(key))
        else:
            value = value[int(key)] if isinstance(value, list) and int(key) < len(value) else None
    return value if isinstance(value, (int, float, str)) else None


def dimension(content: Content, path: str) -> str | None:
    """Return the dimension of the quantity at a path ("torque"), "" for a bare number, None for a name."""
    if path == BOOST:
        return "pressure"
    if path == GAS:
        return ""
    if path in (SIZE, GASKET):
        return None
    kind = kind_at(_text(places(content, path)[0]), content)
    for part in [kind, *getattr(kind, "__args__", ())]:
        if isinstance(part, type) and issubclass(part, QuantityStages):
            return part.each.dimension
        if isinstance(part, type) and issubclass(part, Quantity):
            return part.dimension
        if part in (float, int):
            return ""
    return None


def number(content: Content, path: str, value: Value) -> float | None:
    """Return a value of a path in internal units, None for a name."""
    wanted = dimension(content, path)
    if wanted is None:
        return None
    try:
        return float(value) if wanted == "" else parse(value, wanted)
    except ValueError as error:
        raise InputError(str(error), field=path, value=value) from None


def unit_of(value: Value) -> str:
    """Return the unit that a value is written in, "" for a bare number or a name."""
    found = QUANTITY.match(value) if isinstance(value, str) else None
    return found[2] if found else ""


def internal_unit(content: Content, path: str) -> str:
    """Return the unit in which the program reckons what stands at a path."""
    wanted = dimension(content, path)
    return DIMENSIONS[wanted][0] if wanted else ""


def bare_unit(content: Content, path: str) -> str:
    """Return the unit of a bare number at a path, "" where there is none or a bare number is refused."""
    return "" if dimension(content, path) in NEEDS_UNIT else internal_unit(content, path)


def scaled(value: Value, factor: float) -> Value:
    """Return a quantity times a factor, in its own unit."""
    if isinstance(value, (int, float)):
        return float(value) * factor
    found = QUANTITY.match(value)
    if found is None:
        raise InputError("is no quantity that can be scaled", value=value)
    return f"{float(found[1]) * factor!r} {found[2]}"


def _top(content: Content) -> list[str]:
    return list((CellFile if "layout" in content else JointFile).__struct_fields__)


def _text(place: tuple[Key, ...]) -> str:
    return "".join(f"[{key}]" if isinstance(key, int) else f".{key}" for key in place).lstrip(".")


def _walk(value: Any, keys: list[str], whole: bool, here: tuple[Key, ...] = ()) -> list[tuple[Key, ...]]:
    """Return the places below `value` that keys name; a last key need not be stated yet, and stages are one place."""
    if not keys:
        return [here]
    key, rest = keys[0], keys[1:]
    if isinstance(value, dict):
        if not rest:
            stated = {} if whole else value.get(key)
            tables = isinstance(stated, list) and any(isinstance(entry, dict) for entry in stated)
            return [] if tables or (isinstance(stated, dict) and stated) else [(*here, key)]
        return _walk(value.get(key, {}), rest, whole, (*here, key))
    if not isinstance(value, list):
        return []
    if key.isdigit():
        return _walk(value[int(key)], rest, whole, (*here, int(key))) if int(key) < len(value) else []
    named = [n for n, entry in enumerate(value) if isinstance(entry, dict) and entry.get("name") == key]
    if named:
        return _walk(value[named[0]], rest, whole, (*here, named[0]))
    every = []
    for n, entry in enumerate(value):  # of every entry that states the key
        if isinstance(entry, dict) and key in entry:
            every += _walk(entry, keys, whole, (*here, n))
    return every


def _may_stand(content: Content, place: tuple[Key, ...]) -> bool:
    """Say whether the tables of a file have a place, stated or not."""
    if len(place) == 1:
        return place[0] in _top(content)
    table = kind_at(_text(place[:-1]), content)
    fields = getattr(table, "__struct_fields__", None)
    return fields is None or place[-1] in fields


def leaves(value: Any, here: tuple[Key, ...] = ()) -> Iterator[tuple[Key, ...]]:
    """Yield the place of every number and text that a file states."""
    entries = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, entry in entries:
        if isinstance(entry, (dict, list)):
            yield from leaves(entry, (*here, key))
        else:
            yield (*here, key)


def _of_the_design(content: Content) -> Iterator[tuple[Key, ...]]:
    """Yield the places of what the file states of its own design, not of variants of it."""
    return leaves({name: table for name, table in content.items() if name != "variants"})


def _by_last_name(content: Content, name: str) -> list[tuple[Key, ...]]:
    named = (place[:-1] if isinstance(place[-1], int) else place for place in _of_the_design(content))
    found = [place for place in dict.fromkeys(named) if place[-1] == name]
    if found and len({place[0] for place in found}) == 1:
        return found
    if found:
        shown = ", ".join(sorted({_text(place) for place in found}))
        raise InputError(f"stands in several places; say which: {shown}", field="quantity", value=name)
    raise _no_such(content, name)


def _no_such(content: Content, path: str) -> InputError:
    known = [_text(place) for place in _of_the_design(content)] + list(WORDS)
    last = {str(place[-1]): _text(place) for place in _of_the_design(content)}
    near = nearest(path, known) or [last[name] for name in nearest(path.rpartition(".")[2], last)]
    hint = f"; did you mean '{near[0]}'?" if near else ""
    return InputError(f"no such quantity in the file{hint}", field="quantity", value=path)


def _set(content: Content, place: tuple[Key, ...], value: Change) -> None:
    at: Any = content
    for key in place[:-1]:
        at = at.setdefault(key, {}) if isinstance(at, dict) else at[key]
    at[place[-1]] = value


def _set_gasket(content: Content, name: str) -> None:
    """Put a shipped gasket round the bore, in the band between bore and body that the file's own rings have.

    The holes stay: coolant and oil go through them, whatever the gasket is made of.
    """
    if "layout" not in content:
        raise InputError(
            "a gasket by its name is made to fit round a bore, and a joint of one fastener has none: write its whole "
            "table, gasket = { thickness = ..., zones = [...] }",
            field=GASKET,
            value=name,
        )
    bore = parse(content["layout"]["bore"], "length")
    ends = max(parse(ring["outer_diameter"], "length") for ring in content["gasket"]["rings"])
    holes = {"holes": content["gasket"]["holes"]} if "holes" in content["gasket"] else {}
    content["gasket"] = shipped_gasket(name, GASKET).table(bore, (ends - bore) / 2.0) | holes


def _set_boost(content: Content, value: Value) -> None:
    """Scale every gas pressure by absolute manifold pressure."""
    gas = content.get("gas", {})
    if "boost" not in gas:
        raise InputError(
            'must say at which boost the gas pressures of the load cases hold, such as "1.0 bar": peak pressure is '
            "taken in proportion to absolute manifold pressure",
            field="gas.boost",
        )
    before, after = number(content, "gas.boost", gas["boost"]), number(content, "gas.boost", value)
    assert before is not None and after is not None  # noqa: PT018
    factor = (ATMOSPHERE + after) / (ATMOSPHERE + before)
    _scale_gas(content, factor)
    gas["boost"] = value


def _scale_gas(content: Content, factor: float) -> None:
    for case in content.get("load_cases", []):
        for key in ("gas_pressure", "ring_force"):
            if key in case:
                case[key] = scaled(case[key], factor)


def _set_size(content: Content, name: str) -> None:
    """Change the thread, and in proportion to its diameter all that goes round it; torque so that it is stressed alike.

    Angle, stretch, the washer's thickness, lengths of segments, and the castings stay.
    """
    fastener = content["fastener"]
    if "nut_thread" in fastener:
        raise InputError(
            "`size` changes one thread and this stud has two; change fastener.thread and nut_thread themselves",
            field="fastener.nut_thread",
        )
    old, new = threads.thread(fastener["thread"], "fastener.thread"), threads.thread(name, "fastener.thread")
    ratio = new.nominal_diameter / old.nominal_diameter
    fastener["thread"] = new.designation
    fastener.pop("length", None)
    for table, keys in GROWING:
        for key in keys:
            if key in content.get(table, {}):
                content[table][key] = scaled(content[table][key], ratio)
    for segment in fastener.get("segments", []):
        if "diameter" in segment:
            segment["diameter"] = scaled(segment["diameter"], ratio)
    tightening = content["tightening"]
    stronger = new.stress_area / old.stress_area
    for key, factor in (*((key, stronger) for key in FORCES), *((key, stronger * ratio) for key in TORQUES)):
        if isinstance(stages := tightening.get(key), list):
            tightening[key] = [scaled(stage, factor) for stage in stages]
        elif key in tightening:
            tightening[key] = scaled(tightening[key], factor)
    zones = content.get("gasket", {}).get("zones", [])
    if zones:  # the gasket's hole grows with that of the head
        hole = number(content, "head.hole_diameter", content["head"]["hole_diameter"])
        inner = min(zones, key=lambda zone: parse(zone["inner_diameter"], "length"))
        if hole is not None and parse(inner["inner_diameter"], "length") < hole:
            inner["inner_diameter"] = hole
