"""The report: drawn to scale, what was assumed, how well data are known, how it was made; on screens and on paper."""

from __future__ import annotations

import base64
import dataclasses
import hashlib
import io
import json
import os
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest
from conftest import browser, joint_file, shipped_text
from PIL import Image
from pypdf import PdfReader

import headjoint
from headjoint.cases.command.delivery import Options, deliver
from headjoint.cases.command.made import made_from
from headjoint.cases.command.stated_files import shipped_files
from headjoint.model.base.figure import said
from headjoint.model.cell import Hole
from headjoint.model.reading.reading import parse_joint
from headjoint.postproc.present.apart import pieces
from headjoint.postproc.present.end_names import spread
from headjoint.postproc.present.page import LINE_LETTERS, commands, cut, page_text
from headjoint.postproc.present.pdf import library, write_pdf
from headjoint.postproc.present.report import Pictures, Report, Sheet, error_text, factor_text, well_known
from headjoint.postproc.present.units import figure_text
from headjoint.postproc.stated.cut import Block, outlines, rings_cut
from headjoint.postproc.stated.cut_engine import cuts
from headjoint.postproc.stated.engine import draw_engine, places_of
from headjoint.postproc.stated.paper import scale_for
from headjoint.postproc.stated.stud import draw_joint
from headjoint.postproc.verdict.requirement import Criterion


@pytest.mark.parametrize(
    ("error", "value", "text"),
    [
        (0.0234, 55.79, "0.03"),
        (4.7e-16, 1e-16, "0.01"),
        (0.0, 55.79, "0.01"),
        (0.02, 55.79, "0.02"),
        (0.18, 870.9, "0.2"),
        (3.7e-6, 0.0117, "0.0001"),
        (12.3, 1029.4, "13"),
        (None, 5.0, ""),
        (0.1, None, ""),
    ],
)
def test_a_mesh_error_is_rounded_up_to_the_last_place_of_its_figure(error, value, text):
    assert error_text(error, value) == text


@pytest.mark.parametrize(
    ("value", "error", "text"),
    [
        (1.3, 0.07, "1.30 +- 0.07"),  # 100 times 0.07 is 7.000000000000001
        (1.3, 0.0701, "1.30 +- 0.08"),
        (1.3, 0.29, "1.30 +- 0.29"),
        (1.3, 1e-9, "1.30 +- 0.01"),
        # 1.1996 falls short of 1.2 by less than two places show
        (1.1996, 0.0012, "1.1996 +- 0.0012"),
        (1.1996, 0.00121, "1.1996 +- 0.0013"),
        (1.3, None, "1.30"),
        (None, 0.1, "> 20"),
    ],
)
def test_the_mesh_error_of_a_factor_has_the_places_of_the_factor(value, error, text):
    one = Criterion("yield", "yield", said(""), value, 1.2, said(""), said(""), 1.0, error)
    assert factor_text(one) == text


def test_what_rounds_to_nothing_is_not_written_with_four_noughts():
    assert [figure_text(value) for value in (0.0, 1e-16, 4e-5, 6e-5, 0.0117, 0.5)] == [
        "0.00", "0.00", "0.00", "0.0001", "0.0117", "0.50",
    ]  # fmt: skip


def test_a_wide_table_is_cut_into_narrow_ones_that_keep_every_figure_and_name():
    headings = ("requirement", *(f"design {number}" for number in range(18)))
    lines = tuple((name, *(f"{name} {number}" for number in range(18))) for name in ("sealing", "yield"))
    whole = Sheet("Beside each other", headings, lines, note="once")
    parts = cut(whole)
    assert len(parts) > 1
    for part in parts:
        assert [line[0] for line in part.lines] == ["sealing", "yield"]
        assert sum(max(len(line[at]) for line in part.lines) for at in range(len(part.headings))) <= LINE_LETTERS
    assert [name for part in parts for name in part.headings[1:]] == list(headings[1:])
    assert [text for part in parts for text in part.lines[1][1:]] == list(lines[1][1:])
    assert [part.note for part in parts].count("once") == 1
    assert cut(Sheet("empty", ("a", "b"), ())) == [Sheet("empty", ("a", "b"), ())]


