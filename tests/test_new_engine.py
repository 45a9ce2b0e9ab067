"""An engine from a few facts: the file reads for every sensible engine, says what is typical, and a handful of them solve."""

from __future__ import annotations

import math
import os
import pty
import re
import select
import subprocess
import sys
import time
from pathlib import Path

import click
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

import headjoint
from headjoint.cases.command import proportions
from headjoint.cases.command.facts import FACTS, gathered
from headjoint.cases.command.new_file import new_engine
from headjoint.cases.command.stated_files import shipped_files
from headjoint.cases.command.written import TYPICAL, Lengths
from headjoint.meshes.solid.bore_cell import build_cell
from headjoint.model.base.errors import InputError
from headjoint.model.cell import Bank, Cell, Ring
from headjoint.model.files.stated_units import units_of_file
from headjoint.model.library import threads
from headjoint.model.reading.reading import parse_cell

FOUR = {
    "bores": "4", "bore": "86 mm", "pitch": "98 mm", "stud": "M11x1.25", "across": "50 mm", "fire_deck": "14 mm",
    "head": "aluminium", "gasket": "multi-layer steel", "torque": "76 lbf.ft", "peak": "80 bar",
}  # fmt: skip
PAGE = shipped_files("guide")["new-engine"].read_text("utf-8")


def engine(folder: Path = Path(), **facts: str | None) -> Cell:
    stated = {key: text for key, text in (FOUR | facts).items() if text is not None}
    return parse_cell(new_engine(stated, None, folder)[0])


def test_what_the_builder_says_stands_in_the_file_and_is_read_as_said():
    cell = engine()
    assert isinstance(cell.layout, Bank)
    assert (cell.layout.bore, cell.layout.pitch, cell.layout.studs) == (86.0, 98.0, ((49.0, 50.0),))
    assert cell.layout.in_row == 4
    assert cell.joint.fastener.thread.designation == "M11x1.25"
    assert cell.joint.tightening.torque == pytest.approx(76.0 * 1355.8179, rel=1e-6)
    assert cell.joint.load_cases[2].gas_pressure == pytest.approx(8.0)
    assert cell.head.fire_deck == 14.0
    assert cell.joint.head.material.name == "EN AC-42100"


def test_every_line_of_the_file_is_yours_or_says_that_it_is_typical():
    text, _ = new_engine(FOUR, None, Path())
    for fact, value in FOUR.items():
        if fact not in ("bores", "across", "head", "gasket"):
            assert re.search(rf"^\w+ = .*{re.escape(value)}.* # yours$", text, re.MULTILINE), fact
    assert "[gasket]                        # multi-layer steel: yours" in text
    quantities = [line for line in text.splitlines() if re.match(r'\w+ = "[\d.]+ \w+"', line)]
    assert len(quantities) > 30
    for line in quantities:
        assert (
            line.endswith("# yours")
            or TYPICAL in line
            or line in ('temperature = "20 degC"', 'sealing_minimum = "5 MPa"')
        )
    for line in text.splitlines():
        if TYPICAL in line:
            assert re.search(r"no source|from memory|VDI|the same|estimated from", line), line


def test_a_boosted_engine_is_given_the_upper_end_of_its_peak_pressure():
    # by hand: 1.913 bar absolute, ratio 9.5: 1.913 * 9.5^1.34 * 3.3 = 1.913 * 20.424 * 3.3 = 128.9 bar
    boosted = {key: one for key, one in FOUR.items() if key != "peak"} | {
        "boost": "0.9 bar",
        "compression_ratio": "9.5",
    }
    text, words = new_engine(boosted, None, Path())
    assert 'gas_pressure = "129 bar"' in text
    assert 'boost = "0.9 bar"' in text
    assert "106 bar likely, 89 to 129" in text
    assert "106 bar likely, 89 bar to 129 bar" in words[0]


# --- every sensible engine

LENGTHS = {"mm": 1.0, "in": 25.4}


