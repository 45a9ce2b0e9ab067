"""A joint file is either read whole or refused with one clear message."""

from __future__ import annotations

import re

import pytest
from conftest import shipped_text
from hypothesis import given, settings
from hypothesis import strategies as st

from headjoint.model.base.errors import InputError
from headjoint.model.reading.reading import parse_joint, read_joint

STEEL = shipped_text("boosted-four-steel")


def refusal(text: str) -> str:
    with pytest.raises(InputError) as caught:
        parse_joint(text, file="joint.toml")
    message = str(caught.value)
    assert message.startswith("joint.toml")
    assert "\n" not in message or "TOML" in message
    return message


def changed(old: str, new: str) -> str:
    assert old in STEEL
    return STEEL.replace(old, new, 1)


def test_a_shipped_joint_reads_in_internal_units():
    joint = parse_joint(STEEL)
    assert joint.fastener.thread.designation == "M11x1.25"
    assert joint.tightening.torque == pytest.approx(68 * 4.4482216152605 * 304.8)
    assert joint.load_cases[2].gas_pressure == pytest.approx(11.0)
    assert joint.load_cases[2].gas_force == pytest.approx(11.0 * 2460.0)
    assert joint.fastener.clamped_length == pytest.approx(88 + 0.75 + 10 + 4)


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ('bearing_outer_diameter = "17 mm"', 'bearing_outer_diametre = "17 mm"', r"nut\.bearing_outer_diametre: unknown key; did you mean 'bearing_outer_diameter'"),
        ('height = "88 mm"', 'height = "12 kg"', r"head\.height: unit 'kg' is no unit of length.*'12 kg'"),
        ('thickness = "4 mm"', 'thickness = "-3 mm"', r"washer\.thickness: .*greater than 0.*'-3 mm'"),
        ('thread = "M11x1.25"', 'thread = "M11x1.2"', r"fastener\.thread: unknown thread; nearest: M11x1.25"),
        ('material = "EN-GJL-250"', 'material = "ENGJL25"', r"block\.material: unknown material; nearest: EN-GJL-250"),
        ('engagement = "22 mm"', 'engagement = "22 mm"\nlength = "20 mm"', r"fastener\.engagement: the engagement is longer than the fastener"),
        ('engagement = "22 mm"', 'engagement = "200 mm"', r"fastener\.engagement: counterbore, engagement and hole below reach"),
        ('torque = "68 lbf.ft"', 'torque = "250 N.m"', r"tightening\.torque: this torque yields the fastener.*at most"),
        ('thickness = "0.75 mm"', 'thickness = "0.75 m"', r"gasket\.thickness: must be at most 20 mm"),
        ('expansion = "16e-6 1/K"', 'expansion = "16 1/K"', r"gasket\.expansion: must be at most 0\.001"),
        ('gas_pressure = "110 bar"', 'gas_pressure = "80e6 bar"', r"gas_pressure: must be at most 100 MPa"),
        ('torque = "68 lbf.ft"', "", r"tightening\.torque: is required by method 'torque' but missing"),
        ('law = "multi-layer steel bead"', 'law = "multi layer steel beat"', r"gasket\.zones\[1\]\.law: unknown gasket law; nearest: multi-layer steel bead"),
        ('material = "AISI 8740"', 'property_class = "12,9"', r"fastener\.property_class: unknown property class; nearest: 12\.9"),
        ('kind = "hot"', 'kind = "warm"', r"load_cases\[1\]\.kind: .*'assembly', 'hot', 'firing' or 'cold'.*'warm'"),
        ('outer_diameter = "45 mm"', 'outer_diameter = "95 mm"', r"gasket\.zones 'stopper'\.outer_diameter: must not be larger"),
        ('temperature = "20 degC"', 'temperature = "-300 degC"', r"load_cases\[0\]\.temperature: .*greater than -273\.15"),
        ('scatter = "torque wrench, tested on the joint"', 'scatter = "torque wrench"', r"tightening\.scatter: unknown tightening class; nearest"),
        ("sealing = true", "sealing = false", r"gasket\.zones: exactly one zone must have sealing"),
        ('hole_diameter = "12 mm"', 'hole_diameter = "10 mm"', r"head\.hole_diameter: must be larger than the fastener"),
        ('kind = "stud"', 'kind = "bolt"', r"nut: a bolt has a \[bolt_head\] table"),
        ('kind = "hot"', "kind = 3", r"load_cases\[1\]\.kind: must be text \(got 3\)"),
        ("sealing = true", 'sealing = "yes"', r"gasket\.zones\[1\]\.sealing: must be true or false \(got 'yes'\)"),
        ("clamp_kept = 0.8", "clamp_kept = 8", r"requirements\.clamp_kept: must be at most 1 \(got 8\)"),
        ("sealing_ratio = 1.5", "sealing_ratio = nan", r"requirements\.sealing_ratio: must be a finite number"),
        ('engagement = "22 mm"', 'engagement = "22 mm"\nthread_compliance = "soft"', r"fastener\.thread_compliance: 'standard', 'bonded', or a compliance"),
        ('counterbore_depth = "10 mm"', "counterbore_depth = 1e-8", r"block\.counterbore_depth: must be at least 0\.001 mm to be meshed"),
        ('thickness = "4 mm"', 'thickness = "1e-8 mm"', r"washer\.thickness: must be at least 0\.001 mm to be meshed"),
        ('gas_pressure = "110 bar"', "", r"load_cases\[2\]: a firing case needs gas_pressure or ring_force"),
    ],
)  # fmt: skip
def test_a_mistake_is_named_with_field_value_and_remedy(old, new, expected):
    message = refusal(changed(old, new))
    assert re.search(expected, message), message