@pytest.mark.parametrize(
    ("source", "known"),
    [
        ("EN 1706 level, from memory, high confidence; hot values from memory, low confidence", "from memory, low"),
        ("as AISI 4340, from memory, medium confidence", "from memory, medium"),
        ("common practice, no source, unless stated in the joint file", "no source"),
        ("alpha_A = 1.25 as stated", "as stated in the file"),
        ("stated in the joint file", "as stated in the file"),
        ("stated in the joint file, low confidence", "low"),
        ("of an unstated grade, medium confidence", "medium"),
        ("heat treatment unstated", "as its source says"),
        ("heat treatment not stated", "as its source says"),
        ("below confidence of 95 %", "as its source says"),
        ("ISO 898-1 table 3", "as its source says"),
    ],
)
def test_a_datum_is_known_as_well_as_the_least_sure_word_of_its_source(source, known):
    assert well_known(source) == known


def test_what_a_file_leaves_out_is_assumed_and_what_it_states_is_not():
    text = shipped_text("boosted-four-steel")
    left_out = {one.field: one for one in parse_joint(text).assumed}
    assert left_out["requirements.stripping_factor"].value == 1.25
    # free thread above the nut: two pitches of M11x1.25
    assert (left_out["fastener.protrusion"].value, left_out["fastener.protrusion"].unit) == (2.5, "mm")
    assert not {"head.height", "nut.height", "tightening.snug", "mesh.unit"} & set(left_out)
    stated = text.replace("[requirements]", "[requirements]\nstripping_factor = 1.25")
    assert "requirements.stripping_factor" not in {one.field for one in parse_joint(stated).assumed}


def test_the_files_that_a_file_names_are_hashed_with_it(tmp_path):
    engine = shipped_files("cells")["six-stud-ring-own-mesh"]
    made = made_from([engine], "headjoint solve it")
    assert dict(made.files) == {
        name: hashlib.sha256((engine.parent / name).read_bytes()).hexdigest()
        for name in ("six-stud-ring-own-mesh.toml", "six-stud-ring-own-mesh.msh")
    }


def test_a_file_elsewhere_is_not_looked_at(tmp_path):
    (tmp_path / "secret.csv").write_text("1, 2")
    folder = tmp_path / "mine"
    folder.mkdir()
    (folder / "joint.toml").write_text('[gasket.laws.mine]\nfile = "../secret.csv"\n')
    assert [name for name, _ in made_from([folder / "joint.toml"]).files] == ["joint.toml"]


@pytest.mark.parametrize("content", [b"a = [", b"a = \xff", b"a = " + b"[" * 9000, None])
def test_a_file_that_cannot_be_read_is_left_to_whoever_reads_it(tmp_path, content):
    path, good = tmp_path / "joint.toml", tmp_path / "good.toml"
    good.write_text("a = 1\n")
    if content is not None:
        path.write_bytes(content)
    named = ["good.toml"] if content is None else ["joint.toml", "good.toml"]
    assert [name for name, _ in made_from([path, good]).files] == named


def test_a_pipe_is_left_to_whoever_reads_it(tmp_path):
    os.mkfifo(tmp_path / "log.csv")
    assert made_from([tmp_path / "log.csv"]).files == ()


def test_a_file_is_hashed_as_it_was_read_whatever_becomes_of_it_during_the_work(tmp_path):
    path = tmp_path / "joint.toml"
    text = shipped_text("boosted-four-steel")
    path.write_text(text, "utf-8")
    answer = headjoint.estimate(headjoint.read(path))

    def work(told):
        path.write_text(text + "# changed\n", "utf-8")
        return answer

    deliver(path, Options(output=tmp_path / "found"), work)
    page = (tmp_path / "found" / "report.html").read_text("utf-8")
    assert hashlib.sha256(text.encode()).hexdigest() in page
    assert hashlib.sha256(path.read_bytes()).hexdigest() not in page


def test_scales_are_usual_ones_and_what_is_drawn_fits():
    assert scale_for(70.0, 240.0, (75.0, 150.0)) == 2.0
    assert scale_for(70.0, 140.0, (75.0, 150.0)) == 1.0
    assert scale_for(500.0, 100.0, (75.0, 150.0)) == 10.0