@st.composite
def sensible(draw) -> dict[str, str]:
    """Facts of an engine that somebody might build: sizes by the bore, about as far off the usual as engines are."""
    unit = draw(st.sampled_from(["mm", "in"]))

    def length(millimetres: float) -> str:
        return f"{millimetres / LENGTHS[unit]:.4g} {unit}"

    bore = draw(st.floats(65.0, 140.0))
    bores = draw(st.integers(1, 8))
    facts = {"bores": str(bores), "bore": length(bore)}
    in_a_row = bores > 1
    studs = draw(st.sampled_from([4, 6] if in_a_row else [4, 5, 6, 8]))
    wanted = 0.128 * bore * (4.0 / studs) ** 0.5 * draw(st.floats(0.85, 1.15))
    stud = min(
        proportions.STUDS + proportions.INCH_STUDS, key=lambda one: abs(threads.thread(one).nominal_diameter - wanted)
    )
    d = threads.thread(stud).nominal_diameter
    facts |= {"studs": str(studs), "stud": stud}
    # a stud stands clear of the rings of the gasket, and at most as far as twice its column beyond
    nearest = bore / 2.0 + 0.058 * bore + 1.1 * d + 2.0
    distance = nearest + draw(st.floats(0.0, 2.0)) * d
    if in_a_row:
        # a bridge of 6 mm at least, one rounded in inches included
        pitch = max(bore * draw(st.floats(1.08, 1.3)), bore + 6.0)
        beside = distance + draw(st.floats(0.0, 1.0)) * d
        across = max(math.sqrt(max(0.0, distance**2 - pitch**2 / 4.0)), 1.3 * d)
        facts |= {"pitch": length(pitch), "across": length(across)}
        facts |= {"beside": length(beside)} if studs == 6 else {}
    else:
        facts["stud_circle"] = length(2.0 * max(distance, 1.3 * d / math.sin(math.pi / studs)))
    metals = st.sampled_from(["aluminium", "iron"])
    facts |= {"head": draw(metals), "block": draw(metals), "fire_deck": length(bore * draw(st.floats(0.09, 0.2)))}
    if draw(st.booleans()):
        facts["upper_deck"] = length(bore * draw(st.floats(0.07, 0.16)))
    if draw(st.booleans()):
        facts["block_deck"] = draw(st.sampled_from([f"0 {unit}", length(bore * draw(st.floats(0.08, 0.16)))]))
    facts["gasket"] = draw(st.sampled_from(["multi-layer steel", "composite", "copper"]))
    # below what yields the weakest of them
    newton_metres = 0.055 * d**3 * draw(st.floats(0.3, 1.0))
    facts["torque"] = f"{newton_metres:.3g} N.m" if unit == "mm" else f"{newton_metres / 1.3558:.3g} lbf.ft"
    if draw(st.booleans()):
        facts["peak"] = f"{draw(st.floats(40.0, 220.0)):.3g} bar"
    else:
        facts |= {
            "boost": f"{draw(st.floats(0.0, 3.0)):.2g} bar",
            "compression_ratio": f"{draw(st.floats(8.0, 12.0)):.3g}",
        }
    return facts


@settings(max_examples=200, deadline=None)
@given(sensible())
def test_an_engine_of_sensible_facts_reads(facts):
    text, _ = new_engine(facts, None, Path())
    cell = parse_cell(text)
    assert isinstance(cell.layout, Ring if facts["bores"] == "1" else Bank)
    assert units_of_file(text) == ("workshop" if facts["bore"].endswith("in") else "si")


@settings(max_examples=60, deadline=None)
@given(
    st.floats(65.0, 140.0), st.integers(1, 6), st.sampled_from([4, 6]), st.sampled_from(["si", "workshop"]), st.data()
)
def test_an_engine_of_typical_values_alone_reads(bore, bores, studs, units, data):
    """Somebody who knows the bore and takes everything that is offered."""
    stated = {"bores": str(bores), "bore": f"{bore:.4g} mm", "studs": str(studs)}
    stated |= {"gasket": data.draw(st.sampled_from(["multi-layer steel", "composite", "copper"]))}
    stated |= {name: data.draw(st.sampled_from(["aluminium", "iron"])) for name in ("head", "block")}
    known = gathered(stated, units, lambda fact, typical, units, read: typical)
    said = {key: one.text for key, one in known.items()}
    cell = parse_cell(new_engine(said, units, Path())[0])
    assert cell.block.jacket_width > 0.0 or bores == 1
    assume(bores > 1)
    assert cell.layout.pitch / bore == pytest.approx(1.14, abs=0.02)


