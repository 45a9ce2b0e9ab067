"""What the live page still shows of before a move: never under the pointer, never as if it were the answer."""

from __future__ import annotations

import base64
import json

import numpy as np
import pytest
from conftest import browser
from live_page import move, ready, served, until

from headjoint.cases.command.stated_files import shipped_files
from headjoint.postproc.live.engines import Engines

ENGINE, BOLT = "boosted-four", "yield-tightened-bolt"
PATHS = {ENGINE: shipped_files("cells")[ENGINE], BOLT: shipped_files("joints")[BOLT]}
GREY = "rgb(234, 236, 239)"
SERVICE = {"names": ["1 tighten", "2 hot"], "force": [60.0, 55.0], "fired": [None, 58.0], "broken": False}


@pytest.fixture(scope="module")
def served_page():
    made = Engines(PATHS)
    try:
        with served(made, ENGINE) as address, browser() as opened:
            yield opened.new_page(viewport={"width": 1440, "height": 900}), address
    finally:
        made.close()


@pytest.fixture
def page(served_page):
    """The page on the first engine as in its file, with its joint diagram."""
    page, address = served_page
    page.goto(f"{address}/?engine={ENGINE}&model=stud")
    until(ready(page), 90.0)
    until(lambda: page.evaluate("!!answer.diagram"))
    return page


def grey(page, name: str) -> bool:
    """Whether a place stands on the grey of what is of before."""
    ground = page.evaluate("(name) => { const one = getComputedStyle(document.querySelector(name), '::before'); "
                           "return [one.backgroundColor, one.opacity]; }", name)  # fmt: skip
    return ground == [GREY, "1"]


@pytest.mark.slow
def test_a_resting_mouse_is_told_the_forces_of_the_answer_not_those_of_before(page):
    place = page.locator("#clamp .graph")
    place.scroll_into_view_if_needed()
    box = place.bounding_box()
    page.mouse.move(box["x"] + 0.3 * box["width"], box["y"] + 0.4 * box["height"])
    said = []
    for torque in (100.0, 70.0):
        move(page, torque)
        until(ready(page), 90.0)
        forces, states = page.evaluate("[answer.forces, answer.states.map((one) => one.name)]")
        told = page.inner_text("#clamp .told").splitlines()
        state = states.index(told[0])
        levels = ("least", "nominal", "greatest")
        assert told[1:] == [f"{level} preload: {forces[level][state][0]:g} kN" for level in levels]
        said.append(told)
    assert said[0][0] == said[1][0]
    assert said[0][1:] != said[1][1:]
    page.mouse.move(2.0, 2.0)
    assert page.is_hidden("#clamp .told")
    move(page, 80.0)
    until(ready(page), 90.0)
    assert page.is_hidden("#clamp .told")  # nor is anything told where nothing is pointed at
    assert page.get_attribute("#clamp .at", "d") == ""


@pytest.mark.slow
def test_a_mouse_that_rests_on_the_gasket_in_plan_is_told_its_pressure_as_drawn_last(page):
    def packed(values, kind):
        return base64.b64encode(np.array(values, kind).tobytes()).decode()

    drawn = {
        "places": packed([[0, 50, 50, 0], [0, 0, 50, 50]], "<f4"), "triangles": packed([[0, 1, 2], [0, 2, 3]], "<u4"),
        "images": [[1, 0, 0, 1, 0, 0]], "low": [0, 0], "high": [50, 50], "across": "x", "up": "y", "bar": "pressure",
    }  # fmt: skip
    page.evaluate(
        """(drawn) => { const place = document.createElement("div"); place.id = "square"; place.style.cssText = "position:fixed;inset:0;width:600px;background:#fff;z-index:9";
        document.body.append(place); window.square = { ...drawn, grid: gridOf(drawn) }; }""",
        drawn,
    )
    for pressure in (60.0, 20.0):
        told = {"pressure": packed([pressure] * 4, "<f4"), "short": "", "sealed": "", "ticks": [0, 50, 100]}
        told |= {"bores": [], "studs": []}
        page.evaluate("(told) => drawPlan('square', window.square, told, { pressure: 'MPa' })", told)
        if pressure == 60.0:
            box = page.locator("#square canvas").bounding_box()
            page.mouse.move(box["x"] + 0.45 * box["width"], box["y"] + 0.5 * box["height"])
        assert page.get_attribute("#square canvas", "title") == f"{pressure:.1f} MPa"


