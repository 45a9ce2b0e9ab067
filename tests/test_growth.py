"""The table of growth: what counts as grown."""

from __future__ import annotations

import pytest

from validation.benchmarks.growth import CELL, GROWN, STORED, Figures, by_stage, grown, measured


def test_a_stage_that_takes_twice_its_stored_ratio_is_named_and_one_too_short_to_tell_is_not():
    smallest = Figures(100, 600, {"mesh": 0.01, "assemble": 1.0, "condense": 2.0, "states": 0.5}, 200.0)
    stored = STORED[CELL, 1.0]
    seconds = {"mesh": 5.0, "assemble": stored["assemble"], "condense": 2.0 * 2.0 * stored["condense"], "states": 0.4}
    ratios = Figures(1000, 6000, seconds, 200.0).over(smallest)
    assert "mesh" not in ratios
    assert grown(CELL, 1.0, ratios) == ["condense"]
    assert grown(CELL, 0.123, {"condense": 100.0}) == [], "nothing is stored of that size"
    assert GROWN < 2.0


def test_a_stage_nobody_counts_is_an_error_and_no_part_of_another():
    told = [("mesh", 1.0), ("condense 500 unknowns", 1.5), ("tighten", 3.5), ("nominal preload", 4.0)]
    assert by_stage(told, 6.0) == {"mesh": 0.5, "assemble": 0.0, "condense": 2.0, "states": 2.5}
    with pytest.raises(ValueError, match="counted nowhere: polish"):
        by_stage([*told, ("polish", 5.0)], 6.0)


def test_a_joint_is_measured_in_a_process_of_its_own():
    found = measured("boosted-four-copper", 0.3)
    assert isinstance(found, Figures)
    assert found.unknowns > 1000
    assert found.memory > 50.0
    assert "elements" in measured("boosted-four-copper", 30.0)  # why there are none