@pytest.mark.parametrize(("bore", "stud"), [("72 mm", "M8"), ("74 mm", "M8"), ("84 mm", "M9")])
def test_studs_beside_the_bores_are_meshed_whatever_the_bore(bore, stud):
    # circles round a stud on the tile's edge once began inside it and left elements without an angle
    stated = {"bores": "4", "bore": bore, "studs": "6", "gasket": "copper", "stud": stud}
    known = gathered(stated, "si", lambda fact, typical, units, read: typical)
    cell = parse_cell(new_engine({key: one.text for key, one in known.items()}, "si", Path())[0])
    # a mesh below the quality that `solve` allows is refused
    mesh = build_cell(cell)
    assert len(mesh.fasteners) == 2


@pytest.mark.long
@pytest.mark.slow
@pytest.mark.parametrize(
    "facts",
    [
        {"bore": "66 mm", "pitch": "74 mm", "stud": "M8", "across": "39 mm", "fire_deck": "9 mm", "torque": "28 N.m",
         "gasket": "composite", "peak": "60 bar"},
        {"studs": "6", "beside": "70 mm", "across": "52 mm", "stud": "M10x1.25", "torque": "60 N.m", "block": "aluminium"},
        {"bore": "108 mm", "pitch": "126 mm", "stud": "M14x1.5", "across": "62 mm", "head": "iron", "fire_deck": "13 mm",
         "torque": "180 N.m", "peak": "170 bar"},
        {"bore": "5.5 in", "pitch": "6.25 in", "stud": "5/8-18 UNF", "across": "3.1 in", "head": "iron",
         "fire_deck": "0.7 in", "torque": "200 lbf.ft", "gasket": "copper", "peak": "1500 psi"},
        {"bores": "1", "pitch": None, "across": None, "studs": "5", "stud_circle": "142 mm"},
    ],
    ids=["small", "six studs", "iron diesel", "large, in inches", "single"],
)  # fmt: skip
def test_a_handful_of_engines_mesh_and_solve(facts, tmp_path):
    path = tmp_path / "engine.toml"
    stated = {key: text for key, text in (FOUR | facts).items() if text is not None}
    number, unit = stated["bore"].split()
    element, largest = float(number) / 12.0, float(number) / 4.0
    coarse = f'\n[mesh]\nring_size = "{element} {unit}"\nstud_size = "{element} {unit}"\nlargest = "{largest} {unit}"\n'
    path.write_text(new_engine(stated, None, tmp_path)[0] + coarse, "utf-8")
    answer = headjoint.solve(path)
    # whether it holds is another matter; every level was balanced, or `solve` had refused it
    assembly = answer.findings.states["nominal"][0]
    assert assembly.forces == pytest.approx(clamp_by_hand(stated), rel=0.03)
    assert all(line.pressure.min() > 0.0 for line in assembly.lines)
    assert len(answer.verdict.criteria) >= 6


def clamp_by_hand(facts: dict[str, str]) -> float:
    """N, by M = F (0.16 P + 0.58 d2 mu + D_Km/2 mu), mu = 0.12, D_Km between a hole of 1.09 d and a nut of 1.55 d."""
    torque, unit = facts["torque"].split()
    d, pitch = {"M8": (8.0, 1.25), "M10x1.25": (10.0, 1.25), "M11x1.25": (11.0, 1.25), "M14x1.5": (14.0, 1.5),
                "5/8-18 UNF": (15.875, 25.4 / 18.0)}[facts["stud"]]  # fmt: skip
    arm = 0.16 * pitch + 0.58 * (d - 0.6495 * pitch) * 0.12 + (1.09 + 1.55) / 4.0 * d * 0.12
    return float(torque) * (1355.8 if unit == "lbf.ft" else 1000.0) / arm


