"""Threads, property classes, materials and gasket laws: formulas, sources, sanity."""

from __future__ import annotations

import math

import pytest

from headjoint.model.base.errors import InputError
from headjoint.model.gasket import shipped_laws as gasket_laws
from headjoint.model.library import materials, property_classes, threads

# d2 and D1 of the table of basic sizes of ISO 724, d3 of its definition d - 1.226869 P; printed values from memory, high
# confidence
ISO_724 = {
    "M8": (7.188, 6.647, 6.466),
    "M8x1": (7.350, 6.917, 6.773),
    "M9": (8.188, 7.647, 7.466),
    "M10": (9.026, 8.376, 8.160),
    "M10x1.25": (9.188, 8.647, 8.466),
    "M10x1": (9.350, 8.917, 8.773),
    "M11": (10.026, 9.376, 9.160),
    "M11x1.25": (10.188, 9.647, 9.466),
    "M12": (10.863, 10.106, 9.853),
    "M12x1.5": (11.026, 10.376, 10.160),
    "M12x1.25": (11.188, 10.647, 10.466),
    "M14": (12.701, 11.835, 11.546),
    "M14x1.5": (13.026, 12.376, 12.160),
    "M16": (14.701, 13.835, 13.546),
    "M16x1.5": (15.026, 14.376, 14.160),
    "M18": (16.376, 15.294, 14.933),
    "M18x2": (16.701, 15.835, 15.546),
    "M18x1.5": (17.026, 16.376, 16.160),
    "M20": (18.376, 17.294, 16.933),
    "M20x2": (18.701, 17.835, 17.546),
    "M20x1.5": (19.026, 18.376, 18.160),
}
# A_S of ISO 898-1, mm2, printed to three digits; from memory, high confidence
ISO_898_1 = {
    "M8": 36.6, "M8x1": 39.2, "M10": 58.0, "M10x1.25": 61.2, "M10x1": 64.5, "M12": 84.3, "M12x1.5": 88.1,
    "M12x1.25": 92.1, "M14": 115.0, "M14x1.5": 125.0, "M16": 157.0, "M16x1.5": 167.0, "M18": 192.0, "M18x1.5": 216.0,
    "M20": 245.0, "M20x1.5": 272.0,
}  # fmt: skip
# A_s of ASME B1.1, in2, and basic pitch diameter, in; printed values from memory, high confidence
ASME_B1_1 = {
    "5/16-18 UNC": (0.0524, 0.2764), "5/16-24 UNF": (0.0580, 0.2854), "3/8-16 UNC": (0.0775, 0.3344),
    "3/8-24 UNF": (0.0878, 0.3479), "7/16-14 UNC": (0.1063, 0.3911), "7/16-20 UNF": (0.1187, 0.4050),
    "1/2-13 UNC": (0.1419, 0.4500), "1/2-20 UNF": (0.1599, 0.4675), "9/16-12 UNC": (0.182, 0.5084),
    "9/16-18 UNF": (0.203, 0.5264), "5/8-11 UNC": (0.226, 0.5660), "5/8-18 UNF": (0.256, 0.5889),
}  # fmt: skip


@pytest.mark.parametrize(("name", "sizes"), ISO_724.items())
def test_a_metric_thread_has_the_basic_sizes_of_iso_724(name, sizes):
    one = threads.thread(name)
    found = (one.pitch_diameter, one.minor_diameter_internal, one.minor_diameter_external)
    assert found == pytest.approx(sizes, abs=6e-4)


@pytest.mark.parametrize(
    ("spelling", "designation"),
    [("m10 X 1.25", "M10x1.25"), ("M10x1.5", "M10"), ("M10x1.50", "M10"), ("7/16-20", "7/16-20 UNF"), ("1/2-13UNC", "1/2-13 UNC")],
)  # fmt: skip
def test_a_thread_is_found_under_its_usual_spellings(spelling, designation):
    assert threads.thread(spelling).designation == designation


def test_an_unknown_size_is_refused_and_the_nearest_named():
    with pytest.raises(InputError, match=r"nearest: M10x1\.25"):
        threads.thread("M10x1.2")