def own_law(**rows: str) -> str:
    table = "\n".join(f"{key} = {value}" for key, value in rows.items())
    return changed('law = "multi-layer steel bead"', 'law = "mine"') + f"\n[gasket.laws.mine]\n{table}\n"


@pytest.mark.parametrize(
    ("rows", "expected"),
    [
        ({"closure": "[0, 0.1, 0.1]", "pressure": "[0, 5, 9]"}, r"gasket\.laws\.mine\.closure\[2\]: .*not monotonic"),
        ({"closure": "[0, 0.1, 0.2]", "pressure": "[0, 9, 5]"}, r"gasket\.laws\.mine\.pressure\[2\]: .*not monotonic"),
        ({"closure": "[0, '0.1 kg']", "pressure": "[0, 9]"}, r"gasket\.laws\.mine\.closure\[1\]: unit 'kg' is no unit of length"),
        ({"closure": "[0, 0.1]", "pressure": "[1, 9]"}, r"pressure\[0\]: the first row must have zero pressure"),
        ({"closure": "[0, 0.1]", "pressure": "[0]"}, r"closure has 2 values and pressure 1"),
        ({"closure": "[0, 0.1]", "pressure": "[0, 50]", "unloading_stiffness": "400"}, r"at least the steepest loading slope, 500"),
    ],
)  # fmt: skip
def test_an_unphysical_gasket_law_is_refused(rows, expected):
    assert re.search(expected, refusal(own_law(**rows)))


def test_segments_that_miss_the_grip_are_told_both_lengths():
    message = refusal(changed('diameter = "10.2 mm"', 'diameter = "10.2 mm"\nlength = "50 mm"'))
    assert "add up to 68 mm, but the grip" in message
    assert "102.75 mm" in message


def test_files_that_are_no_joint_files(tmp_path):
    empty, binary = tmp_path / "empty.toml", tmp_path / "binary.toml"
    empty.write_text("  \n")
    binary.write_bytes(b"name = \xff\xfe")
    for path, expected in (
        (empty, "is empty"),
        (binary, "is not UTF-8 text"),
        (tmp_path, "is a folder"),
        (tmp_path / "none.toml", "no such file"),
    ):
        with pytest.raises(InputError, match=expected):
            read_joint(path)


def test_broken_toml_says_where():
    assert re.search(r"is not valid TOML: .*line 2", refusal('name = "x"\nhead = oops\n'))


LINES = STEEL.splitlines()
MUTILATIONS = st.sampled_from(
    ["drop", "twice", "negate", "zero", "huge", "text", "list", "nan", "unit", "rename", "true", "braces"]
)


def mutilate(line: str, how: str) -> list[str]:
    key, _, _ = line.partition("=")
    values = {
        "negate": '"-7 mm"', "zero": "0", "huge": "1e300", "text": '"lots"', "list": "[1, [2]]",
        "nan": "nan", "unit": '"5 furlong/fortnight"', "true": "true", "braces": '"{x} mm{"',
    }  # fmt: skip
    if how == "drop":
        return []
    if how == "twice":
        return [line, line]
    if how == "rename":
        return ["x" + line]
    return [f"{key}= {values[how]}"] if "=" in line else [line + values[how]]


@settings(max_examples=300, deadline=None)
@given(st.integers(0, len(LINES) - 1), MUTILATIONS)
def test_a_mutilated_file_is_read_or_refused_but_never_crashes(number, how):
    text = "\n".join([*LINES[:number], *mutilate(LINES[number], how), *LINES[number + 1 :]])
    try:
        parse_joint(text, file="joint.toml")
    except InputError as error:
        assert str(error).startswith("joint.toml")


@settings(max_examples=100, deadline=None)
@given(st.text(max_size=300))
def test_any_text_is_refused_politely(text):
    with pytest.raises(InputError):
        parse_joint(text, file="joint.toml")


lengths = st.floats(0.3, 3.0)


@settings(max_examples=40, deadline=None)
@given(scale=lengths, friction=st.floats(0.05, 0.4), factor=st.floats(1.0, 4.0), nu=st.floats(0.0, 0.45))
def test_a_generated_joint_is_resolved_to_what_was_stated(scale, friction, factor, nu):
    text = (
        STEEL.replace('height = "88 mm"', f"height = {88 * scale}")
        .replace("thread_friction = 0.12", f"thread_friction = {friction}")
        .replace('scatter = "torque wrench, tested on the joint"', f"scatter = {factor}")
        .replace('material = "EN AC-42100"', f'material = {{ base = "EN AC-42100", nu = {nu} }}')
        .replace('torque = "68 lbf.ft"', 'torque = "60 N.m"')
    )
    joint = parse_joint(text)
    assert joint.head.height == 88 * scale
    assert joint.head.material.nu == nu
    assert joint.fastener.clamped_length == pytest.approx(88 * scale + 14.75)
    assert joint.tightening.scatter == pytest.approx((factor - 1) / (factor + 1))
    assert joint.tightening.preload > 0
