"""Gasket laws that a user brings, tables from CSV and beads in series; what no law may do; how laws are shown."""

from __future__ import annotations

import dataclasses
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from conftest import guide_example, shipped_text
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib import rc_context
from matplotlib.image import imread

from headjoint.cases.command.stated_files import shipped_cells
from headjoint.model.base.errors import InputError
from headjoint.model.gasket import curves_csv as law_csv
from headjoint.model.gasket.law import GasketLaw, check_law
from headjoint.model.gasket.layers import in_series, with_stop
from headjoint.model.gasket.loading import LoadingCurve, curve_at
from headjoint.model.gasket.loop_energy import loop_energy
from headjoint.model.gasket.one_stiffness import OneStiffnessLaw
from headjoint.model.gasket.shipped_laws import gasket_law, library
from headjoint.model.reading.reading import parse_cell, parse_joint, read_joint
from headjoint.postproc.law import pictures as law_pictures
from headjoint.postproc.law.pictures import law_picture, picture_names
from headjoint.postproc.law.report import creep_text

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
    engine = re.sub('law = "computed boosted bead".*', BEAD, shipped_cells()["boosted-four"].read_text("utf-8"))
    text = with_law('file = "bead.csv"', engine)
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
        ("closure [mm], pressure [MPa]\n0, 0\n0.1, 1e99\n", "", r"line 3, column 'pressure \[MPa\]': outside the credible range"),
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


TABLE_WORDS = st.sampled_from(
    ["closure [mm]", "pressure [MPa]", "line load [N/mm]", "[", "0", "0,1", "1e3", "-4", "#", ";", ",", "\n", '"', " "]
)


@settings(max_examples=300, deadline=None)
@given(st.one_of(st.text(max_size=200), st.lists(TABLE_WORDS, max_size=25).map("".join)), st.sampled_from([None, 5.0]))
def test_any_table_is_read_or_refused_but_never_crashes(tmp_path_factory, table, width):
    path = tmp_path_factory.getbasetemp() / "any.csv"
    path.write_text(table, encoding="utf-8", errors="replace")
    try:
        curves = law_csv.read_curves(path, "any.csv", width)
        check_law(OneStiffnessLaw("any", curves, None), "any")
    except InputError as error:
        assert str(error).startswith("any.csv: ")


def test_a_table_that_is_not_there_is_named_with_the_folder_it_was_looked_for_in(tmp_path):
    for name in ("none.csv", ".", "n" * 300):
        with pytest.raises(
            InputError, match=r"gasket\.laws\.mine\.file: no such file in .*" + re.escape(str(tmp_path))
        ):
            parse_joint(with_law(f'file = "{name}"'), file="joint.toml", folder=tmp_path)


def test_a_law_without_any_rows_is_told_how_to_state_them():
    with pytest.raises(InputError, match=r"gasket\.laws\.mine: state the law by closure and pressure, by curves"):
        parse_joint(with_law("crush_pressure = 100"))


def straight(stiffness: float, unloading: float | None = None, **more) -> GasketLaw:
    """Return a straight law of `stiffness` up to 100 MPa."""
    curve = LoadingCurve(20.0, (0.0, 100.0 / stiffness), (0.0, 100.0))
    return OneStiffnessLaw(f"straight {stiffness:g}", (curve,), unloading, **more)


@pytest.mark.parametrize(("where", "share"), [("low", 0.87), ("middle", 1.0), ("high", 1.13)])
def test_a_file_takes_its_laws_anywhere_in_their_range(where, share):
    text = shipped_cells()["boosted-four"].read_text("utf-8").replace("[gasket]\n", f'[gasket]\nlaws_at = "{where}"\n')
    bead = next(zone.law for zone in parse_cell(text).zones if zone.name == "bead")
    # rows of 35.573 MPa at 0.095786 mm and 38.68 at 0.102: 35.573 + 3.107 * 4.214/6.214 at 0.10 mm; plus-minus 13 %
    assert bead.pressure(0.10, 0.0, 20.0) == pytest.approx(37.68 * share, rel=1e-5)


SHIPPED = [pytest.param(law, id=name) for name, law in library().items()]


