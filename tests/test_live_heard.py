"""The live page for who hears it, goes by keys or sees little contrast."""

from __future__ import annotations

import re
from importlib.resources import files

import pytest
from conftest import browser
from live_page import move, ready, served, until

from headjoint.cases.command.stated_files import shipped_files
from headjoint.postproc.live.engines import Asked, Engines
from headjoint.postproc.present.drawing import COLOURS, FAILS

ENGINE = "boosted-four"
TEMPLATES = files("headjoint.postproc") / "templates"
TEXT, LINES = 4.5, 3.0  # contrast that WCAG 2.2 wants, criteria 1.4.3 and 1.4.11, level AA


@pytest.fixture(scope="module")
def engines():
    made = Engines({ENGINE: shipped_files("cells")[ENGINE]})
    yield made
    made.close()


@pytest.fixture(scope="module")
def page(engines):
    with served(engines, ENGINE) as address, browser() as opened:
        page = opened.new_page(viewport={"width": 1440, "height": 900})
        page.goto(f"{address}/?engine={ENGINE}&model=stud")
        until(ready(page), 90.0)
        until(lambda: page.evaluate("!!answer.diagram"), 30.0)
        yield page


def luminance(colour: str) -> float:
    """Relative luminance of a colour such as #2d4a6b (WCAG 2.2, its definition)."""
    parts = [int(colour[n : n + 2], 16) / 255.0 for n in (1, 3, 5)]
    linear = [one / 12.92 if one <= 0.04045 else ((one + 0.055) / 1.055) ** 2.4 for one in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Contrast of two colours (WCAG 2.2, its definition)."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_words_and_lines_stand_out_from_paper_and_from_the_grey_of_what_is_old():
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)  # WCAG 2.2: the greatest there is
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.01)  # known as just too light for words
    style = (TEMPLATES / "live.css").read_text("utf-8")
    named = dict(re.findall(r"--([a-z]+): (#[0-9a-f]{6})", style))
    drawn = dict(re.findall(r'(\w+) = "(#[0-9a-f]{6})"', (TEMPLATES / "drawing.js").read_text("utf-8")))
    edge = re.search(r'EDGE = "(#[0-9a-f]{6})"', (TEMPLATES / "curves.js").read_text("utf-8"))[1]
    for ground in ("#ffffff", named["before"]):
        for words in (named["ink"], named["quiet"], drawn["INK"], drawn["QUIET"], FAILS):
            assert contrast(words, ground) >= TEXT
        for line in (*COLOURS.values(), drawn["STUD"], named["edge"], edge):
            assert contrast(line, ground) >= LINES


# every node of words with the colours that it has: {words, contrast}
CONTRASTS = """() => {
  const parts = (text) => text.match(/[\\d.]+/g).map(Number);
  const light = ([r, g, b]) => [r, g, b].map((one) => one / 255).map((one) => one <= 0.04045 ? one / 12.92 : ((one + 0.055) / 1.055) ** 2.4)
    .reduce((sum, one, n) => sum + [0.2126, 0.7152, 0.0722][n] * one, 0);
  const over = (top, below) => { const a = top[3] ?? 1; return [0, 1, 2].map((n) => a * top[n] + (1 - a) * below[n]); };
  const found = [], walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let node = walker.nextNode(); node; node = walker.nextNode()) {
    const own = node.parentElement;
    if (!node.textContent.trim() || own.closest(".unseen, script, [hidden], option") || !own.checkVisibility({ visibilityProperty: true })) continue;
    const chain = []; for (let one = own; one; one = one.parentElement) chain.unshift(getComputedStyle(one));
    let ground = [255, 255, 255], shown = 1;
    for (const one of chain) { ground = over(parts(one.backgroundColor), ground); shown *= Number(one.opacity); }
    const style = getComputedStyle(own), ink = parts(own instanceof SVGElement ? style.fill : style.color);
    const [low, high] = [light(over([...ink.slice(0, 3), (ink[3] ?? 1) * shown], ground)), light(ground)].sort((a, b) => a - b);
    found.push([node.textContent.trim().slice(0, 60), (high + 0.05) / (low + 0.05)]);
  }
  return found;
}"""


