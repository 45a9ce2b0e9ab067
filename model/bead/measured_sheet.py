"""A gasket sheet, as of compressed fibre, of measured thickness under pressure: from rows to loading and openings.

Rows stand in the order in which they were read. Where pressure is greater than ever before, they load; where it falls
they open, from the greatest pressure before; where it rises again to that pressure they are passed over, for no law
of a zone has a loop. Where the sheet gives way at nearly that pressure, as by creep, loading goes on there, and no
higher before: the safe side.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from headjoint.model.base.arrays import FloatArray
from headjoint.model.base.csv_lines import columns_of, text_of
from headjoint.model.base.errors import InputError
from headjoint.model.base.named_files import named_beside
from headjoint.model.base.units import Length, Pressure
from headjoint.model.files.measured_file import MeasuredFile
from headjoint.model.reading.credible import RANGES, Credible

LARGEST_FILE = 2_000_000  # bytes
FIRST = 0.01  # of the greatest pressure, at most, at which the first row counts as first touch
PRESSED = Credible("measured.rows", 0.0, 2000.0, "MPa", "gaskets are crushed by some hundreds")
SCATTER = 0.05  # of the greatest closure, that readings may be out of order by
# of the greatest pressure so far: a choice, below which a sheet that is thinner than ever is a slip and not a yielding
GIVES_WAY = 0.9
JUST_LESS = 0.999  # of the pressure at which a sheet gives way, what it bore before: laws have to rise
LOW = 0.2  # of the greatest pressure, below which specimens are not compared: first touch is hard to tell


@dataclass(frozen=True)
class Measured:
    """Loading (2, n) of closure (mm) and pressure (MPa), and openings, each from where it begins down."""

    loading: FloatArray = field(repr=False)
    openings: tuple[FloatArray, ...] = field(repr=False)


@dataclass(frozen=True)
class MeasuredSheet:
    """A sheet as measured. thickness : mm at first touch. temperature : degC. spread : plus-minus of pressure as a
    share, None where not known. specimens : how many pieces."""

    name: str
    note: str
    thickness: float
    measured: Measured
    temperature: float
    spread: float | None
    specimens: int
    source: str


def sheet_of(stated: MeasuredFile, folder: Path) -> MeasuredSheet:
    """Return the sheet that checked tables state; files that they name lie in `folder`.

    Raises
    ------
    InputError : naming field or line, value and what is allowed.
    """
    table = stated.measured
    if (table.data is None) == (table.rows is None):
        raise InputError("state either `data` or `rows`", field="measured")
    if table.range is not None and table.specimens:
        raise InputError("belongs to a sheet without `specimens`; keep one", field="measured.range", value=table.range)
    if table.data is not None:
        rows = _table(folder, table.data, "measured.data")
    else:
        assert table.rows is not None
        rows = np.array([[float(one) for one in row] for row in table.rows]).T
    measured = measured_of(rows, table.data or "measured.rows")
    _check_credible(float(rows[0, 0]), float(table.temperature), float(rows[1].max()))
    others: list[Measured] = []
    for number, file in enumerate(table.specimens):
        place = f"measured.specimens[{number}]"
        others.append(measured_of(_table(folder, file, place), file))
        if any(np.array_equal(others[-1].loading, one.loading) for one in (measured, *others[:-1])):
            raise InputError("has the readings of another piece: that tells no range", field=place, value=file)
    spread = max((_apart(measured, one) for one in others), default=table.range)
    return MeasuredSheet(
        stated.name, stated.note, float(rows[0, 0]), measured, float(table.temperature), spread, 1 + len(others),
        table.source or table.data or "rows in the file",
    )  # fmt: skip


def measured_of(table: FloatArray, what: str) -> Measured:
    """Return loading and openings of rows (2, n) of thickness (mm) and pressure (MPa) in the order of their reading.

    Raises InputError naming `what` where nothing is loaded or nothing is opened.
    """
    thickness, pressure = table
    greatest = float(pressure.max())
    if thickness.min() <= 0.0:
        raise InputError("thickness must be greater than 0", field=what, value=f"{thickness.min():g} mm")
    if pressure[0] > FIRST * greatest or pressure.min() < 0.0:
        raise InputError("the first row must bear next to nothing, for closure counts from it, and no row less",
                         field=what, value=float(pressure[0] if pressure.min() >= 0.0 else pressure.min()))  # fmt: skip
    closure = thickness[0] - thickness
    _check_order(closure, pressure, what)
    loading, openings = [(0.0, 0.0)], list[FloatArray]()
    opens: list[tuple[float, float]] = []
    before, near = np.maximum.accumulate(pressure), SCATTER * closure.max()
    for c, p, most in zip(closure[1:], pressure[1:], before[:-1], strict=True):
        if 0.0 < GIVES_WAY * most <= p <= most and c > loading[-1][0] + near:
            loading = _no_higher(loading, float(p))
        if p > loading[-1][1]:
            openings += [np.array(opens).T] if len(opens) > 1 else []
            opens = []
            if c > loading[-1][0]:
                loading.append((float(c), float(p)))
        else:
            opens = opens or [loading[-1]]
            if p < opens[-1][1] and c < opens[-1][0]:
                opens.append((float(c), float(p)))
    openings += [np.array(opens).T] if len(opens) > 1 else []
    if len(loading) < 3:
        raise InputError("needs at least two rows of rising pressure and closure after the first", field=what)
    rows = np.array(loading).T
    openings = [one for one in (_from_loading(rows, one) for one in openings) if one.shape[1] > 1]
    if not openings:
        raise InputError(
            "is never let go: without a row of falling pressure nothing is known of its springback; a law of loading "
            "alone can be stated in an engine file (`headjoint guide gasket-laws`)",
            field=what,
        )
    return Measured(rows, tuple(openings))


def _no_higher(loading: list[tuple[float, float]], pressure: float) -> list[tuple[float, float]]:
    """Return loading that stays below the pressure at which a sheet gives way, from where it reached that on."""
    kept = [row for row in loading if row[1] < pressure]
    if len(kept) < len(loading) and kept[-1][1] < JUST_LESS * pressure:
        kept.append((loading[len(kept)][0], JUST_LESS * pressure))
    return kept


def _from_loading(loading: FloatArray, opening: FloatArray) -> FloatArray:
    """Return an opening (2, n) that begins on loading, where that has been lowered since."""
    begins = float(np.interp(opening[0, 0], *loading))
    lower = opening[:, opening[1] < begins]
    return np.column_stack([(opening[0, 0], begins), lower])


def _check_order(closure: FloatArray, pressure: FloatArray, what: str) -> None:
    """Raise InputError for a row that no sheet shows: pressed harder than ever and thicker, or less and thinner."""
    most, deepest = np.maximum.accumulate(pressure)[:-1], np.maximum.accumulate(closure)[:-1]
    harder, deeper, near = pressure[1:] - most, closure[1:] - deepest, SCATTER * closure.max()
    less = pressure[1:] < GIVES_WAY * most
    for at in np.flatnonzero(((harder > 0.0) & (deeper < -near)) | (less & (deeper > near)))[:1]:
        raise InputError(
            f"the sheet presses with {'more' if harder[at] > 0.0 else 'less'} than the {most[at]:.4g} MPa before, and "
            f"is {'thicker' if harder[at] > 0.0 else 'thinner'} by {1e3 * abs(deeper[at]):.3g} um: a digit, a unit or "
            "the order has slipped",
            field=f"{what}: row {at + 2}",
            value=f"closed by {closure[at + 1]:.4g} mm, {pressure[at + 1]:.4g} MPa",
        )


def _check_credible(thickness: float, temperature: float, pressure: float) -> None:
    """Raise InputError where a sheet has a thickness (mm), temperature (degC) or pressure (MPa) that nobody means."""
    for name, value, limit in (
        ("thickness", thickness, RANGES["gasket.thickness"]),
        ("temperature", temperature, RANGES["load_cases.temperatures"]),
        ("pressure", pressure, PRESSED),
    ):
        if not limit.low <= value <= limit.high:
            said = f"credible are {limit.low:g} to {limit.high:g} {limit.unit}: {limit.why}"
            raise InputError(said, field=f"{name} of the measured sheet", value=f"{value:.4g} {limit.unit}")


def _apart(one: Measured, other: Measured) -> float:
    """Return how far apart two pieces load at most, as a share of the first one's pressure."""
    closure, pressure = one.loading
    least = LOW * pressure[-1]
    places = np.linspace(np.interp(least, pressure, closure), min(closure[-1], other.loading[0, -1]), 200)
    own = np.interp(places, closure, pressure)
    return float(np.abs(np.interp(places, *other.loading) / own - 1.0).max())


def _table(folder: Path, file: str, field: str) -> FloatArray:
    """Return thickness (mm) and pressure (MPa), (2, n), of a CSV file."""
    path = named_beside(folder, file, field)
    if not path.is_file():
        raise InputError("no such file beside the gasket's file", field=field, value=file)
    try:
        text = text_of(path, LARGEST_FILE, "compression data")
        wanted = "two columns, 'thickness [mm]' and 'pressure [MPa]', or other units of their kind"
        table = np.array(columns_of(text, {"thickness": Length, "pressure": Pressure}, wanted))
    except InputError as error:
        error.file = file
        raise
    if table.shape[1] < 3:
        raise InputError("needs at least three rows", file=file)
    return table