def test_names_move_no_more_than_they_must_to_stand_apart():
    # 0 and 1 share their middle, 0.5; 9 is far enough
    assert spread(np.array([9.0, 0.0, 1.0]), np.full(3, 3.0)) == pytest.approx([9.0, -1.0, 2.0])
    assert len(spread(np.array([]), np.array([]))) == 0


def test_no_line_is_drawn_where_a_part_goes_on():
    # a block from 0 to 2 wide in two pieces, a hole from 2 to 3 beside it
    lines = outlines([Block("block", 0.0, 1.0, 0.0, 5.0), Block("block", 1.0, 2.0, 0.0, 5.0)])
    assert ((1.0, 0.0), (1.0, 5.0)) not in lines
    assert ((0.0, 0.0), (0.0, 5.0)) in lines
    assert ((2.0, 0.0), (2.0, 5.0)) in lines


def test_rings_are_cut_to_rectangles_of_their_areas():
    # a ring from 10 to 20 mm, 7 high, and a pin in it of 6 mm in two lengths of 3 and 4
    rings = [("block", 10.0, 20.0, 0.0, 7.0), ("fastener", 0.0, 6.0, 0.0, 3.0), ("fastener", 0.0, 6.0, 3.0, 7.0)]
    assert [(one.part, one.start, one.end, one.bottom, one.top) for one in rings_cut(rings)] == [
        ("fastener", 0.0, 3.0, 0.0, 7.0),
        ("block", 5.0, 10.0, 0.0, 7.0),
    ]


def _area(blocks: list[Block], part: str) -> float:
    return sum((one.end - one.start) * (one.top - one.bottom) for one in blocks if one.part == part)


def test_an_engine_is_cut_as_its_file_says():
    bore, stud, length = cuts(headjoint.read("boosted-four"))
    assert length == 70.0
    # through the bore: 70 - 43 = 27 mm of block 120 high, less a jacket of 4 mm from 16 to 70 deep
    assert _area(bore, "block") == pytest.approx(27.0 * 120.0 - 4.0 * 54.0, rel=2e-3)
    # decks 20 + 14 high all along; between, 66 high, the side wall's 13 and half the centre column's 44
    assert _area(bore, "head") == pytest.approx(70.0 * 34.0 + 66.0 * (13.0 + 22.0), rel=2e-3)
    assert _area(bore, "fastener") == 0.0
    # through the stud at mid-bridge, where a web fills the space: all of the head but a hole of 12
    assert _area(stud, "head") == pytest.approx((70.0 - 12.0) * 100.0, rel=2e-3)
    # 10.2 mm of stud: thread 22, counterbore 10, gasket 0.75, head 100, washer 4, nut 11, and two pitches of 1.25
    assert _area(stud, "fastener") == pytest.approx(10.2 * (22.0 + 10.0 + 0.75 + 100.0 + 4.0 + 11.0 + 2.5), rel=2e-2)


def test_no_gasket_is_drawn_over_an_open_jacket_or_a_hole():
    engine = headjoint.read("boosted-four")
    open_deck = dataclasses.replace(
        engine, block=dataclasses.replace(engine.block, deck_thickness=0.0), holes=(Hole(0.0, 60.0, 6.0),)
    )
    bore, _, _ = cuts(open_deck)
    # 70 - 43 = 27 mm of block 120 high, less a jacket of 4 mm, 70 deep and open
    assert _area(bore, "block") == pytest.approx(27.0 * 120.0 - 4.0 * 70.0, rel=2e-3)
    # 0.75 mm of gasket from its opening of 87.5 out to 70, less that jacket and the hole of 6
    assert _area(bore, "gasket") == pytest.approx(0.75 * (70.0 - 43.75 - 4.0 - 6.0), rel=5e-3)


def test_studs_and_holes_stand_where_the_whole_plan_has_them():
    engine = headjoint.read("boosted-bank-one-fired")
    x, y = engine.layout.studs[0]
    # three bores share the studs of their bridges: four pairs
    assert len(places_of(engine, x, y)) == 8
    ring = headjoint.read("six-stud-ring")
    assert len(places_of(ring, *ring.layout.tile_studs[0])) == 6
    assert len(places_of(ring, 60.0, 12.0)) == 12


