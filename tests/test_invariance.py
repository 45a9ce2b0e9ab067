"""Answers do not hang on how a joint is stated, placed, scaled or computed: the same to the digits that stand here."""

from __future__ import annotations

import dataclasses
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from conftest import shipped_text
from scipy.spatial.transform import Rotation
from threadpoolctl import threadpool_limits

from headjoint.cases.elements.solid import SolidBody, isotropic_stiffness
from headjoint.cases.load_cases.load_history import History
from headjoint.cases.load_cases.solved import joint_on_mesh
from headjoint.model.gasket.law import GasketLaw
from headjoint.model.joint import Joint
from headjoint.model.library.materials import Material
from headjoint.model.reading.reading import parse_content, parse_joint
from headjoint.postproc.designs.outcome import Source, Task
from headjoint.postproc.designs.run import Workers, run_study
from validation.manufactured import block

TEXT = shipped_text("boosted-four-steel") + '\n[mesh]\nelement_size = "1.5 mm"\n'
ROUNDING = 1e-9  # relative, of what floating point leaves of ten thousand unknowns
BEARING_SPRING = 5e-5  # metal faces keep their stiffness of 1e8 MPa/mm whatever is scaled, and pressures their floor


def solved(joint: Joint) -> History:
    return joint_on_mesh(joint, 1.0).nominal


def assert_same(one: History, other: History, within: float, forces: float = 1.0) -> None:
    """Forces and pressures of all states are the same, `forces` times as large; closures are the same."""
    assert [state.name for state in one.states] == [state.name for state in other.states]
    for a, b in zip(one.states, other.states, strict=True):
        assert forces * a.force == pytest.approx(b.force, rel=within)
        groups = {group.name: group.points for group in other.reduced.groups}
        for group in one.reduced.groups:
            at = groups[group.name]
            first, second = forces * a.equilibrium.pressure[group.points], b.equilibrium.pressure[at]
            if group.kind == "bearing":  # metal on metal is as good as rigid: what it bears counts, not single points
                first, second = one.reduced.weight[group.points] @ first, other.reduced.weight[at] @ second
            assert first == pytest.approx(second, rel=within, abs=within * np.abs(second).max())


OTHER_UNITS = {
    r'"([\d.]+) mm"': lambda value: f'"{value / 25.4!r} in"',
    r'"([\d.]+) degC"': lambda value: f'"{value * 1.8 + 32.0!r} degF"',
    r'"([\d.]+) bar"': lambda value: f'"{value * 1e5 / 6894.757293168362!r} psi"',  # lbf/in2, 4.4482216152605 N exactly
    r'"([\d.]+) MPa"': lambda value: f'"{value * 1e3!r} kPa"',
    r'"([\d.]+) lbf.ft"': lambda value: f'"{value * 4.4482216152605 * 0.3048!r} N.m"',
}


def test_a_joint_in_inches_and_fahrenheit_is_the_same_to_nine_digits():
    text = TEXT
    for pattern, told in OTHER_UNITS.items():
        text = re.sub(pattern, lambda found, told=told: told(float(found[1])), text)
    assert text.count(' in"') > 20
    assert_same(solved(parse_joint(TEXT)), solved(parse_joint(text)), ROUNDING)


def test_the_order_of_zones_in_the_file_does_not_matter_to_nine_digits():
    first, *zones = re.split(r"(?=\[\[gasket\.zones\]\]\n)", TEXT)
    last, rest = zones[-1].split("\n\n", 1)
    text = first + "".join([f"{last}\n\n", *reversed(zones[:-1])]) + rest
    assert sorted(text.split()) == sorted(TEXT.split())
    one, other = parse_joint(TEXT), parse_joint(text)
    assert_same(solved(one), solved(other), ROUNDING)


def stronger(stated: Any, factor: float) -> Any:
    """Everything elastic `factor` times as stiff, wherever it stands in a joint."""
    if isinstance(stated, GasketLaw):
        return stated.scaled(factor)
    if isinstance(stated, Material):
        return replace(stated, E=stated.E.times(factor))
    if isinstance(stated, tuple):
        return tuple(stronger(one, factor) for one in stated)
    if dataclasses.is_dataclass(stated) and not isinstance(stated, type):
        fields = {one.name: getattr(stated, one.name) for one in dataclasses.fields(stated) if one.init}
        return replace(stated, **{name: stronger(value, factor) for name, value in fields.items()})
    return stated


def test_moduli_laws_preload_and_gas_doubled_double_all_forces_to_four_digits():
    joint = parse_joint(
        re.sub(r"(?s)\[tightening\].*?\n\n", '[tightening]\nmethod = "preload"\npreload = "40 kN"\n\n', TEXT)
    )
    double = stronger(joint, 2.0)
    cases = tuple(
        replace(case, gas_pressure=2.0 * case.gas_pressure, gas_force=2.0 * case.gas_force)
        for case in double.load_cases
    )
    tightening = replace(double.tightening, preload=2.0 * double.tightening.preload)
    compliances = {"thread_compliance", "nut_compliance", "thread_teeth", "nut_teeth"}
    softer = {
        name: None if getattr(joint.fastener, name) is None else getattr(joint.fastener, name) / 2.0
        for name in compliances
    }
    double = replace(double, load_cases=cases, tightening=tightening, fastener=replace(double.fastener, **softer))
    assert_same(solved(joint), solved(double), BEARING_SPRING, forces=2.0)