@pytest.mark.slow
def test_a_service_of_before_a_move_is_grey_with_its_table_and_goes_with_its_engine(page):
    page.route("**/curves", lambda route: route.fulfill(json={"service": SERVICE})
               if route.request.post_data_json.get("service") else route.continue_())  # fmt: skip
    try:
        page.click("#run-service")
        page.click("#service-found summary")
        assert page.locator("#service-found td").all_inner_texts() == ["60", "", "55", "58"]
        assert not grey(page, "#service-found")
        move(page, 85.0)
        assert grey(page, "#service-found")
        inside = page.evaluate(
            "['#service', '#service-found details'].map((one) => !!document.querySelector(one).closest('.stale'))"
        )
        assert inside == [True, True]
        assert "moved since" in page.inner_text("#service-note")
        page.click("#undo")  # what was found is the answer again
        until(ready(page), 90.0)
        assert not grey(page, "#service-found")
        assert page.inner_text("#service-note") == ""
        page.click("#redo")
        until(ready(page), 90.0)
        assert grey(page, "#service-found")
        page.select_option("#engine", BOLT)
        until(lambda: page.evaluate("chosen.includes('bolt')"))
        until(ready(page), 90.0)
        assert page.is_hidden("#service")
        assert page.is_hidden("#service-found details")
        until(lambda: "within yield" in page.inner_text("#diagram-note"))
        assert page.is_hidden("#diagram + details")  # nor the joint diagram of the engine before
        assert "60" not in page.get_attribute("#service", "aria-label")
        assert page.evaluate("document.getElementById('service').childElementCount") == 0
    finally:
        page.unroute("**/curves")


@pytest.mark.slow
def test_a_service_that_comes_when_its_engine_is_gone_is_not_shown_nor_its_table(page):
    held = []
    page.route("**/curves", lambda route: held.append(route)
               if route.request.post_data_json.get("service") else route.continue_())  # fmt: skip
    try:
        page.click("#run-service")
        until(lambda: page.wait_for_timeout(20) or held)
        page.select_option("#engine", BOLT)
        until(lambda: page.evaluate("chosen.includes('bolt')"))
        held[0].fulfill(body=json.dumps({"service": SERVICE}), content_type="application/json")
        until(lambda: page.get_attribute("#run-service", "aria-disabled") == "false")
        assert page.evaluate("document.getElementById('service').graph") is None
        assert page.is_hidden("#service-found")
        assert "Every step that the file states" in page.inner_text("#service-note")
    finally:
        page.unroute("**/curves")


@pytest.mark.slow
def test_a_joint_diagram_stands_on_grey_until_it_is_that_of_the_answer(page):
    held = []
    assert not grey(page, "#joint-diagram")
    page.route("**/curves", lambda route: held.append(route))
    try:
        before = page.get_attribute("#diagram", "aria-label")
        move(page, 75.0)
        until(ready(page), 90.0)
        assert not grey(page, "#table")  # the verdict is there
        assert grey(page, "#joint-diagram")
        assert page.is_visible("#joint-diagram .before")
        assert page.evaluate("!!document.querySelector('#diagram + details').closest('.waits')")
        until(lambda: page.wait_for_timeout(20) or held)
        assert page.get_attribute("#diagram", "aria-label") == before
        held[0].continue_()
        until(lambda: page.evaluate("!!answer.diagram"))
        assert page.get_attribute("#diagram", "aria-label") != before
        assert not grey(page, "#joint-diagram")
    finally:
        page.unroute("**/curves")