@pytest.mark.parametrize("law", SHIPPED)
def test_two_equal_beads_in_series_are_twice_as_soft(law):
    stack = check_law(in_series("two", [law, law]), "two")
    for temperature in (20.0, 85.0, 300.0):
        for closure in (0.0, 0.003, 0.011, 0.05, 0.13, 0.7):
            alone = law.loading(closure, temperature)
            assert stack.loading(2.0 * closure, temperature) == pytest.approx(alone, rel=1e-9, abs=1e-9)
    assert stack.unloading_stiffness == pytest.approx(law.stiffest / 2.0)
    assert (stack.crush_pressure, stack.spread) == (law.crush_pressure, law.spread)


def test_a_soft_and_a_stiff_bead_in_series_by_hand():
    soft = OneStiffnessLaw(
        "soft", (LoadingCurve(20.0, (0.0, 0.1, 0.2), (0.0, 10.0, 40.0)),), 300.0, crush_pressure=80.0, spread=0.3
    )
    stiff = OneStiffnessLaw(
        "stiff", (LoadingCurve(20.0, (0.0, 0.01, 0.02), (0.0, 20.0, 50.0)),), 6000.0, crush_pressure=60.0, spread=0.2
    )
    stack = in_series("both", [soft, stiff])
    # at 10 MPa 0.1 + 0.005; at 20 MPa 0.1333 + 0.01; at 40 MPa 0.2 + 0.01667; at 50 MPa 0.2333 (on its slope) + 0.02
    assert stack.curves[0].pressure == (0.0, 10.0, 20.0, 40.0, 50.0)
    assert stack.curves[0].closure == pytest.approx((0.0, 0.105, 0.1 + 0.1 / 3 + 0.01, 0.2 + 0.05 / 3, 0.7 / 3 + 0.02))
    # last slopes 300 and 3000 in series
    assert stack.curves[0].slopes()[-1] == pytest.approx(1.0 / (1.0 / 300.0 + 1.0 / 3000.0))
    assert stack.unloading_stiffness == pytest.approx(1.0 / (1.0 / 300.0 + 1.0 / 6000.0))
    assert stack.crush_pressure == 60.0
    assert stack.spread == 0.3
    assert check_law(stack, "both") is stack


def test_a_stack_has_a_curve_at_every_temperature_of_any_layer():
    cold = OneStiffnessLaw("cold", (LoadingCurve(20.0, (0.0, 0.1), (0.0, 10.0)),), None)
    warm = OneStiffnessLaw(
        "warm", (LoadingCurve(50.0, (0.0, 0.1), (0.0, 20.0)), LoadingCurve(150.0, (0.0, 0.1), (0.0, 10.0))), None
    )
    stack = in_series("both", [cold, warm, cold])
    assert [curve.temperature for curve in stack.curves] == [20.0, 50.0, 150.0]
    # 100 MPa/mm twice with 200 at 50 degC and below, with 100 at 150 degC
    assert [curve.slopes()[0] for curve in stack.curves] == pytest.approx([40.0, 40.0, 100.0 / 3.0])


def test_a_layer_that_yields_or_gives_way_sets_the_pressure_of_the_stack():
    crumples = OneStiffnessLaw("crumples", (LoadingCurve(20.0, (0.0, 0.1, 0.3, 0.4), (0.0, 10.0, 10.0, 30.0)),), None)
    flows = OneStiffnessLaw("flows", (LoadingCurve(20.0, (0.02, 0.1, 0.2), (0.0, 20.0, 20.0)),), None)
    stack = check_law(in_series("both", [crumples, flows]), "both")
    assert stack.touch == pytest.approx(0.02)
    # level while the one crumples at 10 MPa, level for good where the other flows at 20 MPa
    assert [stack.loading(c, 20.0) for c in (0.16, 0.36)] == pytest.approx([10.0, 10.0])
    assert [stack.loading(c, 20.0) for c in (0.45, 0.5, 9.0)] == pytest.approx([20.0, 20.0, 20.0])


def test_a_layer_that_keeps_no_set_adds_its_steepest_loading_slope():
    assert in_series("elastic", [straight(100.0), straight(300.0)]).unloading_stiffness is None
    mixed = in_series("mixed", [straight(100.0), straight(300.0, unloading=600.0)])
    # exact for a straight law: 100 and 600 in series
    assert mixed.unloading_stiffness == pytest.approx(600.0 / 7.0)


