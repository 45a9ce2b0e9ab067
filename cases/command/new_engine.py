"""From a few facts to the text of an engine file, everything else typical and marked so."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path
from typing import Any, Literal

from headjoint.cases.command.engine_plan import Plan, diameter_of, plan_of
from headjoint.cases.command.facts import FRICTION, HEADS, Known
from headjoint.cases.command.proportions import NO_SOURCE, PROPORTIONS, of_bore, of_stud
from headjoint.cases.command.written import SHOWN_UNITS, Lengths, Written, half_of, quantity
from headjoint.model.base.errors import InputError
from headjoint.model.base.figure import Figure, Text, said
from headjoint.model.formulas.peak_pressure import ATMOSPHERE, PeakPressure, Range, peak_pressure
from headjoint.model.gasket.shipped_gaskets import SOURCE, gaskets
from headjoint.model.library import property_classes, threads

LEAST_COOLANT = 0.3  # x bore between the decks
EDGE = 0.09  # x bore from the outermost stud's column to the outer side of head and block
RAD = 57.29577951308232  # degrees
# temperatures in service, degC: head, fastener, block; from memory, low confidence
HOT = {"aluminium": (118, 108, 104), "iron": (112, 105, 98)}


def estimated_peak(known: Known) -> PeakPressure | None:
    """Return the peak pressure estimated from boost, None where the builder said it."""
    if "peak" in known:
        return None
    ignition: Literal["spark", "compression"] = "spark" if known["ignition"].value == "spark" else "compression"
    held_back = known["knock_margin"].number * RAD if "knock_margin" in known else 0.0
    manifold = ATMOSPHERE + known["boost"].number
    return peak_pressure(manifold, known["compression_ratio"].number, ignition, held_back)


def peak_words(found: PeakPressure) -> Text:
    """Return what the estimate gives and which end of it is taken."""

    def bar(value: float) -> Figure:
        return Figure(10.0 * value, "bar", ".0f")

    def ends(one: Range) -> tuple[Figure, Figure, Figure]:
        return bar(one.likely), bar(one.low), bar(one.high)

    return said(
        "Peak cylinder pressure from boost: {} likely, {} to {}; compression alone gives {}, {} to {}. The file takes "
        "the upper end: `headjoint guide new-engine`.",
        *ends(found.peak), *ends(found.compression),
    )  # fmt: skip


def engine_text(known: Known, units: str, name: str) -> str:
    """Return the engine file. Raises InputError where the facts do not fit together."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    plan = plan_of(known, units)
    environment = Environment(
        loader=PackageLoader("headjoint.cases.command", ""), undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True, keep_trailing_newline=True,
    )  # fmt: skip
    made = _Typical(known, units)
    return environment.get_template("engine.toml.j2").render(
        name=name,
        known=known,
        plan=plan,
        layout=_layout(made, plan),
        fastener=_fastener(made),
        head=_head(made),
        block=_block(made, plan),
        gasket=_gasket(made, plan),
        case=_cases(known),
        friction=FRICTION,
        by_class=str(known["strength"].value) in property_classes.names(),
    )


def read_back(text: str, folder: Path) -> None:
    """Raise InputError in a builder's words where the file made of the facts cannot be read."""
    from headjoint.model.reading.reading import joint_of, parse_content

    try:
        joint_of(parse_content(text), folder=folder)
    except InputError as error:
        raise InputError(f"no engine can be made of these facts: {error}") from None


class _Typical:
    """Typical lengths of an engine by its bore and studs."""

    def __init__(self, known: Known, units: str) -> None:
        self.known, self.lengths, self.units = known, Lengths(units), units
        self.bore, self.d = known["bore"].number, diameter_of(known)
        self.thread = threads.thread(str(known["stud"].value))

    def bore_share(self, name: str) -> Written:
        return self.lengths.near(of_bore(name, self.bore), self.words(name))

    def stud_share(self, name: str) -> Written:
        return self.lengths.near(of_stud(name, self.d), self.words(name))

    def words(self, name: str) -> str:
        return f"{PROPORTIONS[name].words}; {NO_SOURCE}"


