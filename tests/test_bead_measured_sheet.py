"""A sheet of stated compression data: what is loading, what is opening, and the law that follows."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from click.testing import CliRunner
from conftest import shipped_text

from headjoint.cases.cli import app
from headjoint.cases.command.made import made_from
from headjoint.cases.command.stated_files import shipped_files
from headjoint.model.base.errors import InputError
from headjoint.model.bead.measured_sheet import sheet_of
from headjoint.model.bead.reading import read_bead, read_gasket
from headjoint.model.files.computed_file import ComputedTable
from headjoint.model.files.measured_file import MeasuredFile
from headjoint.model.gasket.opening_curves import OpeningCurvesLaw
from headjoint.model.load_case import CaseHeat
from headjoint.model.reading.fragment import judged_law
from headjoint.model.reading.reading import checked, joint_of, parse_toml
from headjoint.postproc.bead.answer import run_gasket
from headjoint.postproc.bead.measured import measured_answer

# pressed to 10 and 30 MPa, let go to nothing and to 5 MPa
ROWS = """thickness [mm]; pressure [MPa]
2,00; 0
1,90; 4
1,80; 10
1,84; 2
1,86; 0
1,82; 6
1,79; 11
1,60; 30
1,64; 12
1,66; 5
"""


def stated(folder, more: str = "", rows: str = ROWS, name: str = "press.csv"):
    (folder / name).write_text(rows, encoding="utf-8")
    text = f'name = "sheet"\n[measured]\ndata = "press.csv"\nsource = "own press"\n{more}'
    return sheet_of(checked(parse_toml(text), MeasuredFile), folder)


def test_rising_rows_load_and_falling_ones_open_and_pressing_again_is_passed_over(tmp_path):
    sheet = stated(tmp_path)
    closure, pressure = sheet.measured.loading
    assert closure == pytest.approx([0.0, 0.1, 0.2, 0.21, 0.4])
    assert pressure == pytest.approx([0.0, 4.0, 10.0, 11.0, 30.0])
    one, other = sheet.measured.openings
    assert one == pytest.approx(np.array([[0.2, 0.16, 0.14], [10.0, 2.0, 0.0]]))
    assert other == pytest.approx(np.array([[0.4, 0.36, 0.34], [30.0, 12.0, 5.0]]))


def test_the_law_bears_what_was_measured_there_and_back(tmp_path):
    answer = measured_answer(stated(tmp_path, "range = 0.2\n"))
    law = answer.law
    assert isinstance(law, OpeningCurvesLaw)
    assert law.spread == 0.2
    for closure, pressure in answer.sheet.measured.loading.T:
        assert law.loading(closure, 20.0) == pytest.approx(pressure, abs=0.15)
    kept = law.set_after(0.2, 0.0, 20.0)
    assert kept == pytest.approx(0.14)
    assert law.pressure(0.16, kept, 20.0) == pytest.approx(2.0)
    # let go to 5 MPa only: on along (0.36, 12), (0.34, 5) to 0.34 - 5 * 0.02/7 = 0.32571
    assert law.set_after(0.4, 0.0, 20.0) == pytest.approx(0.325714, abs=1e-6)
    assert any("opened from 0.4 mm it was let go to 5 MPa only" in one for one in answer.cautions)
    assert "own press" in law.source
    assert "up to 0.4 mm and 30 MPa" in law.source


def test_columns_of_rows_are_told_by_their_headings_whatever_their_order_and_unit(tmp_path):
    turned = [f"{p.strip()}; {t}" for t, p in (line.split(";") for line in ROWS.splitlines())]
    other = stated(tmp_path, rows="\n".join(turned).replace("[MPa]", "[N/mm^2]"))
    assert np.array_equal(other.measured.loading, stated(tmp_path).measured.loading)


def test_the_range_is_how_far_pieces_are_apart(tmp_path):
    """A piece that bears a tenth more at every closure is a tenth apart."""
    lines = ROWS.splitlines()
    more = [f"{t}; {1.1 * float(p):.3f}".replace(".", ",") for t, p in (line.split(";") for line in lines[1:])]
    (tmp_path / "second.csv").write_text("\n".join([lines[0], *more]), encoding="utf-8")
    sheet = stated(tmp_path, 'specimens = ["second.csv"]\n')
    assert sheet.spread == pytest.approx(0.1, abs=1e-9)
    assert "2 pieces" in measured_answer(sheet).law.source
    assert any("no range is known" in one for one in measured_answer(stated(tmp_path)).report().sentences)


def test_an_answer_names_the_tables_that_it_was_made_from(tmp_path):
    stated(tmp_path, rows=ROWS)
    (tmp_path / "second.csv").write_text(ROWS, encoding="utf-8")
    path = tmp_path / "sheet.toml"
    path.write_text('name = "sheet"\n[measured]\ndata = "press.csv"\nspecimens = ["second.csv"]\n', "utf-8")
    assert [name for name, _ in made_from([path]).files] == ["sheet.toml", "press.csv", "second.csv"]


@pytest.mark.parametrize(
    ("change", "to", "message"),
    [
        ("2,00; 0", "2,00; 3", r"press\.csv: the first row must bear next to nothing"),
        ("1,84; 2", "1,84; -2", r"press\.csv: the first row must bear next to nothing.*no row less"),
        ("thickness", "gap", r"press\.csv: line 1: needs two columns"),
        ("1,90; 4", "1,90; x", r"press\.csv: line 3: must be numbers"),
        ("1,90; 4", "1,90; 4; 5", r"press\.csv: line 3: has 3 cells"),
        (ROWS[ROWS.index("1,84") :], "", r"press\.csv: is never let go"),
    ],
)
def test_a_mistake_in_rows_is_said_by_its_line(tmp_path, change, to, message):
    assert change in ROWS
    with pytest.raises(InputError, match=message):
        stated(tmp_path, rows=ROWS.replace(change, to))


@pytest.mark.parametrize(
    ("change", "to", "message"),
    [
        ("1,60; 30", "1,90; 30", "row 8: the sheet presses with more than the 11 MPa before, and is thicker by 110 um"),
        ("1,60; 30", "1,60; 3", "row 8: the sheet presses with less than the 11 MPa before, and is thinner by 190 um"),
        ("1,66; 5", "1,46; 5", "row 10: the sheet presses with less than the 30 MPa before, and is thinner by 140 um"),
    ],
)
def test_rows_that_no_sheet_shows_are_refused_and_not_passed_over(tmp_path, change, to, message):
    with pytest.raises(InputError, match=message):
        stated(tmp_path, rows=ROWS.replace(change, to))


def test_readings_may_be_out_of_order_by_a_little(tmp_path):
    creeps = ROWS.replace("1,64; 12", "1,59; 28\n1,64; 12")  # at the press's standstill
    assert stated(tmp_path, rows=creeps).measured.loading[0, -1] == pytest.approx(0.4)


def test_a_sheet_may_give_way_at_nearly_the_greatest_pressure_and_its_law_is_no_kinder(tmp_path):
    """6 MPa at 1.8 mm, then 5.98 at 1.7: at 0.2 mm and between it bears no more than at 0.3 mm."""
    rows = "thickness [mm]; pressure [MPa]\n2; 0\n1.9; 4\n1.8; 6\n1.7; 5.98\n1.65; 8\n1.72; 3\n1.75; 0\n"
    answer = measured_answer(stated(tmp_path, rows=rows))
    closure, pressure = answer.sheet.measured.loading
    assert closure == pytest.approx([0.0, 0.1, 0.2, 0.3, 0.35])
    assert pressure == pytest.approx([0.0, 4.0, 0.999 * 5.98, 5.98, 8.0])
    assert answer.law.loading(0.3, 20.0) == pytest.approx(5.98, rel=1e-3)
    # creep by steps of 4 % of the greatest closure, each by itself nothing, comes to the same
    steps = rows.replace("1.7; 5.98", "1.786; 5.99\n1.772; 5.99\n1.758; 5.99\n1.744; 5.99\n1.73; 5.98\n1.72; 5.98")
    assert np.interp(0.26, *stated(tmp_path, rows=steps).measured.loading) <= 5.99
    # so it is where it gives way at the same pressure to the digit
    same = stated(tmp_path, rows=rows.replace("5.98", "6")).measured.loading
    assert same[1] == pytest.approx([0.0, 4.0, 0.999 * 6.0, 6.0, 8.0])


def test_a_sheet_pressed_again_may_be_thinner_by_creep_and_opens_from_there(tmp_path):
    """Pressed again to 29.9 after 30 MPa it is 22 um thinner, and then let go."""
    rows = ROWS + "1,578; 29,9\n1,62; 12\n1,64; 5\n"
    answer = measured_answer(stated(tmp_path, rows=rows))
    loading, openings = answer.sheet.measured.loading, answer.sheet.measured.openings
    assert loading[:, -2:] == pytest.approx(np.array([[0.4, 0.422], [0.999 * 29.9, 29.9]]))
    assert [one[:, 0] for one in openings[1:]] == [pytest.approx(loading[:, -2]), pytest.approx(loading[:, -1])]
    assert openings[1][:, 1:] == pytest.approx(np.array([[0.36, 0.34], [12.0, 5.0]]))
    assert openings[2][:, 1:] == pytest.approx(np.array([[0.38, 0.36], [12.0, 5.0]]))


def test_what_was_let_go_above_the_pressure_at_which_the_sheet_gave_way_is_no_opening(tmp_path):
    rows = ROWS.replace("1,60; 30", "1,60; 30\n1,602; 29,95\n1,57; 29,9")
    assert [one[1, 0] for one in stated(tmp_path, rows=rows).measured.openings] == pytest.approx([10.0, 29.9])


@pytest.mark.parametrize(("share", "taken"), [(0.905, True), (0.895, False)])
def test_a_thinner_sheet_is_a_slip_below_nine_tenths_of_the_greatest_pressure(tmp_path, share, taken):
    rows = ROWS.replace("1,64; 12", f"1,57; {30.0 * share}\n1,64; 12")
    if taken:
        assert stated(tmp_path, rows=rows).measured.loading[:, -1] == pytest.approx([0.43, 30.0 * share])
        return
    with pytest.raises(InputError, match="less than the 30 MPa before, and is thinner by 30 um"):
        stated(tmp_path, rows=rows)


def test_a_sheet_has_one_source_of_rows_and_one_of_its_range(tmp_path):
    with pytest.raises(InputError, match="either `data` or `rows`"):
        stated(tmp_path, 'rows = [["2 mm", "0 MPa"], ["1.9 mm", "4 MPa"], ["1.8 mm", "9 MPa"]]\n')
    with pytest.raises(InputError, match=r"measured\.range: belongs to a sheet without `specimens`"):
        stated(tmp_path, 'range = 0.1\nspecimens = ["press.csv"]\n')
    with pytest.raises(InputError, match="no such file"):
        stated(tmp_path, 'specimens = ["other.csv"]\n')


@pytest.mark.parametrize(
    ("more", "rows", "message"),
    [
        ("", ROWS.replace("1,60; 30", "-0,10; 30"), r"press\.csv: thickness must be greater than 0 \(got '-0\.1 mm'\)"),
        ("", ROWS.replace("[mm]", "[m]"), r"thickness of the measured sheet: credible are 0\.05 to 10 mm"),
        ("", ROWS.replace("[MPa]", "[GPa]"), "pressure of the measured sheet: credible are 0 to 2000 MPa"),
        ('temperature = "20 K"\n', ROWS, r"temperature of the measured sheet: .* \(got '-253\.1 degC'\)"),
        ('specimens = ["press.csv"]\n', ROWS, r"measured\.specimens\[0\]: has the readings of another piece"),
    ],
)
def test_what_no_sheet_can_be_is_refused(tmp_path, more, rows, message):
    with pytest.raises(InputError, match=message):
        stated(tmp_path, more, rows)


def test_a_file_states_one_gasket(tmp_path):
    path = tmp_path / "two.toml"
    path.write_text('name = "two"\n[ring]\n[measured]\n')
    with pytest.raises(InputError, match=r"two\.toml: measured: stands beside \[ring\]: a file states one gasket"):
        read_gasket(path)


def test_the_command_writes_the_law_of_a_sheet_and_an_engine_reads_it(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    path = shipped_files("beads")["measured-sheet"]
    run = CliRunner().invoke(app, ["bead", str(path), "-o", str(tmp_path / "out")], catch_exceptions=False)
    assert run.exit_code == 0
    assert "plus-minus 25 %" in run.output
    written = {one.name for one in (tmp_path / "out").iterdir()}
    assert written == {"bead.json", "bead.html", "bead.pdf", "law.toml", "curve.csv", "curve.png"}
    document = json.loads((tmp_path / "out" / "bead.json").read_text("utf-8"))
    assert document["format"] == "headjoint-measured-sheet"
    shown = CliRunner().invoke(app, ["law", str(tmp_path / "out" / "law.toml")], catch_exceptions=False)
    assert shown.exit_code == 0, shown.output
    with pytest.raises(InputError, match="nothing is set beside stated compression data"):
        run_gasket(path, path, lambda name: None)
    with pytest.raises(InputError, match="states compression data of a sheet"):
        read_bead(path)
    assert read_gasket(path).thickness == pytest.approx(1.5)


@pytest.mark.parametrize(("temperature", "cautions"), [("20 degC", 1), ("90 degC", 1), ("95 degC", 0)])
def test_a_joint_hotter_than_its_sheet_was_measured_says_so(tmp_path, temperature, cautions):
    """Hot, head and block are at 118 and 104 degC and the gasket between them at 111, more than 20 K over 90 degC."""
    answer = measured_answer(stated(tmp_path, f'temperature = "{temperature}"\n'))
    (tmp_path / "law.toml").write_text(answer.fragment, "utf-8")
    text = 'include = "law.toml"\n' + shipped_text("boosted-four-steel")
    unused, used = (
        joint_of(parse_toml(one), folder=tmp_path).measured
        for one in (text, text.replace('law = "multi-layer steel body"', 'law = "sheet"'))
    )
    assert unused == ()
    said = [caution for one in used for caution in one.cautions]
    assert len(said) == cautions
    assert all(f"was measured at {temperature} and the gasket is 111 degC hot" in one for one in said)


def test_a_joint_whose_heat_is_still_to_be_found_says_at_what_its_sheet_was_measured(tmp_path):
    (tmp_path / "law.toml").write_text(measured_answer(stated(tmp_path)).fragment, "utf-8")
    text = shipped_text("boosted-four-steel").replace('law = "multi-layer steel body"', 'law = "sheet"')
    joint = joint_of(parse_toml(f'include = "law.toml"\n{text}'), folder=tmp_path)
    cold, hot, *_ = joint.load_cases
    by_heat = replace(joint, load_cases=(cold, replace(hot, heat=CaseHeat(60.0, steady=False))))
    table = ComputedTable(bead="sheet", deepest_closure=0.4, temperature=[400.0])
    (measured,) = judged_law(table, "law.toml", by_heat)
    assert "was measured at 400 degC and the gasket is as hot as heat is found to make it" in measured.cautions[0]
    assert judged_law(table, "law.toml", joint) == []