@pytest.mark.slow
def test_every_word_of_the_page_can_be_read_against_its_ground(page):
    found = page.evaluate(CONTRASTS)
    assert len(found) > 150
    assert min(contrast for _, contrast in found) < 7.0  # it does tell quiet words from ink
    assert [one for one in found if one[1] < TEXT] == []


@pytest.mark.slow
def test_every_control_says_its_name_its_value_and_its_unit(page):
    tree = page.context.new_cdp_session(page).send("Accessibility.getFullAXTree")["nodes"]

    def told(node: dict, what: str) -> str:
        return str(node.get(what, {}).get("value", ""))

    by_role = {}
    for node in tree:
        if not node["ignored"]:
            by_role.setdefault(told(node, "role"), []).append(node)
    controls = page.evaluate("controls")
    moved = [one for one in controls if not one["choices"]]
    words = {"N.m": "newton metres", "degC": "degrees Celsius", "mm": "millimetres", "bar": "bar"}
    named = [one["label"] + (f", {words[one['unit']]}" if one["unit"] else "") for one in moved]
    assert [told(one, "name") for one in by_role["slider"]] == named
    assert [told(one, "name") for one in by_role["spinbutton"]] == named
    for one, field in zip(moved, by_role["spinbutton"], strict=True):
        assert float(told(field, "value")) == pytest.approx(one["value"], rel=1e-3)
        said = page.get_attribute(f"[id='m-{one['path']}']", "aria-valuetext")  # a slider goes by steps, this does not
        assert float(said) == pytest.approx(one["value"], rel=1e-3)
    for role in ("button", "combobox", "progressbar", "heading", "table", "image", "img", "DisclosureTriangle"):
        assert all(told(one, "name") for one in by_role.get(role, ())), role
    assert {"engine", "model", "units", "point", "level"} <= set(page.evaluate(
        "[...document.querySelectorAll('select')].filter((one) => one.labels.length).map((one) => one.id)"
    ))  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize("width", [1440, 390])
def test_the_requirements_are_a_table_with_a_caption_and_heads_of_rows_and_columns(page, width):
    page.set_viewport_size({"width": width, "height": 900})
    try:
        said = page.locator("#table table").aria_snapshot()
    finally:
        page.set_viewport_size({"width": 1440, "height": 900})
    rows = page.evaluate("answer.requirements")
    assert "caption: Requirements" in said
    assert re.findall(r'columnheader "(.*?)"', said) == ["requirement", "found", "needed", "where it is worst"]
    assert re.findall(r'rowheader "(.*?)"', said) == [one["name"] for one in rows]
    assert f'cell "{rows[0]["found"]}"' in said


@pytest.mark.slow
def test_the_verdict_is_said_once_after_the_last_of_many_moves_and_nothing_on_the_way(page):
    page.evaluate(
        """() => { window.spoken_ = []; new MutationObserver(() => { const one = document.getElementById("said").textContent;
        if (one) window.spoken_.push(one); }).observe(document.getElementById("said"), { childList: true }); }"""
    )
    for torque in range(90, 100):
        move(page, torque)
        page.wait_for_timeout(60)
    until(ready(page), 90.0)
    until(lambda: page.evaluate("window.spoken_.length"), 10.0)
    page.wait_for_timeout(800)  # longer than a hand has to rest
    (told,) = page.evaluate("window.spoken_")
    assert told.startswith(page.inner_text("#word") + ". " + page.text_content("#sentence"))
    live = page.evaluate("[...document.querySelectorAll('#verdict [role], #verdict [aria-live], #wait[role]')].length")
    assert live == 0  # no other region speaks of the same
    # the same move again comes to the same verdict, and that is said, too
    move(page, 120.0)
    move(page, 99.0)
    until(lambda: page.evaluate("window.spoken_.length") == 2, 20.0)
    assert page.evaluate("window.spoken_[1]") == told