def body(kind: str, turned: np.ndarray, size: float = 1.0, modulus: float = 70e3) -> SolidBody:
    points, cells = block(2, kind)
    m = cells.shape[1]
    return SolidBody(size * (turned @ points), cells, isotropic_stiffness(np.full(m, modulus), np.full(m, 0.33)))


@pytest.mark.parametrize("kind", ["hexahedra", "tetrahedra"])
def test_a_body_turned_is_as_stiff_to_eleven_digits(kind):
    turned = Rotation.from_euler("xyz", [0.4, -1.1, 2.0]).as_matrix()
    stiffness, _ = body(kind, np.eye(3)).stiffness_and_free_strain()
    other, _ = body(kind, turned).stiffness_and_free_strain()
    u = np.random.default_rng(3).normal(size=(stiffness.shape[0] // 3, 3))
    force = (stiffness @ u.ravel()).reshape(-1, 3)
    assert other @ (u @ turned.T).ravel() == pytest.approx((force @ turned.T).ravel(), abs=1e-11 * np.abs(force).max())


def test_a_body_mirrored_is_as_stiff_to_eleven_digits():
    flip = np.diag([1.0, -1.0, 1.0])
    stiffness, _ = body("hexahedra", np.eye(3)).stiffness_and_free_strain()
    points, cells = block(2, "hexahedra")
    # a mirrored element is inside out: its lower and upper faces change places
    swapped = cells[[4, 5, 6, 7, 0, 1, 2, 3, 12, 13, 14, 15, 8, 9, 10, 11, 16, 17, 18, 19]]
    m = cells.shape[1]
    mirrored = SolidBody(flip @ points, swapped, isotropic_stiffness(np.full(m, 70e3), np.full(m, 0.33)))
    other, _ = mirrored.stiffness_and_free_strain()
    u = np.random.default_rng(3).normal(size=(points.shape[1], 3))
    force = (stiffness @ u.ravel()).reshape(-1, 3)
    assert other @ (u @ flip).ravel() == pytest.approx((force @ flip).ravel(), abs=1e-11 * np.abs(force).max())


@pytest.mark.parametrize("kind", ["hexahedra", "tetrahedra"])
def test_stiffness_and_free_strain_are_those_of_the_strain_operator(kind):
    # K = sum of B' D B, element by element, of uneven elements of unlike stiffness
    rng = np.random.default_rng(7)
    regular = body(kind, np.eye(3))
    m = regular.cells.shape[1]
    D = isotropic_stiffness(rng.uniform(50e3, 200e3, m), rng.uniform(0.2, 0.4, m))
    uneven = SolidBody(regular.points + 0.02 * rng.normal(size=regular.points.shape), regular.cells, D)
    stiffness, free = uneven.stiffness_and_free_strain()
    operator, weight = uneven.operators(slice(None))
    own = np.einsum("mqia,mij,mqjb,mq->mab", operator, D, operator, weight, optimize=True)
    u = rng.normal(size=uneven.unknowns)
    force = uneven.vector(np.einsum("mab,mb->ma", own, u[uneven.dofs()]))
    assert stiffness @ u == pytest.approx(force, abs=1e-12 * np.abs(force).max())
    assert np.abs(stiffness - stiffness.T).max() == 0.0
    load = np.einsum("mqia,mij,mq,j->ma", operator, D, weight, [1, 1, 1, 0, 0, 0], optimize=True)
    assert free == pytest.approx(load, abs=1e-12 * np.abs(load).max())


@pytest.mark.parametrize("kind", ["hexahedra", "tetrahedra"])
def test_stiffness_goes_with_size_and_modulus_to_twelve_digits(kind):
    # force = stiffness times displacement; stress E u / L over an area L^2: E L
    one, free = body(kind, np.eye(3)).stiffness_and_free_strain()
    other, other_free = body(kind, np.eye(3), size=3.0, modulus=2.0 * 70e3).stiffness_and_free_strain()
    assert np.abs(other - 6.0 * one).max() < 1e-12 * np.abs(other).max()
    # what a free strain presses with: E times an area
    assert other_free == pytest.approx(18.0 * free, abs=1e-12 * np.abs(other_free).max())


def test_threads_of_dense_algebra_do_not_matter_to_nine_digits():
    joint = parse_joint(TEXT)
    with threadpool_limits(2):
        two = solved(joint)
    assert_same(solved(joint), two, ROUNDING)


def test_the_order_of_designs_in_a_study_does_not_matter_to_nine_digits():
    content = {key: value for key, value in parse_content(TEXT).items() if key != "variants"}
    source = Source(content, "joint.toml", Path())
    tasks = [Task({"torque": f"{torque} N.m"}) for torque in (70, 80, 90)]
    forwards = run_study(source, tasks, None, Workers(1)).outcomes
    backwards = run_study(source, tasks[::-1], None, Workers(1)).outcomes[::-1]
    for one, other in zip(forwards, backwards, strict=True):
        assert one.figures == pytest.approx(other.figures, rel=ROUNDING)
        assert [c.value for c in one.verdict.criteria] == pytest.approx(
            [c.value for c in other.verdict.criteria], rel=ROUNDING
        )