@pytest.mark.parametrize("units", ["si", "workshop"])
@pytest.mark.parametrize("name", ["boosted-four", "boosted-bank-one-fired", "six-stud-ring", "yield-tightened-bolt"])
def test_drawings_have_their_words_uncut_and_apart(name, units, words_of):
    stated = headjoint.read(name)
    draw = draw_engine if hasattr(stated, "layout") else draw_joint
    figure = draw(stated, units)
    assert figure.get_size_inches()[1] * 25.4 < 240.0  # with its heading on a page of letter
    words = words_of(figure, name)
    assert any("head" in word for word in words)
    assert any("1:2" in word or "1:5" in word for word in words)


def test_a_drawing_of_one_stud_is_to_scale():
    joint = headjoint.read("boosted-four", model="stud")
    figure = draw_joint(joint)
    # 1:2 on a sheet of 180 mm: the hatched halves of the head are half their share's radius wide and 50 mm high
    assert figure.get_size_inches()[0] == pytest.approx(180.0 / 25.4)
    boxes = [patch for patch in figure.axes[0].patches if patch.get_hatch() == "////"]
    assert {round(box.get_height(), 6) for box in boxes} == {50.0}
    ring = (joint.head.outer_diameter - joint.head.hole_diameter) / 2.0 / 2.0
    assert sum(box.get_width() for box in boxes) == pytest.approx(2.0 * ring)


@pytest.fixture(scope="module")
def reports(tmp_path_factory) -> dict[str, Path]:
    """One quick answer on both papers."""
    answer = headjoint.estimate(joint_file("boosted-four-steel"))
    folders = {}
    for units, paper in (("si", "a4"), ("workshop", "letter")):
        folders[paper] = tmp_path_factory.mktemp(paper)
        made = made_from([Path(joint_file("boosted-four-steel"))], "headjoint estimate boosted-four-steel -o a")
        answer.write_files(folders[paper], units=units, made=made)
    return folders


@pytest.mark.skipif(library() is None, reason="no PDF on this machine")
@pytest.mark.parametrize(("paper", "size"), [("a4", (595.3, 841.9)), ("letter", (612.0, 792.0))])
def test_a_pdf_has_its_papers_size_and_no_page_with_two_lines(reports, paper, size):
    pages = PdfReader(reports[paper] / "report.pdf").pages
    assert len(pages) > 1
    for page in pages:
        assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(size, abs=0.5)
        lines = [line for line in page.extract_text().splitlines() if line.strip()]
        assert len(lines) > 6 or page.images
    words = " ".join(" ".join(page.extract_text() for page in pages).split())
    for part in (
        "Not judged",
        "What was assumed",
        "What is not modelled",
        "How this was made",
        "Fasteners fail violently",
    ):
        assert part in words


@pytest.mark.skipif(library() is None, reason="no PDF on this machine")
def test_a_tall_picture_keeps_its_width_on_paper_so_that_its_words_can_be_read(tmp_path):
    style = (files("headjoint.postproc") / "templates" / "style.css").read_text("utf-8")
    drawn = io.BytesIO()
    Image.new("RGB", (720, 880)).save(drawn, "PNG")  # three graphs, one below the other
    source = f"data:image/png;base64,{base64.b64encode(drawn.getvalue()).decode()}"
    page = f"<html><style>{style}</style><body><p>above</p><figure><img src='{source}'></figure></body></html>"
    write_pdf(page, tmp_path / "tall.pdf", "a4", "foot")
    widths = []
    for sheet in PdfReader(tmp_path / "tall.pdf").pages:
        sheet.extract_text(
            visitor_operand_before=lambda operator, words, to_page, _: (
                widths.append(to_page[0]) if operator == b"Do" else None
            )
        )
    # A4 is 210 mm wide, less two margins of 15 mm; mm to points of 1/72 in
    assert widths == [pytest.approx(180.0 / 25.4 * 72.0, rel=0.03)]


