"""Gasket laws that a user brings: tables from CSV."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from conftest import shipped_text

from headjoint.cases.cli import shipped_cells
from headjoint.model.errors import InputError
from headjoint.model.gasket_laws import GasketLaw
from headjoint.model.reading import parse_cell, parse_joint, read_joint

STEEL = shipped_text("boosted-four-steel")
BEAD = 'law = "multi-layer steel bead"'
SI = "closure [mm], pressure [MPa]\n0, 0\n0.05, 12\n0.1, 40\n"


def with_law(rows: str, text: str = STEEL) -> str:
    """Return a shipped file whose bead has its own law, stated by `rows`."""
    assert BEAD in text
    return text.replace(BEAD, 'law = "mine"') + f"\n[gasket.laws.mine]\n{rows}\n"


def bead_of(folder: Path, table: str, more: str = "") -> GasketLaw:
    """Return the bead's law of a joint file in `folder` whose law is a CSV table."""
    (folder / "bead.csv").write_text(table, encoding="utf-8")
    (folder / "joint.toml").write_text(with_law(f'file = "bead.csv"\n{more}'), encoding="utf-8")
    return law_of(read_joint(folder / "joint.toml"))


def law_of(joint, zone: str = "bead") -> GasketLaw:
    return next(one.law for one in joint.gasket.zones if one.name == zone)


def refusal(folder: Path, table: str | bytes, more: str = "") -> str:
    (folder / "bead.csv").write_bytes(table if isinstance(table, bytes) else table.encode())
    with pytest.raises(InputError) as caught:
        parse_joint(with_law(f'file = "bead.csv"\n{more}'), file="joint.toml", folder=folder)
    assert "\n" not in str(caught.value)
    return str(caught.value)


def test_a_table_from_csv_is_the_law_that_the_same_rows_state_in_the_joint_file(tmp_path):
    stated = parse_joint(with_law("closure = [0, 0.05, 0.1]\npressure = [0, 12, 40]\nunloading_stiffness = 900"))
    read = bead_of(tmp_path, SI, "unloading_stiffness = 900")
    assert read.curves == law_of(stated).curves
    assert read.unloading_stiffness == 900.0
    assert read.source == "read from bead.csv"


def test_a_bead_measured_in_workshop_units_is_the_same_bead(tmp_path):
    workshop = bead_of(
        tmp_path,
        "temperature [degF], closure [thou], pressure [psi]\n"
        "68, 0, 0\n68, 3.937007874, 5801.509509\n302, 0, 0\n302, 3.937007874, 5076.320821\n",
    )
    si = bead_of(
        tmp_path,
        "closure [mm], pressure [MPa], temperature [degC]\n0, 0, 20\n0.1, 40, 20\n0, 0, 150\n0.1, 35, 150\n",
    )
    assert len(workshop.curves) == 2
    for one, other in zip(workshop.curves, si.curves, strict=True):
        assert one.temperature == pytest.approx(other.temperature)
        assert one.closure == pytest.approx(other.closure)
        assert one.pressure == pytest.approx(other.pressure)


@pytest.mark.parametrize(
    "table",
    [
        "closure [mm]; pressure [MPa]\n0; 0\n0,05; 12\n0,1; 40\n",
        "# bead 3, rig of Tuesday\npressure [bar],closure [um]\n\n0,0\n  # pressed\n120,50\n400,1e2\n",
        '"closure [mm]","pressure [MPa]"\r\n"0","0"\r\n"0.05","12"\r\n"0.1","40"\r\n,\r\n',
        "\ufeffClosure [mm], Pressure [N/mm2]\n0, 0\n5.0e-2, 12.0\n.1, +40\n",
    ],
    ids=["decimal commas", "comments, other order", "quotes and a row of nothing", "byte order mark"],
)
def test_a_table_may_be_written_as_spreadsheets_and_rigs_write_it(tmp_path, table):
    (curve,) = bead_of(tmp_path, table).curves
    assert curve.closure == pytest.approx((0.0, 0.05, 0.1))
    assert curve.pressure == pytest.approx((0.0, 12.0, 40.0))
    assert curve.temperature == 20.0


