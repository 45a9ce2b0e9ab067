"""The few facts about an engine from which `headjoint new` writes a file: what each is, and how it is asked for.

A fact comes from an option, from the terminal, or is typical. On the terminal every typical value is offered first.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from headjoint.cases.command import engine_plan as plan
from headjoint.cases.command.proportions import (
    INCH_STUDS,
    NO_SOURCE,
    PROPORTIONS,
    STUDS,
    TORQUE_STRESS,
    of_bore,
    of_stud,
)
from headjoint.cases.command.written import SHOWN_UNITS, Lengths, Written, is_bare, quantity
from headjoint.model.base.errors import InputError, unknown_name
from headjoint.model.gasket.shipped_gaskets import gaskets
from headjoint.model.library import materials, property_classes, threads, tightening

Known = dict[str, Written]
HEADS = {"aluminium": "EN AC-42100", "iron": "EN-GJL-250"}
IGNITIONS = ("spark", "compression")
FRICTION = 0.12
STUDS_IN_A_ROW = (4.0, 6.0)
QUANTITIES = ("length", "torque", "pressure", "angle")
STUD_MATERIAL = "AISI 8740"


@dataclass(frozen=True)
class Fact:
    """One fact. kind : a dimension, "number", "count", "thread", "strength" or "choice" (of `choices`).

    typical : offered value, None where only the builder knows. needed : refused where missing and nobody can be asked.
    belongs : whether it means anything beside what is known. least, most : allowed, in internal units (deg for angles).
    """

    key: str
    question: str
    kind: str
    typical: Callable[[Known, str], Written] | None
    needed: bool = True
    belongs: Callable[[Known], bool] = lambda known: True
    choices: tuple[str, ...] = ()
    least: float = 0.0
    most: float = 1e9

    @property
    def option(self) -> str:
        """Its option on the command line."""
        return "--" + self.key.replace("_", "-")

    def shown_unit(self, units: str) -> str:
        """Return the unit in which it is asked for, "" for none."""
        return SHOWN_UNITS[units].get(self.kind, "")

    def read(self, text: str, known: Known) -> Written:
        """Return what the builder said; InputError with what is allowed otherwise."""
        try:
            return self._read(text.strip(), known)
        except ValueError as error:
            raise InputError(str(error), field=self.option, value=text) from None

    def _read(self, text: str, known: Known) -> Written:
        if self.kind in QUANTITIES:
            # a bare length is in mm, as in files
            found = quantity(f"{text} mm" if self.kind == "length" and is_bare(text) else text, self.kind, yours=True)
            self._check(found.number, text)
            return found
        if self.kind in ("number", "count"):
            number = float(text)
            if self.kind == "count" and number != int(number):
                raise ValueError("must be a whole number")
            self._check(number, text)
            return Written(number, f"{number:g}", yours=True)
        if self.kind == "thread":
            return Written(threads.thread(text, self.option).designation, text, yours=True)
        if self.kind == "strength":
            known_names = (*property_classes.names(), *materials.names())
            if text not in known_names:
                raise unknown_name("property class or material", text, known_names, field=self.option)
            return Written(text, text, yours=True)
        if text not in self.choices:
            raise unknown_name("choice", text, self.choices, field=self.option)
        return Written(text, text, yours=True)

    def _check(self, value: float, text: str) -> None:
        if not self.least <= value <= self.most:
            ends = f"{self._shown(self.least)} and {self._shown(self.most)}"
            raise InputError(f"must lie between {ends}; look at the unit", field=self.option, value=text)

    def _shown(self, value: float) -> str:
        per = {"torque": (1e-3, "N.m"), "pressure": (10.0, "bar"), "length": (1.0, "mm"), "angle": (57.29578, "deg")}
        factor, unit = per.get(self.kind, (1.0, ""))
        return f"{value * factor:.4g} {unit}".rstrip()


def _in_a_row(known: Known) -> bool:
    return known["bores"].number > 1


def _single(known: Known) -> bool:
    return not _in_a_row(known)


def _six(known: Known) -> bool:
    return _in_a_row(known) and known["studs"].number == 6


def _no_peak(known: Known) -> bool:
    return "peak" not in known


def _by_spark(known: Known) -> bool:
    return _no_peak(known) and known["ignition"].value == "spark"


def _plain(value: float | str, why: str = NO_SOURCE) -> Callable[[Known, str], Written]:
    text = value if isinstance(value, str) else f"{value:g}"
    return lambda known, units: Written(value, text, why=why)


def _share(name: str) -> Callable[[Known, str], Written]:
    """Return a proportion of the bore as a typical length."""

    def length(known: Known, units: str) -> Written:
        return Lengths(units).near(of_bore(name, known["bore"].number), f"{PROPORTIONS[name].words}; {NO_SOURCE}")

    return length


def _deck(name: str) -> Callable[[Known, str], Written]:
    return lambda known, units: _share(f"{name}, {known['head'].value}")(known, units)


def _typical_stud(known: Known, units: str) -> Written:
    wanted = of_bore("stud", known["bore"].number) * (4.0 / max(4.0, known["studs"].number)) ** 0.5
    names = STUDS if units == "si" else INCH_STUDS
    name = min(names, key=lambda one: abs(threads.thread(one).nominal_diameter - wanted))
    return Written(name, name, why=f"{PROPORTIONS['stud'].words}; {NO_SOURCE}")


def _typical_bore(known: Known, units: str) -> Written:
    text = {"si": "86 mm", "workshop": "3.39 in"}[units]
    return quantity(text, "length", why="a middling engine")


def _typical_torque(known: Known, units: str) -> Written:
    """Return the torque that stresses the stud to a share of its yield strength, in whole units."""
    thread = threads.thread(str(known["stud"].value))
    strength = str(known["strength"].value)
    if strength in property_classes.names():
        proof = property_classes.property_class(strength).yield_strength
    else:
        found = materials.material(strength).yield_strength
        if found is None:
            raise InputError("has no known yield strength: give the torque", field="--torque", value=strength)
        proof = found
    d = thread.nominal_diameter
    area = min(thread.stress_area, plan.circle(of_stud("shank", d)))
    preload = tightening.preload_at_stress(thread, FRICTION, area, TORQUE_STRESS * proof.at(20.0))
    bearing = (of_stud("nut", d) + d) / 2.0
    torque = preload * tightening.torque_per_preload(thread, FRICTION, FRICTION, bearing)
    unit = SHOWN_UNITS[units]["torque"]
    size = quantity(f"1 {unit}", "torque").number
    why = f"stresses the stud to {TORQUE_STRESS:g} of its yield at friction {FRICTION:g}, VDI 2230-1; {NO_SOURCE}"
    return quantity(f"{torque / size:.0f} {unit}", "torque", why=why)


def _typical_boost(known: Known, units: str) -> Written:
    return quantity({"si": "0 bar", "workshop": "0 psi"}[units], "pressure", why="not boosted")


# in the order in which they are asked for; a typical value may use what comes before
FACTS = (
    Fact("bores", "Bores in a row (1: one bore, studs in a ring)", "count", _plain(4.0), least=1, most=16),
    Fact("bore", "Bore", "length", _typical_bore, least=40.0, most=200.0),
    Fact("pitch", "Pitch, bore to bore", "length", _share("pitch"), belongs=_in_a_row, least=45.0, most=400.0),
    Fact("studs", "Studs round a bore (4 or 6; round a single one 4 to 8)", "count", _plain(4.0), False, least=4,
         most=8),
    Fact("stud", "Thread of the studs", "thread", _typical_stud),
    Fact("strength", "Strength of the studs: property class or material", "strength",
         _plain(STUD_MATERIAL, "a usual head stud; " + NO_SOURCE), False),
    Fact("head", "Head (aluminium or iron)", "choice", _plain("aluminium"), choices=tuple(HEADS)),
    Fact("block", "Block (iron or aluminium)", "choice", _plain("iron"), False, choices=tuple(HEADS)),
    Fact("across", "Studs between the bores: distance from the line of the bores", "length", plan.typical_across,
         belongs=_in_a_row, least=20.0, most=300.0),
    Fact("beside", "Studs beside the bores: distance from the line of the bores", "length", plan.typical_beside,
         belongs=_six, least=30.0, most=300.0),
    Fact("stud_circle", "Diameter of the circle of studs", "length", plan.typical_circle, belongs=_single, least=50.0,
         most=600.0),
    Fact("fire_deck", "Thickness of the head's fire deck", "length", _deck("fire deck"), least=3.0, most=60.0),
    Fact("upper_deck", "Thickness of the head's upper deck", "length", _deck("upper deck"), False, least=3.0,
         most=60.0),
    Fact("block_deck", "Thickness of the block's deck over the water (0: open deck)", "length", _share("block deck"),
         False, most=60.0),
    Fact("gasket", "Gasket (multi-layer steel, composite or copper)", "choice", _plain("multi-layer steel"),
         choices=tuple(gaskets())),
    Fact("torque", "Torque of the nuts", "torque", _typical_torque, least=1e3, most=3e6),
    Fact("peak", "Peak cylinder pressure (Enter: estimate it from boost)", "pressure", None, False, least=1.0,
         most=35.0),
    Fact("boost", "Boost over the atmosphere (0: none)", "pressure", _typical_boost, belongs=_no_peak, most=0.55),
    Fact("compression_ratio", "Compression ratio", "number", _plain(9.5), belongs=_no_peak, least=5.0, most=25.0),
    Fact("ignition", "Ignition (spark or compression)", "choice", _plain("spark"), False, _no_peak, IGNITIONS),
    Fact("knock_margin", "Knock margin: how much later than for best torque the spark comes", "angle",
         lambda known, units: quantity("0 deg", "angle", why="the highest pressure"), False, _by_spark, most=0.262),
)  # fmt: skip

Ask = Callable[[Fact, Written | None, str, Callable[[str], Written]], Written | None]


def gathered(stated: Mapping[str, str], units: str, ask: Ask | None) -> Known:
    """Return every fact: as stated, as the builder answers (`ask`), or typical.

    ask : is given a fact, what is typical, the units and how an answer is read; None where nobody can be asked.

    Raises InputError for what cannot be read, does not belong, or is missing where nobody can be asked.
    """
    known: Known = {}
    missing: list[str] = []
    for fact in FACTS:
        text = stated.get(fact.key)
        try:
            belongs = fact.belongs(known)
        except KeyError:  # what it depends on is missing itself
            continue
        if not belongs:
            if text is not None:
                raise InputError("does not belong to the other facts; leave it out", field=fact.option, value=text)
            continue
        found = fact.read(text, known) if text is not None else _unsaid(fact, known, units, ask, missing)
        if found is not None:
            known[fact.key] = found
    if missing:
        raise InputError(f"missing: {', '.join(missing)}; give them, or run this in a terminal to be asked")
    if _in_a_row(known) and known["studs"].number not in STUDS_IN_A_ROW:
        raise InputError("studs round bores in a row lie alike on both sides: 4 or 6", field="--studs",
                         value=known["studs"].text)  # fmt: skip
    return known


def _unsaid(fact: Fact, known: Known, units: str, ask: Ask | None, missing: list[str]) -> Written | None:
    """Return a fact that no option states."""
    if ask is None and fact.needed:
        missing.append(f"{fact.option} (or --peak)" if fact.key == "boost" else fact.option)
        return None
    typical = None if fact.typical is None or missing else fact.typical(known, units)
    return typical if ask is None else ask(fact, typical, units, lambda text: fact.read(text, known))
