"""The answer of a bead file: its curve, what it keeps, where it touches, how long it lasts, and its law."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from headjoint.cases.bead.tolerances import Spread
from headjoint.model.base.errors import InputError
from headjoint.model.base.figure import Figure
from headjoint.model.bead.bead import Bead
from headjoint.model.bead.life import LAW, LONGEST
from headjoint.model.bead.measured_sheet import MeasuredSheet
from headjoint.model.bead.reading import read_bead, read_gasket
from headjoint.model.gasket.opening_curves import OpeningCurvesLaw
from headjoint.postproc.bead.beside import Beside, beside, same_gap, sentence, sheet
from headjoint.postproc.bead.findings import AtTemperature, BeadFindings, Stamping, find
from headjoint.postproc.bead.law import LESS, LIGHT, MOST_OFF, RIPPLE, BeadLaw, Off, fragment_text, law_of
from headjoint.postproc.bead.measured import MeasuredAnswer, measured_answer
from headjoint.postproc.present.answer import Answer, Wanted
from headjoint.postproc.present.document import opening, plain
from headjoint.postproc.present.report import Items, Paragraphs, Pictures, Report, Section, Sheet, Verbatim
from headjoint.postproc.present.units import figure_text, shown, unit_in

FORMAT, VERSION = "headjoint-bead", 2
FRAGMENT = "law.toml"
UNITS = {
    "length": "mm", "closure": "mm", "set": "mm", "line_load": "N/mm", "stiffness": "N/mm per mm",
    "pressure": "MPa", "stress": "MPa", "strain": "1", "temperature": "degC", "life": "cycles",
}  # fmt: skip
TOLD_WITHIN = "a factor of ten"  # of a life by the strain-life law; common practice, no source
GREAT_RING = (
    "of {} radius, so great that it is pressed as a straight bead, on a mesh of one half: hoop stress changes loads by "
    "less than 0.1 %, with the other mesh they are within 2 % of those of the ring pressed whole"
)
OF_THE_LOAD = f"of the load it opens from, or of {100 * LIGHT:.0f} % of the greatest where that is more"
SOLID = "the ring starts free of stress: how it was made is not followed"
BONDED = (
    "taken as bonded to the ring and as one with it from the start, free of stress: how it was pressed in, gaps and "
    "slipping around it are not followed, which would make the ring softer"
)
FREE = "it starts from the stated shape without residual stress: stamping is not followed"
STAMPED = (
    "it is stamped from flat sheet between rigid dies without friction, so much higher than the bead that it is as "
    "high as stated when let go, and keeps the stress and hardening of it; a heat treatment afterwards is not followed"
)
STAYS = {
    "full": "its crown stays in its place between the dies, and let go its edges lie equally high",
    "half": "its {} end stays upright in its place between the dies and let go, the other slides and turns",
}
HOW = (
    "Plane strain or a ring, large displacement and rotation; plasticity in logarithmic strain, isotropic by Voce and "
    "kinematic by Armstrong and Frederick; friction by Coulomb; decks are flat and rigid but for the coating."
)
STACKED = (
    "Beaded layers count as lying in series between flat faces. That is exact where they face each other crown to "
    "crown or feet to feet, as in a mirror; of beads nested in each other two bear nearly twice as much as one and "
    "close by one height: call them bead up and bead down, and they are pressed in contact."
)
LAID = (
    "Its layers are pressed in contact with each other, with the decks' friction between them, all of one steel: they "
    "bend where another lies askew, nest and slide."
)
BEFORE = "no {} was measured here: {} data from memory are the weakest part of these figures"


@dataclass(frozen=True)
class BeadAnswer(Answer):
    """All that a bead file came to, with the law that an engine may take."""

    found: BeadFindings = field(repr=False)
    carried: BeadLaw = field(repr=False)
    compared: Beside | None = field(default=None, repr=False)
    document_name = "bead.json"
    page_name = "bead.html"
    judges = False

    @property
    def name(self) -> str:
        """Name of the bead."""
        return self.found.bead.name

    @property
    def fragment(self) -> str:
        """The law as TOML that an engine or joint file includes."""
        return fragment_text(self.found, self.carried)

    def document(self) -> dict[str, Any]:
        """Return the document in internal units, unrounded."""
        bead = self.found.bead
        return opening(FORMAT, VERSION, UNITS) | {
            "bead": {name: entry for name, entry in plain(bead).items() if name not in ("profile", "great_ring")}
            | {"kind": bead.profile.kind, "height": bead.height, "width": bead.profile.width}
            | {"ring": bead.stated_ring, "pressed_straight": bead.ring is None},
            "temperatures": [_document_of(one) for one in self.found.at],
            "life": {"cycles": self.found.life, "law": LAW, "longer_than": LONGEST},
            "law": plain(self.carried.law),
            "stopper_law": plain(self.carried.stopper),
            "law_off": {
                "over_the_stroke_of_openings": list(self.carried.off.near),
                "over_whole_openings": list(self.carried.off.whole),
                "more_between_openings": plain(self.carried.off.between),
                "gas_stiffness": self.carried.off.gas,
                "loop": {
                    "within_the_stroke": self.carried.off.loop[0],
                    "whole_openings_of_every_other_depth": self.carried.off.loop[1],
                },
            },
            "spread": plain(self.found.spread),
            "cautions": list(self.carried.cautions),
            "beside": None if self.compared is None else _document_beside(self.compared),
        }

    def columns(self) -> Mapping[str, Sequence[Any]]:
        """Return every place of every leg."""
        legs = [(at.temperature, leg) for at in self.found.at for leg in at.history.legs]
        count = self.found.bead.in_series
        return {
            "temperature degC": [degrees for degrees, leg in legs for _ in leg.closures],
            "leg": [leg.kind for _, leg in legs for _ in leg.closures],
            "closure mm": [count * float(closure) for _, leg in legs for closure in leg.closures],
            "line load N/mm": [float(load) for _, leg in legs for load in leg.loads],
        }

    def tables(self, folder: Path, wanted: Wanted) -> None:
        """Write the curve and the law."""
        self.frame().to_csv(folder / "curve.csv", index=False)
        (folder / FRAGMENT).write_text(self.fragment, encoding="utf-8")

    def draw(self, folder: Path, wanted: Wanted) -> list[Path]:
        """Draw the pictures."""
        from headjoint.postproc.bead.pictures import draw

        return draw(self.found, self.carried, folder, wanted.units)

    def report(self, units: str = "si") -> Report:
        """Return what it says."""
        bead = self.found.bead
        return Report(
            title=bead.name,
            note=bead.note,
            judgement=None,
            sentences=(
                *_sentences(self.found, self.carried, units),
                *([] if self.compared is None else [sentence(self.compared, units)]),
            ),
            sections=tuple(_sections(self, units)),
        )


def run_gasket(
    path: Path, against: Path | None, stage: Callable[[str], None], processes: int = 1
) -> BeadAnswer | MeasuredAnswer:
    """Read a file of a bead, a ring or a sheet and return its answer, as `run_bead`; a sheet has nothing beside it."""
    stated = read_gasket(path)
    if not isinstance(stated, MeasuredSheet):
        return run_bead(path, against, stage, processes)
    if against is not None:
        raise InputError("nothing is set beside stated compression data", field="--against", value=against.name)
    return measured_answer(stated)


def run_bead(path: Path, against: Path | None, stage: Callable[[str], None], processes: int = 1) -> BeadAnswer:
    """Read a bead file, press the bead in so many processes and return what it shows, beside that of another file where
    one is named.

    Raises InputError for what cannot be used and SolveError where no equilibrium is found.
    """
    bead = read_bead(path)
    other = None if against is None else read_bead(against)
    if other is not None and other.solid != bead.solid:
        raise InputError(
            "a bead and a solid ring are not compared: they leave other gaps between decks", field="--against"
        )
    if other is not None:
        same_gap(bead, other)  # a mistake is said before a minute of pressing
    found = find(bead, stage, processes)
    compared = None
    if other is not None:
        # what is compared is at the lowest temperature, of a bead as it is stated
        other = replace(other, steels=other.steels[:1], tolerances=(0.0, 0.0))
        compared = beside(found, find(other, stage))
    return BeadAnswer(found, law_of(found), compared)


def _document_beside(compared: Beside) -> dict[str, Any]:
    return {
        "name": compared.other.bead.name,
        "height_left": compared.left,
        "closures": list(compared.closures),
        "line_loads": list(compared.loads),
        "sentence": sentence(compared, "si"),
    }


def _document_of(at: AtTemperature) -> dict[str, Any]:
    history = at.history
    return {
        "temperature": at.temperature,
        "first_loading": {"closure": plain(at.closure), "line_load": plain(at.line_load)},
        "legs": [
            {"kind": leg.kind, "closure_of_one_bead": plain(leg.closures), "line_load": plain(leg.loads)}
            for leg in history.legs
        ],
        "openings": plain(at.openings),
        "stamping": plain(at.stamping),
        "gas_stiffness": at.gas_stiffness,
        "gas_strain": plain(at.gas),
        "plastic_strain": at.plastic_strain,
        "patches": [plain(one) | {"width": one.width, "mean": one.mean} for one in at.patches],
        "end_travel": list(at.travel),
        "elements": len(history.pressing.sheet.mesh.cells),
        "newton_iterations": history.iterations,
    }


def _say(value: float, unit: str, units: str, digits: str) -> str:
    return Figure(value, unit, digits).written(units)


def _sentences(found: BeadFindings, carried: BeadLaw, units: str) -> list[str]:
    bead, at = found.bead, found.at[0]
    last = at.openings[-1]
    peak, at_closure = (
        _say(float(at.line_load[-1]), "N/mm", units, ".1f"),
        _say(float(at.closure[-1]), "mm", units, ".3f"),
    )
    high = bead.in_series * bead.free
    stroke = bead.in_series * bead.path.stroke * 1e3
    left, share = _say(last.set * 1e3, "um", units, ".0f"), 100.0 * last.set / high
    said = [
        f"closed by {at_closure} the gasket bears {peak} along its {'ring' if bead.solid else 'bead'}",
        f"let go from there it keeps a set of {left}, {share:.0f} % of its height of {_say(high, 'mm', units, '.3f')}",
        f"for small strokes of gas ({_say(stroke, 'um', units, '.1f')}) it loses "
        f"{_say(at.gas_stiffness * stroke / 1e3, 'N/mm', units, '.1f')}, a stiffness of "
        f"{_say(at.gas_stiffness / bead.zone_width, 'MPa/mm', units, '.0f')} over its zone",
    ]
    said.append(_life_sentence(found))
    off = carried.off
    if max(off.whole) > MOST_OFF:
        said.append(f"its law is off the bead by up to {100 * max(off.whole):.0f} % while it opens, {OF_THE_LOAD}")
    if isinstance(carried.law, OpeningCurvesLaw):
        said.append(_between_sentence(off.between))
    return [*said, *(f"caution: {one}" for one in carried.cautions)]


def _between_sentence(between: tuple[float, float] | None) -> str:
    if between is None:
        return "how far its law is off between these depths is not known: opened from too few depths"
    near, whole = (f"{100 * one:.0f} %" for one in between)
    return (
        f"between these depths its law bears at most {near} more than the bead within that stroke and {whole} beyond, "
        f"{OF_THE_LOAD}: so much where it is made without one of them, and {100 * RIPPLE:.0f} % for ripples; it bears "
        f"less in places, the safe side: beads that come with headjoint by up to {100 * LESS:.0f} %, of others it is "
        "not known"
    )


def _life_sentence(found: BeadFindings) -> str:
    if found.bead.solid:
        return "no fatigue life is told of a solid ring: the strain-life law is that of steel sheet"
    if found.life is None:
        return "no tensile strength is stated, so no fatigue life is told"
    if found.life >= LONGEST:
        return f"this stroke cracks no bead within {LONGEST:.0e} cycles by the strain-life law"
    return (
        f"this stroke cracks the bead after some {found.life:.1e} cycles by the strain-life law, within {TOLD_WITHIN}"
    )


def _sections(answer: BeadAnswer, units: str) -> list[Section]:
    found = answer.found
    sections: list[Section] = [] if answer.compared is None else [sheet(answer.compared, units)]
    for at in found.at:
        degrees = _say(at.temperature, "degC", units, "g")
        sections += [_loading_sheet(at, degrees, units), _opening_sheet(at, degrees, units)]
    sections += [
        _patch_sheet(found.at[0], units, _what(found.bead)),
        Pictures(),
        Items("Metal", tuple(_metal(found, answer.carried.off, units))),
    ]
    if found.spread is not None:
        sections += _spread_sheets(found.spread, units)
    bead = found.bead
    start = SOLID if bead.solid else FREE if bead.stamped_in is None else STAMPED
    before = BEFORE.format(*(("ring of known metal", "metal") if bead.solid else ("bead of known steel", "steel")))
    stays = [] if bead.stamped_in is None else [STAYS[bead.profile.kind].format(("inner", "outer")[bead.outer_stays])]
    told = [HOW, start, *stays, *([LAID] if bead.stack.laid else [STACKED] if bead.stack.beads > 1 else []), before]
    sections.append(
        Paragraphs("What stands behind it", tuple(f"{one[0].upper()}{one[1:].rstrip('.')}." for one in told), True)
    )
    sections.append(Verbatim(f"The law, as in {FRAGMENT}", answer.fragment))
    return sections


def _headings(*pairs: tuple[str, str], units: str) -> tuple[str, ...]:
    return tuple(f"{name}, {unit_in(unit, units)[0]}" if unit else name for name, unit in pairs)


def _cells(units: str, *pairs: tuple[float, str]) -> tuple[str, ...]:
    return tuple(figure_text(shown(value, unit, units)[0]) for value, unit in pairs)


def _loading_sheet(at: AtTemperature, degrees: str, units: str) -> Sheet:
    places = [
        int(abs(at.closure - share * at.closure[-1]).argmin())
        for share in (0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)
    ]
    lines = tuple(
        _cells(units, (1e3 * float(at.closure[i]), "um"), (float(at.line_load[i]), "N/mm"))
        for i in dict.fromkeys(places)
    )
    return Sheet(f"First loading at {degrees}", _headings(("closure", "um"), ("line load", "N/mm"), units=units), lines)


def _opening_sheet(at: AtTemperature, degrees: str, units: str) -> Sheet:
    lines = tuple(
        _cells(
            units, (1e3 * one.closure, "um"), (one.peak, "N/mm"), (1e3 * one.set, "um"), (1e3 * one.lost, "um"),
            (one.stiffness, "N/mm"), (one.mean, "N/mm"),
        )
        for one in at.openings
    )  # fmt: skip
    headings = _headings(
        ("opened from", "um"), ("line load there", "N/mm"), ("set: load gone", "um"), ("crown lost", "um"),
        ("stiffness per mm", "N/mm"), ("mean of it", "N/mm"), units=units,
    )  # fmt: skip
    note = (
        "Set is the closure at which the load vanishes; the crown may stand higher or lower then, where the last touch "
        "is the legs'. Stiffness is that of the first small stroke, its mean goes from the peak to the set."
    )
    return Sheet(f"Opened from several depths at {degrees}", headings, lines, note=note)


def _what(bead: Bead) -> str:
    return "the ring" if bead.solid else "a layer" if bead.stack.laid else "one bead"


def _patch_sheet(at: AtTemperature, units: str, what: str) -> Sheet:
    lines = tuple(
        (
            one.deck,
            *_cells(units, (one.start, "mm"), (one.width, "mm"), (one.force, "N/mm"), (one.mean, "MPa")),
            "no limit: an edge" if one.corner else figure_text(shown(one.peak, "MPa", units)[0]),
        )
        for one in at.patches
    )
    headings = (
        "face",
        *_headings(("from", "mm"), ("width", "mm"), ("force", "N/mm"), ("mean", "MPa"), ("peak", "MPa"), units=units),
    )
    note = "Places are from its middle. Peaks are those of nodes and go on rising on finer meshes a little."
    return Sheet(f"Where {what} touches at the deepest closure", headings, lines, note=note)


def _spread_sheets(spread: Spread, units: str) -> list[Sheet]:
    limits = tuple(
        (one.name, *_cells(units, (1e3 * one.tolerance, "um")), f"{100 * one.low:+.1f} %", f"{100 * one.high:+.1f} %")
        for one in spread.of
    )
    headings = ("tolerance", *_headings(("plus-minus", "um"), units=units), "load at the lower limit", "at the upper")
    by_depth = tuple(
        (*_cells(units, (1e3 * one.closure, "um")), f"{100 * one.low:+.1f} %", f"{100 * one.high:+.1f} %",
         f"{100 * one.error:.1f} %")
        for one in spread.at
    )  # fmt: skip
    note = (
        f"Of {spread.drawn} beads, drawn from a surrogate through the beads that were pressed; tolerances count as two "
        "standard deviations. Its error is that for a bead it was not fitted to. The law carries plus-minus "
        f"{100 * spread.share:.0f} % of the load as its range: the greater side and the error, where a stopper ends "
        "closure at the deepest, else at the worst depth. Decks come as close as before, so a higher bead is closed "
        "further."
    )
    columns = (*_headings(("closed by", "um"), units=units), "lowest of 95 %", "highest", "error")
    return [
        Sheet("What tolerances make of the load at the deepest closure", headings, limits),
        Sheet("Load of 95 of 100 beads", columns, by_depth, note=note),
    ]


def _metal(found: BeadFindings, off: Off, units: str) -> list[tuple[str, str]]:
    at, bead = found.at[0], found.bead
    ends = " and ".join(_say(1e3 * one, "um", units, ".1f") for one in dict.fromkeys(at.travel))
    stress, greatest = (_say(one, "MPa", units, ".0f") for one in (at.gas.stress_range, at.gas.greatest_stress))
    strokes = (
        f"where it is worst, in the last of {bead.path.cycles} cycles: stress range {stress}, plastic strain range "
        f"{100 * at.gas.plastic_range:.4f} %, greatest stress {greatest}"
    )
    return [
        *([] if at.stamping is None else [("Stamping", _stamping_text(at.stamping, bead.height, units))]),
        ("Greatest plastic strain", f"{100 * at.plastic_strain:.2f} % at the deepest closure"),
        ("Small strokes", strokes),
        (
            "Loop",
            f"opening and closing again are up to {100 * off.loop[0]:.1f} % of the load apart within the last small "
            f"stroke and {100 * off.loop[1]:.1f} % over whole openings, those of every other depth; the law comes "
            "back as it went",
        ),
        *([] if bead.great_ring is None else [("Ring", GREAT_RING.format(_say(bead.great_ring, "mm", units, ".4g")))]),
        *([] if bead.solid else [("Fatigue", f"{_life_sentence(found)} ({LAW})")]),
        ("Ends", f"{'held' if any(bead.held) else 'free'}; they travel outwards by {ends}"),
        ("Metal" if bead.solid else "Steel", f"{bead.steel.name}: {bead.steel.source}"),
        *(("Wire", f"{one.name}, {BONDED}: {one.source}") for one in bead.cores[:1]),
    ]


def _stamping_text(stamping: Stamping, height: float, units: str) -> str:
    dies, back = _say(stamping.dies, "mm", units, ".3f"), _say(1e3 * (stamping.dies - height), "um", units, ".0f")
    stress = _say(stamping.stress, "MPa", units, ".0f")
    return (
        f"dies of {dies} height; let go the bead springs back by {back} and keeps up to {stress} of equivalent stress "
        f"and {100 * stamping.plastic_strain:.1f} % of plastic strain"
    )