def test_a_line_load_over_the_width_of_the_zone_is_its_pressure(tmp_path):
    (curve,) = bead_of(tmp_path, "closure [mm], line load [N/mm]\n0, 0\n0.05, 60\n0.1, 200\n", 'width = "5 mm"').curves
    assert curve.pressure == pytest.approx((0.0, 12.0, 40.0))


def test_rows_of_one_temperature_form_one_curve_wherever_they_stand(tmp_path):
    law = bead_of(
        tmp_path,
        "closure [mm], temperature [degC], pressure [MPa]\n0, 150, 0\n0, 20, 0\n0.1, 20, 40\n0.2, 20, 90\n0.1, 150, 35\n",
    )
    assert [curve.temperature for curve in law.curves] == [20.0, 150.0]
    assert [curve.pressure for curve in law.curves] == [(0.0, 40.0, 90.0), (0.0, 35.0)]


def test_a_cell_file_reads_the_same_tables(tmp_path):
    (tmp_path / "bead.csv").write_text(SI)
    text = with_law('file = "bead.csv"', shipped_cells()["boosted-four-cell"].read_text("utf-8"))
    cell = parse_cell(text, folder=tmp_path)
    assert {zone.law.source for zone in cell.zones if zone.law.name == "mine"} == {"read from bead.csv"}