def test_a_stop_beside_the_beads_takes_over_beyond_its_closure():
    bead = OneStiffnessLaw("bead", (LoadingCurve(20.0, (0.0, 0.1, 0.2), (0.0, 30.0, 80.0)),), 900.0)
    law = check_law(with_stop(in_series("stopped", [bead]), 0.15, 30000.0), "stopped")
    for closure in (0.05, 0.1, 0.15):
        assert law.loading(closure, 20.0) == pytest.approx(bead.loading(closure, 20.0))
    for beyond in (0.16, 0.2, 0.5):
        assert law.loading(beyond, 20.0) == pytest.approx(bead.loading(beyond, 20.0) + 30000.0 * (beyond - 0.15))
    assert law.unloading_stiffness == pytest.approx(30900.0)
    # a stop beyond the table, and one that stands at a row of it
    for place in (0.2, 0.3):
        late = check_law(with_stop(bead, place, 30000.0), "late")
        assert late.loading(place, 20.0) == pytest.approx(bead.loading(place, 20.0))
        assert late.loading(place + 0.1, 20.0) == pytest.approx(bead.loading(place + 0.1, 20.0) + 3000.0)


def test_a_joint_file_stacks_shipped_laws_and_its_own_in_any_order():
    text = with_law('series = ["pair", "mine too"]\nstopper_closure = "16 thou"\nstopper_stiffness = "30 GPa/mm"')
    text += '\n[gasket.laws.pair]\nseries = ["multi-layer steel bead", "multi-layer steel bead"]\n'
    text += '\n[gasket.laws."mine too"]\nclosure = [0, 0.1]\npressure = [0, 40]\nunloading_stiffness = 800\n'
    law = law_of(parse_joint(text))
    by_hand = [gasket_law("multi-layer steel bead")] * 2 + [
        OneStiffnessLaw("mine too", (LoadingCurve(20.0, (0.0, 0.1), (0.0, 40.0)),), 800.0)
    ]
    wanted = with_stop(in_series("by hand", by_hand), 0.4064, 30e3)
    for temperature in (20.0, 150.0):
        for closure in (0.1, 0.3, 0.42):
            assert law.loading(closure, temperature) == pytest.approx(wanted.loading(closure, temperature))
    assert law.unloading_stiffness == pytest.approx(30e3 + 1.0 / (2.0 / 900.0 + 1.0 / 800.0))
    assert law.crush_pressure == 400.0
    assert law.spread is None


@pytest.mark.parametrize(
    ("rows", "expected"),
    [
        ('series = ["multi-layer steel beat"]', r"gasket\.laws\.mine\.series\[0\]: unknown gasket law; nearest: multi-layer steel bead"),
        ("series = []", r"gasket\.laws\.mine\.series: needs at least 1 entry"),
        ("series = [3]", r"gasket\.laws\.mine\.series\[0\]: must be text \(got 3\)"),
        ('series = ["mine"]', r"gasket\.laws\.mine\.series: a series cannot contain itself: mine > mine"),
        ('series = ["a"]\n[gasket.laws.a]\nseries = ["solid copper", "b"]\n[gasket.laws.b]\nseries = ["a"]', r"a series cannot contain itself: (a > b > a|b > a > b)"),
        ('series = ["solid copper"]\n[gasket.laws."solid copper"]\nseries = ["solid copper"]', r"solid copper > solid copper; 'solid copper' is also a shipped law: call your own otherwise"),
        ('series = ["solid copper"]\nstopper_closure = 0.1', r"gasket\.laws\.mine\.stopper_stiffness: a stop needs both"),
        ("closure = [0, 1]\npressure = [0, 1]\nstopper_closure = 0.1", r"gasket\.laws\.mine\.stopper_closure: belongs to a law stated by `series`"),
        ('series = ["solid copper", "solid copper"]\nunloading_stiffness = 3000', r"gasket\.laws\.mine\.unloading_stiffness: .*at least the steepest loading slope, 4375"),
    ],
)  # fmt: skip
def test_a_mistake_in_a_series_is_named(rows, expected):
    with pytest.raises(InputError) as caught:
        parse_joint(with_law(rows), file="joint.toml")
    assert re.search(expected, str(caught.value)), str(caught.value)


