"""What every stud of a whole head bears besides its force: bending, tension with bending against yield, and the gas."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from headjoint.cases.condensed.stud_rows import BendingRows
from headjoint.cases.load_cases.load_history import History
from headjoint.cases.models.condensed import BoreCell
from headjoint.cases.whole_head.solved import SolvedHead
from headjoint.model.base.arrays import FloatArray
from headjoint.model.formulas.strength import service_utilisation
from headjoint.model.formulas.turning import torsion_of
from headjoint.postproc.cell.answer import NUT
from headjoint.postproc.cell.findings import CellStateFindings
from headjoint.postproc.cell.stuck_nuts import StudBending, stud_bending
from headjoint.postproc.present.report import Paragraphs, Sheet
from headjoint.postproc.present.units import figure_text, unit_in

ALIKE = 1e-4  # of the greatest value: what mirror images differ by
LONGER = "Of a longer stud the bending is told for its length and at most: what a tilted nut bends is less than this."


@dataclass(frozen=True)
class StudStress:
    """One stud; stresses MPa, `_in` the name of the state they are of.

    bending : greatest at the nominal preload. nut : what its nut does there. amplitude : on the stress area, of its
    force at the greatest preload and its bending at the nominal one, greatest between gas and none; None without.
    tension : with bending, in the smallest section, greatest at the greatest preload. yield_factor : least of yield
    strength over stress there in service, None where none is stated.
    """

    bending: float
    bending_in: str
    nut: str
    amplitude: float | None
    amplitude_in: str
    tension: float
    tension_in: str
    yield_factor: float | None
    yield_in: str


def bending_of_levels(solved: SolvedHead) -> dict[str, tuple[StudBending, ...]]:
    """Return the bending of all studs, state by state in the order in which bores fire, by tightening.

    Amplitudes are those of the nominal tightening: between no gas and that in any bore, and between two bores that fire
    one after the other, for either may bend a stud another way.
    """
    model: BoreCell = solved.row.model
    found = {}
    for name, states in solved.levels.items():
        history = History(model, tuple(one.state for one in states), solved.steps, solved.found[name])
        seen = [solved.row.model.firing(one.fired) for one in states]
        without = [one.without if name == "nominal" else None for one in states]
        found[name] = stud_bending(solved.row.watched.rows, history, without, seen)
    cases = [one.state.case.name for one in solved.levels["nominal"]]
    area = solved.cell.joint.fastener.thread.stress_area
    found["nominal"] = between_bores(solved.row.watched.rows, found["nominal"], cases, area)
    return found


def between_bores(
    rows: BendingRows, bending: Sequence[StudBending], cases: Sequence[str], area: float
) -> tuple[StudBending, ...]:
    """Return bending whose amplitudes count what swings from one bore's gas to another's in the same load case, too.

    cases : load case of every state. area : mm2 that forces act on; what they swing less than between gas and none,
    which is added to an amplitude, counts off.
    """
    found = []
    for own, case in zip(bending, cases, strict=True):
        if own.amplitude is None:
            found.append(own)
            continue
        amplitude = own.amplitude
        for other in (b for b, of in zip(bending, cases, strict=True) if of == case and b is not own):
            for (force, bent), (beside, against) in zip(own.swings, other.swings, strict=False):
                apart = rows.stress([one - two for one, two in zip(bent, against, strict=True)]) / 2.0
                less = (np.abs(force) - np.abs(force - beside)) / 2.0 / area
                amplitude = np.maximum(amplitude, apart - less)
        found.append(replace(own, amplitude=amplitude))
    return tuple(found)


def stud_stresses(
    solved: SolvedHead,
    states: Mapping[str, Sequence[CellStateFindings]],
    bending: Mapping[str, Sequence[StudBending]],
) -> tuple[StudStress, ...]:
    """Return what every stud bears, by the states and the bending at every tightening."""
    joint, greatest = solved.cell.joint, states["greatest"]
    names = [one.name for one in greatest]
    torsion = torsion_of(joint, solved.found["greatest"].preload)
    bent = np.array([one.stress for one in bending["nominal"]])
    tension = np.array(
        [
            one.forces / joint.fastener.smallest_area + b.stress
            for one, b in zip(greatest, bending["greatest"], strict=True)
        ]
    )
    swings = _amplitudes(joint.fastener.thread.stress_area, greatest, bending["nominal"])
    in_service = range(1, len(greatest)) if len(greatest) > 1 else range(1)
    found = []
    for stud in range(bent.shape[1]):
        worst, pulled = first_of_most(bent[:, stud]), first_of_most(tension[:, stud])
        swing = list(swings)[first_of_most([one[stud] for one in swings.values()])] if swings else None
        factors = {
            at: service_utilisation(
                joint, float(tension[at, stud]), torsion.left, greatest[at].temperatures["fastener"]
            ).factor
            for at in in_service
        }
        known = {at: factor for at, factor in factors.items() if factor is not None}
        least = min(known, key=lambda at: known[at], default=None)
        found.append(
            StudStress(
                bending=float(bent[worst, stud]),
                bending_in=names[worst],
                nut=bending["nominal"][worst].nut[stud],
                amplitude=None if swing is None else float(swings[swing][stud]),
                amplitude_in="" if swing is None else names[swing],
                tension=float(tension[pulled, stud]),
                tension_in=names[pulled],
                yield_factor=None if least is None else known[least],
                yield_in="" if least is None else names[least],
            )
        )
    return tuple(found)


def first_of_most(values: Sequence[float] | FloatArray) -> int:
    """Return the number of the greatest value; of those that are mirror images, alike but for rounding, the first."""
    found = np.asarray(values, dtype=float)
    return int(np.flatnonzero(found >= found.max() - ALIKE * np.abs(found).max())[0])


def _amplitudes(
    area: float, greatest: Sequence[CellStateFindings], nominal: Sequence[StudBending]
) -> dict[int, FloatArray]:
    """Return the amplitudes (f,) MPa of every state, by its number, that is known with gas and without."""
    found = {}
    for at, (state, bent) in enumerate(zip(greatest, nominal, strict=True)):
        if state.force_amplitudes is not None and bent.amplitude is not None:
            found[at] = state.force_amplitudes / area + bent.amplitude
    return found


def studs_sheet(studs: Sequence[StudStress], units: str) -> Sheet:
    """Return the stresses of all studs as a table."""
    unit, factor = unit_in("MPa", units)
    lines = tuple(
        (
            f"stud {number}",
            figure_text(one.bending, factor),
            one.bending_in,
            figure_text(one.tension, factor),
            one.tension_in,
            "" if one.yield_factor is None else f"{one.yield_factor:.2f}",
            figure_text(one.amplitude, factor),
            one.amplitude_in,
        )
        for number, one in enumerate(studs, start=1)
    )
    headings = (
        "", "bending", "greatest in", "tension with bending", "greatest in", "yield over stress", "+- by gas",
        "greatest in",
    )  # fmt: skip
    return Sheet(
        f"Stresses of the studs ({unit})", headings, lines, left=(2, 4, 7),
        note="Bending at the nominal preload, tension with bending in the smallest section and yield in service, where "
        "tightening leaves torsion, too, at the greatest; +- by gas on the stress area.",
    )  # fmt: skip


def worst_words(studs: Sequence[StudStress], units: str, *, longer: bool) -> Paragraphs:
    """Name the studs that bend most, are stressed most and swing most."""
    unit, factor = unit_in("MPa", units)
    bent = first_of_most([one.bending for one in studs])
    pulled = first_of_most([one.tension for one in studs])
    swung = first_of_most([one.amplitude or 0.0 for one in studs])
    one, other, third = studs[bent], studs[pulled], studs[swung]
    texts = [
        f"Stud {bent + 1} bends most: {figure_text(one.bending, factor)} {unit} in '{one.bending_in}'; its nut "
        f"{NUT[one.nut]}.",
        f"Stud {pulled + 1} has the greatest tension with bending: {figure_text(other.tension, factor)} {unit} in "
        f"'{other.tension_in}' at the greatest preload.",
    ]
    if third.amplitude is not None:
        texts.append(
            f"Stud {swung + 1} has the greatest stress amplitude by gas: {figure_text(third.amplitude, factor)} {unit} "
            f"in '{third.amplitude_in}'."
        )
    return Paragraphs("", (*texts, *((LONGER,) if longer else ())), listed=True)