@pytest.mark.parametrize(
    ("table", "more", "expected"),
    [
        ("closure [mm], druck [MPa]\n0, 0\n", "", r"bead\.csv: line 1, column 'druck \[MPa\]': unknown column; known are closure \[mm\], pressure"),
        ("closure, pressure [MPa]\n0, 0\n", "", r"line 1, column 'closure': needs its unit in brackets, such as 'closure \[mm\]'"),
        ("closure [mm]\tpressure [MPa]\n0\t0\n", "", r"line 1, column '.*': unknown column; .*separated by comma or semicolon"),
        ("closure [kg], pressure [MPa]\n0, 0\n", "", r"line 1, column 'closure \[kg\]': unit 'kg' is no unit of length.*\(got 'kg'\)"),
        ("closure [mm], pressure [smoot]\n0, 0\n", "", r"line 1, column 'pressure \[smoot\]': unknown unit 'smoot'"),
        ("closure [mm], pressure [MPa], closure [in]\n0, 0, 0\n", "", r"line 1, column 'closure \[in\]': there are two columns of closure"),
        ("pressure [MPa], temperature [degC]\n0, 20\n", "", r"line 1: needs a column 'closure \[mm\]'"),
        ("closure [mm], temperature [degC]\n0, 20\n", "", r"line 1: needs one column of 'pressure \[MPa\]' or 'line load"),
        ("closure [mm], pressure [MPa], line load [N/mm]\n0, 0, 0\n", "", r"line 1: needs one column of 'pressure"),
        ("closure [mm], line load [N/mm]\n0, 0\n", "", r"line 1, column 'line load \[N/mm\]': a line load needs the `width`"),
        (SI, 'width = "5 mm"', r"line 1, column 'pressure \[MPa\]': `width` goes with a line load"),
        ("# only words\n", "", r"line 1: needs a column 'closure \[mm\]'"),
        ("closure [mm], pressure [MPa]\n", "", r"line 1: has a heading but no rows"),
        ("closure [mm], pressure [MPa]\n0, 0\n", "", r"line 2: a curve needs at least two rows, this one has one"),
        ("closure [mm], pressure [MPa]\n0, 0\n0.1, lots\n", "", r"line 3, column 'pressure \[MPa\]': must be a number with a decimal point; .*\(got 'lots'\)"),
        ("closure [mm], pressure [MPa]\n0, 0\n0.1, 40 MPa\n", "", r"line 3, column 'pressure \[MPa\]': must be a number.*heading \(got '40 MPa'\)"),
        ("closure [mm], pressure [MPa]\n0, 0\n0.1, \n", "", r"line 3, column 'pressure \[MPa\]': must be a number.*\(got ''\)"),
        ("closure [mm], pressure [MPa]\n0, 0\n0.1, nan\n", "", r"line 3, column 'pressure \[MPa\]': must be a number.*\(got 'nan'\)"),
        ("closure [mm], pressure [MPa]\n0, 0\n0.1, 1e99\n", "", r"line 3, column 'pressure \[MPa\]': not a finite pressure"),
        ("closure [mm], pressure [MPa]\n0, 0\n0,1, 40\n", "", r"line 3: has 3 cells where the heading has 2; with decimal commas, separate .* \(got '0, 1, 40'\)"),
        ("closure [mm]; pressure [MPa]\n0; 0\n0,1\n", "", r"line 3: has 1 cells where the heading has 2 \(got '0,1'\)"),
        ("closure [mm]; pressure [MPa]\n0; 0\n0,1; 1.200,5\n", "", r"line 3, column 'pressure \[MPa\]': must be a number with a decimal point or comma.*'1\.200,5'"),
        ('closure [mm], pressure [MPa]\n0, 0\n"0.1, 40\n', "", r"line 3: is no line of a CSV table"),
        ("closure [mm], pressure [MPa]\n-0.01, 0\n0.1, 40\n", "", r"line 2, column 'closure \[mm\]': closure starts at first touch.*\(got '-0\.01'\)"),
        ("closure [mm], pressure [MPa]\n0, 3\n0.1, 40\n", "", r"line 2, column 'pressure \[MPa\]': the first row must have zero pressure.*\(got '3'\)"),
        ("closure [mm], pressure [MPa]\n0, 0\n0.1, 40\n0.1, 50\n", "", r"line 4, column 'closure \[mm\]': closure must rise from row to row, but line 3 has 0\.1 \(got '0\.1'\)"),
        ("closure [mm], pressure [MPa]\n0, 0\n0.1, 40\n0.2, 39\n", "", r"line 4, column 'pressure \[MPa\]': pressure must not fall .*, but line 3 has 40 \(got '39'\)"),
        ("temperature [degC], closure [mm], pressure [MPa]\n20, 0, 0\n150, 0, 0\n20, 0.1, 9\n", "", r"line 3: a curve needs at least two rows, this one at 150 degC has one"),
        ("temperature [degC], closure [mm], pressure [MPa]\n-300, 0, 0\n", "", r"line 2, column 'temperature \[degC\]': must be greater than -273\.15 degC \(got '-300'\)"),
        (b"closure [mm], pressure [MPa]\n0, 0\n0.1, 4\xff\n", "", r"bead\.csv: line 3: is not UTF-8 text"),
        (SI, "unloading_stiffness = 400", r"joint\.toml: gasket\.laws\.mine\.unloading_stiffness: .*at least the steepest loading slope, 560"),
        (SI, "closure = [0, 1]\npressure = [0, 1]", r"gasket\.laws\.mine: state the law by .*; this one has closure and file"),
        (SI, "pressure = [0, 1]", r"gasket\.laws\.mine\.pressure: belongs to a law stated by `closure`"),
    ],
)  # fmt: skip
def test_a_mistake_in_a_table_is_named_with_line_column_value_and_remedy(tmp_path, table, more, expected):
    message = refusal(tmp_path, table, more)
    assert re.search(expected, message), message


def test_a_table_that_is_not_there_is_named_with_the_folder_it_was_looked_for_in(tmp_path):
    for name in ("none.csv", ".", "no\\u0000name.csv"):
        with pytest.raises(
            InputError, match=r"gasket\.laws\.mine\.file: no such file in .*" + re.escape(str(tmp_path))
        ):
            parse_joint(with_law(f'file = "{name}"'), file="joint.toml", folder=tmp_path)


def test_a_law_without_any_rows_is_told_how_to_state_them():
    with pytest.raises(InputError, match=r"gasket\.laws\.mine: state the law by closure and pressure, by curves"):
        parse_joint(with_law("crush_pressure = 100"))