SHARES = st.floats(0.0, 1.3)
TEMPERATURES = st.floats(-30.0, 350.0)


@st.composite
def valid_laws(draw, keeps_set: bool | None = None) -> GasketLaw:
    """Draw a law that `check_law` accepts: any rising rows, level pieces, a first touch, up to three temperatures."""
    steps = st.lists(st.floats(1e-3, 0.2), min_size=1, max_size=6)
    curves = []
    for temperature in sorted(draw(st.sets(st.integers(-20, 300), min_size=1, max_size=3))):
        closure, pressure = [draw(st.sampled_from([0.0, 0.05]))], [0.0]
        for step in draw(steps):
            closure.append(closure[-1] + step)
            pressure.append(pressure[-1] + draw(st.one_of(st.just(0.0), st.floats(0.01, 200.0))))
        curves.append(LoadingCurve(float(temperature), tuple(closure), tuple(pressure)))
    steepest = max(slope for curve in curves for slope in curve.slopes())
    keeps = draw(st.booleans()) if keeps_set is None else keeps_set
    unloading = max(steepest, 1.0) * draw(st.sampled_from([1.0, 1.5, 20.0])) if keeps else None
    return check_law(OneStiffnessLaw("drawn", tuple(curves), unloading), "drawn")


def rounding(law: GasketLaw, closures: list[float]) -> float:
    """Return the energy that rounding may feign: a part in 10^12 of the greatest pressure over the whole path."""
    greatest = max(law.loading(max(closures), curve.temperature) for curve in law.curves)
    return 1e-12 * (1.0 + greatest) * (1.0 + sum(closures))


def path_of(law: GasketLaw, shares: list[float]) -> list[float]:
    return [share * max(curve.closure[-1] for curve in law.curves) for share in (*shares, shares[0])]


laws = st.one_of(st.sampled_from(list(library().values())), valid_laws())


@settings(max_examples=300, deadline=None)
@given(laws, st.lists(SHARES, min_size=2, max_size=8), TEMPERATURES)
def test_no_closed_loop_of_a_fresh_zone_gives_energy_back(law, shares, temperature):
    closures = path_of(law, shares)
    assert loop_energy(law, closures, temperature) >= -rounding(law, closures)


@settings(max_examples=200, deadline=None)
@given(st.one_of(st.sampled_from(list(library().values())), valid_laws(keeps_set=True)), st.lists(st.tuples(SHARES, TEMPERATURES), min_size=2, max_size=8))  # fmt: skip
def test_a_law_that_keeps_a_set_gives_none_back_through_any_history_of_temperature_from_first_touch(law, corners):
    closures = path_of(law, [0.0, *(share for share, _ in corners)])
    temperatures = [temperature for _, temperature in corners] + [20.0]
    assert loop_energy(law, closures, temperatures) >= -rounding(law, closures)


@settings(max_examples=100, deadline=None)
@given(valid_laws(keeps_set=False), st.lists(SHARES, min_size=2, max_size=8), TEMPERATURES)
def test_a_law_without_a_set_gives_back_all_and_no_more_at_one_temperature(law, shares, temperature):
    closures = path_of(law, shares)
    assert abs(loop_energy(law, closures, temperature)) <= rounding(law, closures)


def test_a_law_without_a_set_closed_hot_and_opened_cold_turns_heat_into_work():
    curves = (LoadingCurve(20.0, (0.0, 0.2), (0.0, 40.0)), LoadingCurve(150.0, (0.0, 0.2), (0.0, 30.0)))
    law = OneStiffnessLaw("elastic", curves, None)
    # the area between the two curves, (40 - 30) 0.2/2
    assert loop_energy(law, [0.0, 0.2, 0.0], [150.0, 20.0]) == pytest.approx(-1.0)
    assert loop_energy(law, [0.0, 0.2, 0.0], [20.0, 150.0]) == pytest.approx(1.0)
    kept = dataclasses.replace(law, unloading_stiffness=200.0)
    # a set is kept: what was pressed in hot comes back along the unloading line from 30 MPa
    assert loop_energy(kept, [0.0, 0.2, 0.0], [150.0, 20.0]) == pytest.approx(30.0 * 0.2 / 2 - 30.0**2 / 200.0 / 2)