@pytest.mark.skipif(library() is None, reason="no PDF on this machine")
@pytest.mark.parametrize(
    "what",
    [
        "<p><strong>what</strong>: follows</p><p>and more</p>",
        "<ul><li>what follows</li><li>and more</li></ul>",
        "<div class='scroll'><table><thead><tr><th>name</th></tr></thead>"
        "<tbody><tr><td>what follows</td></tr><tr><td>and more</td></tr></tbody></table></div>",
    ],
    ids=["sentences", "list", "table"],
)
def test_no_heading_stands_alone_at_the_foot_of_a_sheet(what, tmp_path):
    style = (files("headjoint.postproc") / "templates" / "style.css").read_text("utf-8")
    firsts = set()
    for height in range(225, 270, 3):  # mm above the heading, of 269 between the margins of A4
        body = f"<div style='height: {height}mm'>above</div><section><h2>HEADING</h2>{what}</section>"
        write_pdf(f"<html><style>{style}</style><body>{body}</body></html>", tmp_path / "foot.pdf", "a4", "foot")
        sheets = [sheet.extract_text() for sheet in PdfReader(tmp_path / "foot.pdf").pages]
        (on,) = [text for text in sheets if "HEADING" in text]
        assert "follows" in on, height
        firsts.add(sheets.index(on))
    assert firsts == {0, 1}  # above it there was room on one sheet, and there was none


def printed(body: str, path: Path, paper: str = "a4") -> list[tuple[str, int]]:
    """The words of every sheet of a page, and how many pictures it has."""
    style = (files("headjoint.postproc") / "templates" / "style.css").read_text("utf-8")
    write_pdf(f"<html><style>{style}</style><body>{body}</body></html>", path, paper, "foot")
    return [(sheet.extract_text(), len(sheet.images)) for sheet in PdfReader(path).pages]


def picture(wide: int, high: int) -> str:
    drawn = io.BytesIO()
    Image.new("RGB", (wide, high), "#345").save(drawn, "PNG")
    return f"<img src='data:image/png;base64,{base64.b64encode(drawn.getvalue()).decode()}'>"


@pytest.mark.skipif(library() is None, reason="no PDF on this machine")
@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_a_drawing_that_all_but_fits_below_two_paragraphs_is_made_smaller_and_stays_with_them(paper, tmp_path):
    high = {"a4": 210, "letter": 190}[paper]  # mm of 269 and 251 between the margins, at 180 mm across
    drawing = f"<figure class='drawing'><h2>to scale</h2>{picture(720, 4 * high)}</figure>"
    before = "<p>one paragraph</p><div style='height: 50mm'>another</div>"
    first, second = printed(
        f"{before}{drawing}<div class='whole' style='height: 120mm'>after it</div>", tmp_path / "x.pdf", paper
    )
    assert "one paragraph" in first[0]
    assert "to scale" in first[0]
    assert first[1] == 1
    assert "after it" in second[0]
    # with a sheet more than half full before it nothing is gained, and it keeps its scale
    full = f"<div style='height: 150mm'>much</div>{drawing}<div class='whole' style='height: 120mm'>after it</div>"
    assert [count for _, count in printed(full, tmp_path / "y.pdf", paper)] == [0, 1, 0]


def graphs(count: int) -> np.ndarray:
    """Rows of a picture 400 wide: a headline, and graphs of 100 with a title close above and 30 blank rows between."""
    rows = np.full(150 * count + 40, 255, np.uint8)
    rows[5:15] = 0
    for number in range(count):
        first = 40 + 150 * number
        rows[first : first + 8] = rows[first + 14 : first + 114] = 40
    return np.repeat(rows[:, None], 400, axis=1)


def as_png(pixels: np.ndarray) -> bytes:
    written = io.BytesIO()
    Image.fromarray(pixels).save(written, "PNG")
    return written.getvalue()


def test_a_picture_too_tall_for_paper_is_cut_between_its_graphs_and_nothing_of_it_is_lost():
    whole = graphs(6)
    found = [np.asarray(Image.open(io.BytesIO(one)).convert("L")) for one in pieces(as_png(whole))]
    assert np.array_equal(np.concatenate(found), whole)
    assert len(found) == 6
    for piece in found:  # every one with its title, its graph, and blank ends
        assert (piece[:, 0] == 40).sum() == 108
        assert piece[-1, 0] == 255
    assert (found[0] == 0).any()  # the headline stands above the first graph