def _layout(made: _Typical, plan: Plan) -> dict[str, Any]:
    known, bore = made.known, made.bore
    edge, column = EDGE * bore, plan.column.number
    words = f"the outermost stud, its column and {EDGE:g} x bore; {NO_SOURCE}"
    water = bore / 2.0 + plan.wall.number + plan.jacket.number
    if "stud_circle" in known:
        outermost = max(known["stud_circle"].number / 2.0 + column / 2.0, water)
        return {"kind": "ring", "outer": made.lengths.up(2.0 * (outermost + edge), words)}
    places = [(half_of(known["pitch"]), known["across"])]
    if "beside" in known:
        places.insert(0, (Written(0.0, "0 mm"), known["beside"]))
    outermost = max(water, *(y.number + column / 2.0 for _, y in places))
    return {"kind": "bank", "outer": made.lengths.up(outermost + edge, words), "studs": places}


def _fastener(made: _Typical) -> dict[str, Written]:
    block = made.known["block"].value
    hole = quantity(f"{made.thread.clearance_hole:g} mm", "length", why="ISO 273 medium; from memory")
    nut = made.stud_share("nut")
    return {
        "engagement": made.stud_share(f"engagement, {block}"),
        "top": made.stud_share("free thread at the nut"),
        "shank": made.stud_share("shank"),
        "bottom": made.stud_share("free thread at the block"),
        "nut_height": made.lengths.near(made.d, f"1 x stud; {NO_SOURCE}"),
        "nut": nut,
        "hole": hole,
        "washer_thickness": made.stud_share("washer thickness"),
    }


def _head(made: _Typical) -> dict[str, Written]:
    known = made.known
    metal = str(known["head"].value)
    decks = known["fire_deck"].number + known["upper_deck"].number
    height = made.lengths.near(
        max(of_bore("head height", made.bore), decks + LEAST_COOLANT * made.bore), made.words("head height")
    )
    return {
        "height": height,
        "side_wall": made.bore_share(f"side wall, {metal}"),
        "centre_column": made.bore_share("centre column"),
        "bridge_wall": made.bore_share("bridge web" if "pitch" in known else "web between studs"),
        "material": Written(HEADS[metal], HEADS[metal], why=f"a usual casting of {metal}; {NO_SOURCE}"),
    }


def _block(made: _Typical, plan: Plan) -> dict[str, Written]:
    metal = str(made.known["block"].value)
    depth = made.bore_share("jacket depth")
    liner = made.lengths.down(
        made.bore + plan.band, f"cast in, ends half-way across the gasket's rings; {NO_SOURCE}", fine=True
    )
    return {
        "height": made.bore_share("block height"),
        "jacket_depth": depth,
        "counterbore": made.stud_share("counterbore"),
        "material": Written(HEADS[metal], HEADS[metal], why=f"a usual casting of {metal}; {NO_SOURCE}"),
        "liner": liner,
    }


def _gasket(made: _Typical, plan: Plan) -> dict[str, Any]:
    found = gaskets()[str(made.known["gasket"].value)]
    typical = f"typical of {found.name} gaskets; {SOURCE}"
    band = f"a band of {PROPORTIONS['sealing band'].words} at most; {NO_SOURCE}"
    edges = [made.lengths.down(edge, band, fine=True) for edge in found.edges(made.bore, plan.band)]
    rings = [
        {"name": ring.name, "law": ring.law, "inner": inner, "outer": outer, "step": _step(ring.step, typical)}
        for ring, (inner, outer) in zip(found.rings, pairwise(edges), strict=True)
    ]
    return {
        "thickness": quantity(found.thickness, "length", why=typical),
        "expansion": Written(found.expansion, found.expansion, why=typical),
        "rings": rings,
        "law": Written(found.body_law, found.body_law, why=typical),
        "step": _step(found.body_step, typical),
        "wall_depth": made.bore_share("gas on the wall"),
    }


def _step(stated: str, why: str) -> Written | None:
    return quantity(stated, "length", why=why) if stated else None


def _cases(known: Known) -> dict[str, Any]:
    head, fastener, block = HOT[str(known["head"].value)]
    temperatures = f'{{ head = "{head} degC", fastener = "{fastener} degC", block = "{block} degC" }}'
    found = estimated_peak(known)
    if found is None:
        return {"temperatures": temperatures, "peak": known["peak"], "boost": None}
    unit = SHOWN_UNITS["workshop" if known["boost"].text.endswith("psi") else "si"]["pressure"]
    size = quantity(f"1 {unit}", "pressure").number
    low, likely, high = (one / size for one in (found.peak.low, found.peak.likely, found.peak.high))
    why = f"estimated from boost: {likely:.0f} {unit} likely, {low:.0f} to {high:.0f}; the upper end is taken"
    return {
        "temperatures": temperatures,
        "peak": quantity(f"{high:.0f} {unit}", "pressure", why=why),
        "boost": known["boost"],
    }