# --- what cannot be used


def refused(**facts: str | None) -> str:
    with pytest.raises(InputError) as caught:
        engine(**facts)
    return str(caught.value)


@pytest.mark.parametrize(
    ("facts", "said"),
    [
        ({"bore": None, "torque": None}, "missing: --bore, --torque; give them, or run this in a terminal to be asked"),
        ({"peak": None}, "missing: --boost (or --peak)"),
        ({"peak": None, "boost": "0.9 bar"}, "missing: --compression-ratio;"),
        ({"studs": "6"}, "missing: --beside;"),
        ({"torque": "90"}, "--torque: a bare number says no torque: 90 N.m or 90 lbf.ft? (got '90')"),
        ({"bore": "86 in"}, "--bore: must lie between 40 mm and 200 mm; look at the unit (got '86 in')"),
        ({"head": "alumnium"}, "--head: unknown choice; nearest: aluminium"),
        ({"gasket": "steel"}, "--gasket: unknown choice; nearest: multi-layer steel"),
        ({"stud": "M11x1.2"}, "--stud: unknown thread; nearest: M11x1.25"),
        ({"strength": "12,9"}, "--strength: unknown property class or material; nearest: 12.9"),
        ({"studs": "5"}, "--studs: studs round bores in a row lie alike on both sides: 4 or 6"),
        ({"stud_circle": "140 mm"}, "--stud-circle: does not belong to the other facts"),
        ({"boost": "0.5 bar"}, "--boost: does not belong to the other facts"),
        ({"pitch": "89 mm"}, "--pitch: leaves no bridge to seal; at least 91.6 mm"),
        ({"across": "25 mm"}, "--across: the studs stand 55.01 mm from the bore's axis, which leaves no room for the gasket's rings"),
        ({"torque": "200 N.m"}, "no engine can be made of these facts: tightening.torque: this torque yields the fastener"),
        ({"bores": "2.5"}, "--bores: must be a whole number"),
    ],
)  # fmt: skip
def test_what_does_not_fit_is_told_in_one_message(facts, said):
    assert said in refused(**facts)


# --- on the command line


def command(folder: Path, *arguments: str, **more) -> subprocess.CompletedProcess[str]:
    whole = [sys.executable, "-m", "headjoint.cases.cli", "new", *arguments]
    return subprocess.run(whole, cwd=folder, capture_output=True, text=True, timeout=60, check=False, **more)


def options(facts: dict[str, str]) -> list[str]:
    return [word for key, text in facts.items() for word in (f"--{key.replace('_', '-')}", text)]


def test_with_every_fact_given_nothing_is_asked(tmp_path):
    done = command(tmp_path, "mine.toml", *options(FOUR), stdin=subprocess.DEVNULL)
    assert done.returncode == 0, done.stderr
    assert "wrote mine.toml" in done.stdout
    assert parse_cell((tmp_path / "mine.toml").read_text("utf-8")).layout.bore == 86.0


def test_without_a_terminal_a_missing_fact_is_one_clear_message_and_no_file(tmp_path):
    done = command(
        tmp_path, *options({key: one for key, one in FOUR.items() if key != "pitch"}), stdin=subprocess.DEVNULL
    )
    assert done.returncode == 2
    assert done.stderr == "headjoint: missing: --pitch; give them, or run this in a terminal to be asked\n"
    assert list(tmp_path.iterdir()) == []


def test_facts_belong_to_an_engine_and_not_to_a_starter(tmp_path):
    done = command(tmp_path, "--joint", "--bore", "86 mm", stdin=subprocess.DEVNULL)
    assert done.returncode == 2
    assert "--bore: belongs to an engine file" in done.stderr


