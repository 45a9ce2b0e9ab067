"""What the answers of all studies say alike: figures in the reader's units, what was run."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from headjoint.model.base.figure import unit_in
from headjoint.postproc.designs.outcome import Outcome
from headjoint.postproc.designs.run import Ran
from headjoint.postproc.present.mesh_errors import mesh_error_part, study_error_words
from headjoint.postproc.studies.table import FIGURES, figure
from headjoint.postproc.verdict.model_seen import ModelSeen

SHORT = {"clamp after cooling": "cold clamp", "sealed gas pressure": "sealed gas"}
HEADINGS_LEFT = ("holds", "limited by", "what matters most", "active requirement", "when this changes", "design", "")


def short_heading(name: str, units: str) -> str:
    """Return the heading of a figure with its unit."""
    return f"{SHORT.get(name, name)} [{unit_in(FIGURES[name][0], units)[0]}]"


def figure_words(outcome: Outcome, name: str, units: str) -> str:
    """Write a figure of an outcome in the unit of its heading; nothing where there is none."""
    value = figure(outcome, name)
    return "" if value is None else figure_in(value, name, units)


def figure_in(value: float, name: str, units: str) -> str:
    """Write a figure, given in the unit of the table."""
    unit, factor = unit_in(FIGURES[name][0], units)
    return f"{value * factor:.{0 if unit == 'lbf' else 1}f}"


def left_columns(headings: tuple[str, ...]) -> tuple[int, ...]:
    """Return the numbers of columns that hold words."""
    return tuple(number for number, heading in enumerate(headings) if number and heading in HEADINGS_LEFT)


def models_seen(outcomes: Iterable[Outcome]) -> str:
    """Say by which models the designs were judged, and what those do not see."""
    return "; ".join(dict.fromkeys(one.verdict.model_line for one in outcomes if one.verdict.seen is not None))


def left_open(outcomes: Iterable[Outcome]) -> tuple[str, ...]:
    """Name in a sentence what decides and the model cannot judge, so that nothing that is met is called sound."""
    return not_judged_words(
        missing.name for one in outcomes for missing in one.verdict.undecided if not missing.by_mesh
    )


def not_judged_words(names: Iterable[str]) -> tuple[str, ...]:
    """Name in a sentence what decides and was not judged, each once; nothing where there is none."""
    found = list(dict.fromkeys(names))
    return (f"Not judged, though it decides: {', '.join(found)}",) if found else ()


def errors_line(outcomes: Iterable[Outcome]) -> str:
    """Say what mesh errors do to the factors of designs."""
    return study_error_words(one.unbounded for one in outcomes)


def study_error_part(outcomes: Sequence[Outcome], seen: ModelSeen | None = None) -> dict[str, Any]:
    """Return the same for documents; `seen` by which model where outcomes do not say."""
    told: list[ModelSeen | None] = [one.verdict.seen for one in outcomes if one.verdict.seen is not None] or [seen]
    return mesh_error_part("; ".join(dict.fromkeys(one.unbounded for one in outcomes if one.unbounded)), *told)


def run_line(ran: Ran, whole: int) -> str:
    """Say what was run, where, how long it took, and what mesh errors do."""
    kept = f", {ran.found} of them found finished" if ran.found else ""
    where = f" on {ran.workers}" if ran.workers else ""
    stiffness = "one condensed joint" if ran.stiffnesses == 1 else f"{ran.stiffnesses} condensed joints"
    run = f"{whole} evaluations by finite elements{kept}{where}, {stiffness}, {ran.seconds:.1f} s."
    return f"{run} {errors_line(ran.outcomes)}"
