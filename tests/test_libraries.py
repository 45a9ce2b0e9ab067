"""Threads, property classes, materials and gasket laws: formulas, sources, sanity."""

from __future__ import annotations

import math

import pytest

from headjoint.model.base.errors import InputError
from headjoint.model.gasket import shipped_laws as gasket_laws
from headjoint.model.library import materials, property_classes, threads

# d2, D1, d3 of ISO 724 basic sizes (from memory, high confidence; recomputed)
ISO_724 = {
    "M8": (7.188, 6.647, 6.466),
    "M10": (9.026, 8.376, 8.160),
    "M11x1.25": (10.188, 9.647, 9.466),
    "M12x1.25": (11.188, 10.647, 10.466),
    "M14x1.5": (13.026, 12.376, 12.160),
}


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


def test_the_library_covers_m6_to_m16_and_quarter_to_nine_sixteenths():
    names = threads.names()
    assert {"M6", "M8x1", "M10x1.25", "M11x1.25", "M12x1.5", "M14x1.5", "M16x1.5"} <= set(names)
    for size in ("1/4", "5/16", "3/8", "7/16", "1/2", "9/16"):
        assert sum(name.startswith(f"{size}-") for name in names) == 2


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