class Terminal:
    """A terminal at which somebody answers the questions of `headjoint new`."""

    def __init__(self, folder: Path, *arguments: str) -> None:
        self.screen, side = pty.openpty()
        whole = [sys.executable, "-m", "headjoint.cases.cli", "new", *arguments]
        self.process = subprocess.Popen(whole, cwd=folder, stdin=side, stdout=side, stderr=side, close_fds=True)
        os.close(side)
        self.seen = ""

    def waits_for(self, question: str) -> str:
        """Return what came on the screen since the last question, once this one has."""
        start, until = len(self.seen), time.monotonic() + 60.0
        while question not in self.seen[start:]:
            assert time.monotonic() < until, self.seen
            if select.select([self.screen], [], [], 1.0)[0]:
                try:
                    self.seen += os.read(self.screen, 10_000).decode()
                except OSError:  # the program has ended
                    break
        assert question in self.seen[start:], self.seen
        return self.seen[start:]

    def types(self, answer: str) -> None:
        os.write(self.screen, f"{answer}\n".encode())


def test_on_a_terminal_the_facts_are_asked_for_and_typical_values_offered(tmp_path):
    terminal = Terminal(tmp_path, "asked.toml")
    for question, answer in [
        ("Units (si, workshop) [si]:", "workshop"),
        ("Bores in a row (1: one bore, studs in a ring) [4]:", "6"),
        ("Bore, in [3.39]:", "4.125"),
        ("Pitch, bore to bore, in [4.7]:", ""),
        ("[4]:", ""),  # studs
        ("Thread of the studs [1/2-20 UNF]:", "1/2-21"),
        ("Error: unknown thread; nearest: 1/2-13 UNC, 1/2-20 UNF (got '1/2-21')", ""),
        ("[AISI 8740]:", "12.9"),
        ("[aluminium]:", "iron"),
        ("[iron]:", ""),
        ("from the line of the bores, in [", ""),
        ("fire deck, in [0.495]:", ""),
        ("upper deck, in [0.41]:", ""),
        ("open deck), in [0.48]:", ""),
        ("[multi-layer steel]:", ""),
        ("Torque of the nuts, lbf.ft [", "80"),
        ("estimate it from boost), psi:", ""),
        ("Boost over the atmosphere (0: none), psi [0]:", "8"),
        ("Compression ratio [9.5]:", "9"),
        ("Ignition (spark or compression) [spark]:", ""),
        ("spark comes, deg [0]:", "4"),
    ]:  # fmt: skip
        terminal.waits_for(question)
        terminal.types(answer)
    terminal.waits_for("wrote asked.toml")
    terminal.process.wait(timeout=30)
    text = (tmp_path / "asked.toml").read_text("utf-8")
    assert 'bore = "4.125 in"               # yours' in text
    assert re.search(r'pitch = "4.7 in" .*typical, not yours', text)
    assert re.search(r'torque = "80 lbf.ft" .*yours', text)
    assert 'property_class = "12.9"         # yours' in text
    assert units_of_file(text) == "workshop"
    assert parse_cell(text).layout.in_row == 6


# --- the guide


def test_the_guide_lists_every_proportion_with_its_reason():
    rows = [[cell.strip() for cell in line.split("|")[1:-1]] for line in PAGE.splitlines() if line.startswith("| ")]
    for name, one in proportions.PROPORTIONS.items():
        assert [name, one.words, one.why] in rows


def test_typical_lengths_are_rounded_and_to_the_side_asked_for():
    for units, unit in (("si", "mm"), ("workshop", "in")):
        lengths = Lengths(units)
        for value in (0.7, 3.3, 11.13, 87.7):
            up, down = lengths.up(value, ""), lengths.down(value, "")
            assert down.number <= value + 1e-9 <= up.number + 2e-9
            assert up.number - down.number < 0.51
            assert up.text.endswith(unit)


def test_every_fact_is_an_option_of_the_command():
    from headjoint.cases.cli import app

    taken = {word for one in app.commands["new"].params if isinstance(one, click.Option) for word in one.opts}
    assert {fact.option for fact in FACTS} <= taken