def test_a_loop_takes_the_area_between_loading_and_unloading():
    law = straight(100.0, unloading=400.0)
    # up to 80 MPa at 0.8 mm: 80 0.8/2 in, 80^2/(2 400) back, and nothing more for a second time round
    assert loop_energy(law, [0.0, 0.8, 0.0], 20.0) == pytest.approx(32.0 - 8.0)
    assert loop_energy(law, [0.0, 0.8, 0.0, 0.8, 0.7, 0.0], 20.0) == pytest.approx(24.0)


def test_an_unloading_softer_than_the_loading_would_give_energy_back_and_is_refused():
    cold, hot = LoadingCurve(20.0, (0.0, 0.5, 1.0), (0.0, 10.0, 100.0)), LoadingCurve(150.0, (0.0, 1.0), (0.0, 100.0))
    soft = OneStiffnessLaw("soft", (cold, hot), unloading_stiffness=100.0)
    # closed cold for 2.5 + 27.5, it keeps no set and opens hot for 50
    assert loop_energy(soft, [0.0, 1.0, 0.0], [20.0, 150.0]) == pytest.approx(-20.0)
    with pytest.raises(InputError, match="would give energy back"):
        check_law(soft, "soft")
    stiff = check_law(dataclasses.replace(soft, unloading_stiffness=180.0), "stiff")
    assert loop_energy(stiff, [0.0, 1.0, 0.0], [20.0, 150.0]) == pytest.approx(30.0 - 100.0**2 / 180.0 / 2.0)


def test_a_loop_is_closed():
    with pytest.raises(ValueError, match="ends where it began"):
        loop_energy(straight(100.0), [0.0, 0.5], 20.0)
    with pytest.raises(ValueError, match="2 legs need as many temperatures"):
        loop_energy(straight(100.0), [0.0, 0.5, 0.0], [20.0])


@settings(max_examples=200, deadline=None)
@given(st.lists(laws, min_size=1, max_size=4), st.floats(0.0, 1.0))
def test_a_drawn_stack_bears_the_pressure_at_which_its_layers_closures_add(layers, share):
    stack = check_law(in_series("drawn", layers), "drawn")
    for temperature in (curve.temperature for curve in stack.curves):
        most = min(curve_at(layer.curves, temperature).pressure[-1] for layer in layers)
        pressure = share * most
        # bounds, because a layer may close under one pressure: just below and just above it
        closures = [[place_of(layer, p, temperature) for layer in layers] for p in (pressure * (1 - 1e-6), pressure)]
        below, at = (stack.loading(sum(places), temperature) for places in closures)
        assert below == pytest.approx(pressure * (1 - 1e-6), rel=1e-5, abs=1e-5)
        assert at == pytest.approx(pressure, rel=1e-5, abs=1e-5)


def place_of(law: GasketLaw, pressure: float, temperature: float) -> float:
    """Return the least closure at which a layer bears `pressure`, by halving: no formula of the stack's own."""
    low, high = 0.0, max(curve.closure[-1] for curve in law.curves)
    for _ in range(80):
        middle = (low + high) / 2.0
        low, high = (low, middle) if law.loading(middle, temperature) >= pressure else (middle, high)
    return high


def odd_joint(folder: Path) -> Path:
    """Write a joint whose three zones have laws of every form, with names and sizes that try the picture."""
    rows = [f"{c / 200:.3f}; {c * c / 50:.3f}; {t}" for t in range(20, 320, 25) for c in range(60)]
    (folder / "rig.csv").write_text("\n".join(["closure [mm]; pressure [MPa]; temperature [degC]", *rows]))
    text = STEEL.replace(BEAD, 'law = "three layers"').replace('law = "multi-layer steel stopper"', 'law = "rig"')
    name = "mine [/red] $x_$ " + "and so on " * 12
    text = text.replace('law = "multi-layer steel body"', f'law = "{name}"')
    text += '\n[gasket.laws."three layers"]\nstopper_closure = 0.25\nstopper_stiffness = 8000\n'
    text += 'series = ["multi-layer steel bead", "multi-layer steel bead", "elastomer coated steel"]\n'
    text += '[gasket.laws.rig]\nfile = "rig.csv"\nunloading_stiffness = 3000\ncrush_pressure = 60\n'
    text += f'[gasket.laws."{name}"]\nclosure = [0.02, 0.1, 0.2]\npressure = [0, 90, 90]\n'
    (folder / "odd.toml").write_text(text)
    return folder / "odd.toml"