@pytest.mark.slow
def test_a_server_that_fails_is_said_in_words(page):
    page.route("**/answer", lambda route: route.fulfill(status=500, body="Internal Server Error"))
    try:
        move(page, 77.0)
        until(lambda: "the server failed at this" in page.inner_text("#trouble"))
        assert page.evaluate("document.body.classList.contains('old')")
    finally:
        page.unroute("**/answer")


@pytest.mark.slow
def test_a_warm_up_of_before_a_move_is_grey_and_stands_again_once_the_move_is_undone(page):
    points = {"points": [{"name": "warm-up, 90 s: head hottest", "values": {}}], "found": True}
    page.route("**/points", lambda route: route.fulfill(json=points))
    page.route("**/warm-up", lambda route: route.fulfill(json={"frames": [{"title": "0 s"}, {"title": "90 s"}]}))
    page.route("**/warm-up-picture", lambda route: route.fulfill(body=b"", content_type="image/png"))
    try:
        page.click("#run-warm-up")
        until(lambda: page.is_visible("#warm-up .moving"))
        said = page.inner_text("#warm-up-note")
        move(page, 86.0)
        until(ready(page), 90.0)
        assert grey(page, "#warm-up .moving")
        assert "find it again" in page.inner_text("#warm-up-note")
        page.click("#undo")
        until(ready(page), 90.0)
        assert not grey(page, "#warm-up .moving")
        assert page.inner_text("#warm-up-note") == said
        assert "head hottest" in page.inner_text("#point")
    finally:
        page.unroute_all()


@pytest.mark.slow
def test_what_gas_does_to_a_stud_is_drawn_within_the_joint_diagram_where_the_head_lifts(page):
    page.evaluate(
        """() => { for (const [path, value] of [["tightening.torque", 45], ["load_cases.gas_pressure", 150]]) {
        const one = document.getElementById("m-" + path); one.value = value; one.dispatchEvent(new Event("input")); } }"""
    )
    until(ready(page), 90.0)
    until(lambda: page.evaluate("answer.diagram && answer.diagram.gas.clamp === 0"))
    wide, places = page.evaluate(
        """() => { const svg = document.querySelector("#diagram .graph svg").getBoundingClientRect();
        return [svg.width, [...document.querySelectorAll("#diagram .lines path")].map((one) => one.getBoundingClientRect().right - svg.left)]; }"""
    )
    assert max(places) <= wide


@pytest.mark.slow
def test_only_the_sealing_zone_is_measured_by_what_sealing_needs_and_every_zone_is_named(page):
    line = page.evaluate("answer.lines.least[answer.state][0]")
    sealing = [at for at, zone in zip(line["at"], line["zone"], strict=True) if zone == line["sealing"]]
    needed = page.evaluate(
        "document.getElementById('line').graph.curves.find((one) => one.name.startsWith('needed')).x"
    )
    assert line["sealing"] == "bead"  # as the file states
    assert needed == [sealing[0], sealing[-1]]
    named = page.locator("#line .axes text").all_text_contents()
    assert {"body", "bead", "stopper"} <= set(named)


@pytest.mark.slow
def test_what_one_stud_does_not_see_cannot_be_moved_and_is_named(page):
    for path, seen in (("head.fire_deck", False), ("block.wall", False), ("head.height", True)):
        assert page.locator(f"[id='m-{path}']").is_disabled() is not seen
    note = page.locator("#bench p", has_text="One stud does not see").inner_text()
    assert "fire deck" in note
    assert "height of the head" not in note


@pytest.mark.slow
def test_a_value_out_of_range_stays_as_it_was_and_its_range_is_said(page):
    field = page.locator("[id='m-tightening.torque']").locator("xpath=..").locator("input[type=number]")
    stood = field.input_value()
    field.fill("1e6")
    field.press("Tab")
    assert field.input_value() == stood
    takes = page.locator(".takes", has_text="takes")
    low, high = (float(one) for one in takes.inner_text().removeprefix("takes ").removesuffix(" N.m").split(" to "))
    assert 0.0 < low < float(stood) < high < 1e6
    until(lambda: "torque takes" in page.inner_text("#said"))
    field.fill(f"{low + 1.0:.4g}")
    field.press("Tab")
    assert takes.count() == 0