@pytest.mark.parametrize(("name", "printed"), ISO_898_1.items())
def test_a_metric_thread_has_the_stress_area_of_iso_898_1(name, printed):
    assert float(f"{threads.thread(name).stress_area:.3g}") == printed


@pytest.mark.parametrize(("name", "printed"), ASME_B1_1.items())
def test_a_unified_thread_has_stress_area_and_pitch_diameter_of_asme_b1_1(name, printed):
    one = threads.thread(name)
    area, pitch_diameter = printed
    # printed to three or four digits
    assert one.stress_area / 25.4**2 == pytest.approx(area, abs=0.5e-3 if area >= 0.18 else 1e-4)
    assert one.pitch_diameter / 25.4 == pytest.approx(pitch_diameter, abs=6e-5)


def test_the_library_covers_m6_to_m20_and_quarter_to_five_eighths():
    names = threads.names()
    assert {"M6", *ISO_724, *ISO_898_1, *ASME_B1_1} <= set(names)
    for size in ("1/4", "5/16", "3/8", "7/16", "1/2", "9/16", "5/8"):
        assert sum(name.startswith(f"{size}-") for name in names) == 2


def test_threads_that_are_not_first_or_second_choice_of_iso_261_say_so():
    third = {name for name, one in threads.library().items() if "third choice" in one.source}
    assert third == {"M9", "M9x1", "M11", "M11x1", "M11x1.25"}
    assert "the pitch 1.25 is outside it" in threads.thread("M11x1.25").source


def test_every_entry_of_every_library_has_a_source():
    assert all(one.source for one in threads.library().values())
    assert all(one.source for one in property_classes.library().values())
    assert all(one.source and one.spread for one in gasket_laws.library().values())
    for material in materials.library().values():
        for name in (*materials.TABULAR, *materials.PLAIN):
            if getattr(material, name) is not None:
                assert material.sources.get(name), f"{material.name}: {name}"


@pytest.mark.parametrize("material", materials.library().values(), ids=materials.names())
def test_material_data_are_physical(material):
    for name in materials.TABULAR:
        table = getattr(material, name)
        if table is not None:
            assert list(table.temperatures) == sorted(set(table.temperatures))
            assert all(math.isfinite(value) and value > 0 for value in table.values)
    assert 0.0 < material.nu < 0.5
    assert 1.0 <= material.E.at(20.0) <= 250e3
    assert 1e-6 < material.expansion.at(20.0) < 2e-4
    assert material.density is None or 500 < material.density < 10000
    # nothing is known of it hotter than it stays solid
    assert material.solidus is None or 400.0 < material.solidus < 1700.0
    assert material.solidus is None or all(
        table is None or table.temperatures[-1] < material.solidus
        for table in (getattr(material, name) for name in materials.TABULAR)
    )
    if material.yield_strength is not None and material.ultimate_strength is not None:
        assert material.yield_strength.at(20.0) < material.ultimate_strength.at(20.0)
    if "gasket" not in material.uses:
        assert material.E.at(20.0) > 10e3
        assert all(b <= a for a, b in zip(material.E.values, material.E.values[1:], strict=False))


def test_metals_begin_to_melt_in_the_order_of_their_families():
    solidus = {name: material.solidus for name, material in materials.library().items()}
    assert solidus["EN AC-46200"] < solidus["EN AC-42100"] < 600.0 < solidus["UNS C11000"] < solidus["EN-GJL-250"]
    assert solidus["EN-GJL-250"] < solidus["AISI 4140"] < solidus["UNS R56400"]
    assert all((solidus[name] is None) == (not materials.material(name).E.at(20.0) > 10e3) for name in solidus)


def test_free_strain_counts_from_the_reference_temperature():
    steel = materials.material("ISO 898-1 steel")
    assert steel.free_strain(20.0, 20.0) == 0.0
    assert steel.free_strain(120.0, 50.0) == pytest.approx(
        steel.free_strain(120.0, 20.0) - steel.free_strain(50.0, 20.0)
    )


def test_strength_classes_rise_and_weaken_with_heat():
    yields = [property_classes.property_class(name).yield_strength for name in ("8.8", "10.9", "12.9")]
    assert [table.at(20.0) for table in yields] == [640.0, 940.0, 1100.0]
    assert all(table.at(150.0) < table.at(20.0) for table in yields)