def test_a_law_is_drawn_whole_with_no_word_cut_off_or_over_another(tmp_path, words_of):
    odd = [zone.law for zone in read_joint(odd_joint(tmp_path)).gasket.zones]
    for law in [*library().values(), *odd]:
        with rc_context({"text.parse_math": False}):
            said = " ".join(words_of(law_picture(law), law.name)).replace("\n", " ")
        assert f"loading at {law.curves[0].temperature:g} degC" in said
        assert f"loading at {law.curves[-1].temperature:g} degC" in said
        assert "crush pressure" in said
        assert ("no measurement" in said) == ("typical shape" in law.source)
        assert ("plus-minus" in said) == (law.spread is not None)
        assert ("sets left" in said) == law.keeps_set


def test_the_picture_shows_the_path_of_the_law_itself():
    law = gasket_law("multi-layer steel bead")
    lines = law_picture(law).axes[0].get_lines()
    loading = next(line for line in lines if line.get_label() == "loading at 150 degC")
    assert tuple(loading.get_ydata()) == law.curves[1].pressure
    first = next(line for line in lines if line.get_label().startswith("unloading"))
    (foot, peak), (zero, pressure) = first.get_xdata(), first.get_ydata()
    assert zero == 0.0
    assert pressure == pytest.approx(law.loading(peak, 20.0))
    # the zone opened from this peak leaves the loading line with the unloading stiffness
    assert pressure / (peak - foot) == pytest.approx(900.0)
    assert loop_energy(law, [0.0, peak, foot, 0.0], 20.0) == pytest.approx(loop_energy(law, [0.0, peak, 0.0], 20.0))


def headjoint(*arguments: str, folder: Path) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "headjoint.cases.cli", "law", *arguments]
    return subprocess.run(command, cwd=folder, capture_output=True, text=True, timeout=120, check=False)


def test_the_command_prints_a_shipped_law_and_draws_it(tmp_path):
    done = headjoint("multi-layer steel bead", "--units", "workshop", folder=tmp_path)
    assert (done.returncode, done.stderr) == (0, "")
    shown = " ".join(done.stdout.split())
    # 0.2 mm, 90 and 85.5 MPa; 900 MPa/mm; 400 MPa
    for words in ("closure thou at 68 degF at 302 degF", "7.874 13.05 12.40", "3.32 ksi/thou", "58.02 ksi", "30 %"):
        assert words in shown
    assert "no measurement stands behind them" in shown
    assert [path.name for path in tmp_path.iterdir()] == ["law-multi-layer-steel-bead.png"]
    picture = imread(tmp_path / "law-multi-layer-steel-bead.png")
    assert picture.shape[1] >= 1200
    assert 0.01 < np.mean(picture[:, :, :3].min(axis=2) < 0.9) < 0.9


def test_a_loss_of_the_whole_pressure_is_written_out():
    # 30, 65 and 100 % per tenfold time
    shown = creep_text(gasket_law("fibre composite body"), "si")
    assert "30 % at 20 degC, 65 % at 100 degC, 100 % at 200 degC" in shown


def test_the_command_shows_every_law_of_a_joints_zones_or_the_one_that_is_asked_for(tmp_path):
    odd_joint(tmp_path)
    done = headjoint("odd.toml", folder=tmp_path)
    assert (done.returncode, done.stderr) == (0, "")
    assert "mine [/red] $x_$ and so on" in done.stdout
    assert "24 of 60 rows" in done.stdout
    drawn = sorted(path.name for path in tmp_path.glob("*.png"))
    assert len(drawn) == 3
    assert drawn[-2:] == ["law-rig.png", "law-three-layers.png"]
    one = headjoint("odd.toml", "--law", "rig", "--output", "one.png", folder=tmp_path)
    assert one.returncode == 0
    assert "three layers" not in one.stdout
    assert (tmp_path / "one.png").read_bytes() == (tmp_path / "law-rig.png").read_bytes()
    assert headjoint("boosted-four", "--law", "multi-layer steel body", folder=tmp_path).returncode == 0


