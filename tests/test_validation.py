"""Every published check holds, names its source, and can fail."""

from __future__ import annotations

import dataclasses

import pytest

from validation import GROUPS
from validation.check import Check


@pytest.mark.parametrize("title", GROUPS)
def test_published_checks_hold(title):
    checks = GROUPS[title]()
    assert checks
    failed = [f"{c.quantity}: {c.computed:.6g} against {c.published:.6g}" for c in checks if not c.passed]
    assert not failed
    assert all(check.source for check in checks)


def test_a_check_fails_when_the_figure_is_wrong_or_missing():
    check = Check("x", "here", 2.0, 2.0, 0.01)
    assert check.passed
    assert not dataclasses.replace(check, computed=2.03).passed
    assert not dataclasses.replace(check, computed=float("nan")).passed


def test_there_are_at_least_25_published_checks():
    assert sum(len(group()) for title, group in GROUPS.items() if title.startswith("Closed form")) >= 25