@pytest.mark.parametrize("pixels", [graphs(3), np.full((900, 400), 90, np.uint8)], ids=["fits", "nowhere blank"])
def test_a_picture_that_fits_or_has_no_place_to_cut_stays_one(pixels):
    assert len(pieces(as_png(pixels))) == 1


@pytest.mark.skipif(library() is None, reason="no PDF on this machine")
def test_graphs_of_a_tall_picture_go_on_with_the_text_at_their_full_width(tmp_path):
    (tmp_path / "six.png").write_bytes(as_png(graphs(6)))
    answer = Report("a batch", "", None, ("none fails",), (Pictures(""),))
    page = page_text(answer, [tmp_path / "six.png"], [], made_from([], "headjoint"))
    write_pdf(page, tmp_path / "x.pdf", "a4", "foot")
    # of 150 dots at 96 to the inch each is 40 mm high: five below the words on 269 mm, and the sixth with what follows
    assert [len(sheet.images) for sheet in PdfReader(tmp_path / "x.pdf").pages] == [5, 1]


@pytest.mark.skipif(library() is None, reason="no PDF on this machine")
def test_a_last_sheet_of_five_lines_is_taken_back_by_closer_lines(tmp_path):
    lines = [f"<p>line {number}</p>" for number in range(70)]
    counts = [len(printed("".join(lines[:count]), tmp_path / "x.pdf")) for count in (40, 45, 70)]
    # at 9.5 points and 1.4 lines, 5 points between: 42 lines on 269 mm; at 9 points, 1.3 and 3.5 points 50
    assert counts == [1, 1, 2]


def test_a_page_says_from_what_it_was_made_and_how_to_make_it_again(reports):
    page = (reports["a4"] / "report.html").read_text("utf-8")
    assert hashlib.sha256(Path(joint_file("boosted-four-steel")).read_bytes()).hexdigest() in page
    assert "headjoint estimate boosted-four-steel -o a" in page
    assert f"headjoint {headjoint.__version__}" in page
    # the joint as understood has the digest that its document gives
    resolved = json.loads((reports["a4"] / "result.json").read_text("utf-8"))["joint"]["resolved"]
    assert hashlib.sha256(json.dumps(resolved, sort_keys=True).encode()).hexdigest() in page
    assert "http" not in page


def test_what_stands_between_backticks_is_a_command_on_a_page_and_all_else_stays_words(reports):
    assert commands("`headjoint new` writes <one>") == "<code>headjoint new</code> writes &lt;one&gt;"
    assert commands("5` long") == "5` long"
    page = (reports["a4"] / "report.html").read_text("utf-8")
    assert "<code>headjoint new</code>" in page
    assert "`" not in page.split("<body>")[1]  # those in tables, too


def test_a_joints_own_words_stay_words_on_page_and_paper(tmp_path):
    joint = headjoint.read(joint_file("boosted-four-steel"))
    odd = dataclasses.replace(joint, name='<b>"odd" \\ joint</b>', note="}<script>alert(1)</script>")
    headjoint.estimate(odd).write_files(tmp_path)
    assert "<script>alert" not in (tmp_path / "report.html").read_text("utf-8")
    if library() is not None:
        assert '"odd" \\ joint' in PdfReader(tmp_path / "report.pdf").pages[0].extract_text()


def test_a_page_fits_a_phone(reports):
    with browser() as opened:
        page = opened.new_page(viewport={"width": 390, "height": 800})
        page.goto((reports["a4"] / "report.html").as_uri())
        # nothing is wider than the screen but the drawing, which scrolls in its own box
        assert page.evaluate("document.documentElement.scrollWidth") <= 390
        reach = "[...document.querySelectorAll('td, th, p, h1, h2, dd')].map(one => one.getBoundingClientRect())"
        kept = f"{reach}.filter(box => box.width && box.left > -5000)"
        assert page.evaluate(f"Math.max(...{kept}.map(box => box.right))") <= 390