def test_laws_whose_names_make_the_same_file_name_are_numbered():
    laws = [dataclasses.replace(straight(100.0), name=name) for name in ("a b", "a-b", "a/b", "c", "x" * 300)]
    names = picture_names(laws)
    assert names[:4] == ["law-a-b.png", "law-a-b-2.png", "law-a-b-3.png", "law-c.png"]
    assert len(names[4]) < 100


@pytest.mark.parametrize(
    ("arguments", "expected"),
    [
        (["solid coper"], "unknown gasket law or joint file; nearest: solid copper"),
        (["boosted-fuor"], "nearest: boosted-four"),
        (["none.toml"], "no such joint file"),
        (["good.toml", "--law", "multi-layer bead"], "--law: unknown gasket law of this file's zones; nearest: multi-layer steel bead"),
        (["solid copper", "--law", "solid copper"], "--law: chooses among the laws of a file"),
        (["solid copper", "--output", "law.jpg"], "--output: the file ends in .png"),
        (["solid copper", "--output", "nowhere/law.png"], "--output: no such folder to write in"),
        (["good.toml", "--output", "law.png"], "--output: is one picture for several laws; choose with --law"),
        (["bad.toml"], "bead.csv: line 2, column 'pressure [MPa]': the first row must have zero pressure"),
        (["solid copper", "--output", "taken.png"], "--output: is a folder"),
        ([], "Missing argument"),
    ],
)  # fmt: skip
def test_a_mistake_of_the_command_is_one_message_with_exit_code_2_and_leaves_nothing(tmp_path, arguments, expected):
    (tmp_path / "good.toml").write_text(STEEL)
    (tmp_path / "bad.toml").write_text(with_law('file = "bead.csv"'))
    (tmp_path / "bead.csv").write_text("closure [mm], pressure [MPa]\n0, 1\n0.1, 2\n")
    (tmp_path / "taken.png").mkdir()
    before = sorted(path.name for path in tmp_path.iterdir())
    done = headjoint(*arguments, folder=tmp_path)
    assert done.returncode == 2
    assert expected in done.stderr
    assert "Traceback" not in done.stderr + done.stdout
    assert done.stdout == ""
    assert sorted(path.name for path in tmp_path.iterdir()) == before


def test_pictures_are_drawn_all_or_none(tmp_path, monkeypatch):
    laws = [gasket_law("solid copper"), gasket_law("expanded graphite")]
    whole = law_pictures.law_picture

    def fails_at_the_second(law, units):
        if law is laws[1]:
            raise OSError("disk full")
        return whole(law, units)

    monkeypatch.setattr(law_pictures, "law_picture", fails_at_the_second)
    with pytest.raises(OSError, match="disk full"):
        law_pictures.draw_laws(laws, [tmp_path / "one.png", tmp_path / "two.png"])
    assert list(tmp_path.iterdir()) == []


def test_the_laws_of_the_guide_are_read_as_they_stand(tmp_path):
    (tmp_path / "bead.csv").write_text("closure [mm], pressure [MPa], temperature [degC]\n0, 0, 20\n0.1, 40, 20\n")
    joint = parse_joint(
        STEEL.replace(BEAD, 'law = "three layers"') + guide_example("gasket-laws", "series"), folder=tmp_path
    )
    assert law_of(joint).unloading_stiffness == pytest.approx(30e3 + 1.0 / (2.0 / 900.0 + 1.0 / 12000.0))


def test_the_solver_sees_a_stack_as_the_scalar_law_has_it():
    stack = with_stop(in_series("stack", [gasket_law("multi-layer steel bead"), gasket_law("solid copper")]), 0.15, 9e3)
    closures = np.linspace(-0.02, 0.4, 200)
    for temperature in (-10.0, 20.0, 77.0, 150.0, 200.0):
        for permanent_set in (0.0, 0.1):
            found, _ = stack.pressures(closures, np.full(200, permanent_set), temperature)
            scalar = [stack.pressure(closure, permanent_set, temperature) for closure in closures]
            assert found == pytest.approx(scalar, rel=1e-10, abs=1e-10)
