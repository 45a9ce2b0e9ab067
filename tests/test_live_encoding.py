"""What the live page is sent: every figure as it is, none that is no number, and no server that is left behind."""

from __future__ import annotations

import json
import threading
import urllib.error
import urllib.request
from types import SimpleNamespace

import numpy as np
import pytest
from live_page import served

from headjoint.model.base.errors import SolveError
from headjoint.postproc.live.server import _encoded


def test_numbers_of_arrays_and_what_has_no_figure_come_out_as_they_are():
    found = {
        "forces": [[45.46, np.float64(59.52)], [np.float32(0.5)], []],
        "state": np.int64(3),
        "holds": np.bool_(False),
        "value": None,
        "fired": [None, 1.25],
        "words": ["bore 1", "least 14.2"],
        "corner": (1.0, 2.0),
    }
    assert json.loads(_encoded(found)) == {
        "forces": [[45.46, 59.52], [0.5], []],
        "state": 3,
        "holds": False,
        "value": None,
        "fired": [None, 1.25],
        "words": ["bore 1", "least 14.2"],
        "corner": [1.0, 2.0],
    }


@pytest.mark.parametrize("none", [float("nan"), float("inf"), -np.inf, np.float64("nan"), np.float32("nan")])
@pytest.mark.parametrize(
    ("around", "name"),
    [
        (lambda none: {"forces": {"least": [[1.0, none]]}}, r"forces\.least\[0\]\[1\]"),
        (lambda none: {"requirements": [{"key": "sealing", "value": none}]}, r"requirements\[0\]\.value"),
        (lambda none: {"fired": [None, none]}, r"fired\[1\]"),
    ],
    ids=["among numbers", "of a requirement", "beside what has none"],
)
def test_a_figure_that_is_no_number_is_said_and_never_sent_as_one_that_is_missing(around, name, none):
    with pytest.raises(SolveError, match=name + " came out as no number"):
        _encoded(around(none))


@pytest.mark.parametrize(
    "odd", [np.array([1.0]), np.array([1.0, 2.0]), object(), 1j], ids=["one", "two", "object", "i"]
)
def test_what_has_no_words_in_json_is_named_by_its_kind(odd):
    with pytest.raises(TypeError, match=type(odd).__name__ + " has no words in JSON"):
        _encoded({"force": odd})


def test_the_page_is_told_of_a_figure_that_is_no_number_in_place_of_any_answer():
    gone = float("nan")
    stub = SimpleNamespace(
        names=["six"],
        close=lambda: None,
        answered=lambda asked: {"forces": [gone]},
        tightening=lambda asked: {"frames": [{"ticks": [0.0, gone]}]},
        curves=lambda asked, service: {"diagram": {"force": [gone]}},
        warm_up=lambda asked: {"frames": [{"at": gone}]},
        points=lambda asked, find: {"points": [{"values": {"head": gone}}]},
        in_units=lambda asked, units: {"torque": gone},
        described=lambda name, units, model: {"controls": [{"low": gone}]},
    )
    names = {
        "/answer": "forces[0]", "/tightening": "frames[0].ticks[1]", "/curves": "diagram.force[0]",
        "/warm-up": "frames[0].at", "/points": "points[0].values.head", "/units": "changes.torque",
        "/engine?engine=six": "controls[0].low",
    }  # fmt: skip
    with served(stub, "six") as address:
        for path, name in names.items():
            body = {"/units": b'{"engine": "six", "to": "si"}', "/engine?engine=six": None}.get(
                path, b'{"engine": "six"}'
            )
            asked = urllib.request.Request(address + path, body, {"content-type": "application/json"})
            with pytest.raises(urllib.error.HTTPError) as refused:
                urllib.request.urlopen(asked, timeout=10.0)
            assert refused.value.code == 422
            told = json.loads(refused.value.read())["refused"]
            assert told == f"{name} came out as no number: nothing is shown of this answer"


def test_a_server_of_a_test_ends_with_it_however_it_ends():
    before, closed = set(threading.enumerate()), []
    stub = SimpleNamespace(names=["six"], close=lambda: closed.append(True))
    with pytest.raises(ZeroDivisionError), served(stub, "six") as address:
        raise ZeroDivisionError
    assert closed == [True]
    assert not set(threading.enumerate()) - before  # those of other tests may end meanwhile
    with pytest.raises(urllib.error.URLError):
        urllib.request.urlopen(address, timeout=5.0)
