"""Products of a row side by side, on as many threads as whoever asks may have at that time."""

from __future__ import annotations

import os
import threading

import pytest

from headjoint.cases.elements import side_by_side as module
from headjoint.cases.elements.side_by_side import side_by_side
from headjoint.cases.elements.threads import allowed_threads, one_thread, share_of_threads


class NoLimit:
    """No library limits threads, whatever other tests have loaded."""

    def info(self) -> list:
        return []


@pytest.mark.skipif((os.cpu_count() or 1) < 2, reason="one core")
def test_a_limit_on_threads_holds_from_the_next_product_on_and_no_longer(monkeypatch):
    monkeypatch.setattr(module, "_limiting", NoLimit)
    own = threading.current_thread().name

    def thread_of_two() -> str:
        met.wait()  # for another thread that works meanwhile
        return threading.current_thread().name

    for _ in range(2):
        met = threading.Barrier(2, timeout=30.0)
        assert own not in side_by_side(lambda number: thread_of_two(), range(2))
        with one_thread():
            assert side_by_side(lambda number: threading.current_thread().name, range(2)) == [own, own]


def test_two_that_factorise_at_once_have_half_of_the_threads_each(monkeypatch):
    monkeypatch.setattr(os, "cpu_count", lambda: 6)
    with share_of_threads(2):
        assert allowed_threads(NoLimit()) == 3
        with share_of_threads(12):
            assert allowed_threads(NoLimit()) == 1
    assert allowed_threads(NoLimit()) == 6