@pytest.mark.slow
def test_the_keyboard_goes_through_the_whole_page_and_back_and_its_focus_is_seen(page):
    here = """() => { const one = document.activeElement; if (!one || one === document.body) return null;
    const style = getComputedStyle(one); return [one.id || one.textContent.trim() || one.ariaLabel, style.outlineStyle, parseFloat(style.outlineWidth)]; }"""
    page.evaluate("() => { document.activeElement.blur(); window.scrollTo(0, 0); }")
    focusable = page.evaluate(
        "[...document.querySelectorAll('select, button, input, summary, [tabindex=\"0\"]')].filter((one) => !one.disabled && one.checkVisibility()).length"
    )
    walks = []
    for key in ("Tab", "Shift+Tab"):
        walk = []
        for _ in range(focusable + 5):
            page.keyboard.press(key)
            at = page.evaluate(here)
            if at is None:
                break
            walk.append(at)
        walks.append(walk)
        assert all(style == "solid" and width >= 2.0 for _, style, width in walk)
    there, back = ([one for one, *_ in walk[:focusable]] for walk in walks)
    assert there == back[::-1]


@pytest.mark.slow
def test_buttons_that_cannot_be_pressed_keep_the_focus_and_do_nothing(page):
    page.wait_for_timeout(600)  # one drag is one step back
    move(page, 101.0)
    until(ready(page), 90.0)
    page.evaluate("past.splice(0, past.length - 1)")  # of all that was moved here, the last
    page.focus("#undo")
    for _ in range(2):
        page.keyboard.press("Enter")
        assert page.evaluate("document.activeElement.id") == "undo"
    assert page.get_attribute("#undo", "aria-disabled") == "true"
    assert page.get_attribute("#redo", "aria-disabled") == "false"
    assert page.evaluate("future.length") == 1
    page.focus("#reset")
    page.keyboard.press("Enter")
    before = page.evaluate("past.length")
    page.wait_for_timeout(600)
    page.keyboard.press("Enter")
    assert page.evaluate("past.length") == before
    until(ready(page), 90.0)


@pytest.mark.slow
def test_a_graph_is_a_table_of_its_figures_too(page, engines):
    page.click("details.figures:right-of(#bench) >> nth=1")
    table = page.locator("#clamp + details table")
    said = table.aria_snapshot()
    page.locator("#clamp + details summary").click()
    changes = page.evaluate("now.changes")
    wanted = engines.answered(Asked(ENGINE, changes, model="stud"))
    assert re.findall(r'rowheader "(.*?)"', said) == [one["name"] for one in wanted["states"]]
    assert re.findall(r'columnheader "(.*?)"', said) == [
        "state",
        "least preload",
        "nominal preload",
        "greatest preload",
    ]
    cells = [float(one) for one in re.findall(r'cell "(.*?)"', said)]
    forces = [wanted["forces"][level][state][0] for state in range(5) for level in ("least", "nominal", "greatest")]
    assert cells == pytest.approx(forces, rel=1e-3)


@pytest.mark.slow
def test_the_gasket_s_picture_says_how_every_bore_seals_and_what_the_studs_bear(page):
    told = {
        "bores": [{"words": ["bore 1", "least 14.2"]}, {"words": []}],
        "studs": [{"force": "61.2", "turned": False}, {"force": "40.0", "turned": True}],
        "ticks": [0, 50, 100],
        "short": "AAAA",
    }
    said = page.evaluate("(told) => planSaid(told, { force: 'kN', pressure: 'MPa' })", told)
    for words in ("least 14.2", "61.2, 40.0 (being turned) kilonewtons", "up to 100 megapascals", "less than needed"):
        assert words in said
