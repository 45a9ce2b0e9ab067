"""The live page served to a browser, for the tests that look at it."""

from __future__ import annotations

import functools
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest

from headjoint.postproc.live.engines import Engines


def until(found: Callable[[], Any], seconds: float = 60.0) -> Any:
    """Return what is found once it is anything."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if got := found():
            return got
        time.sleep(0.05)
    raise AssertionError("waited in vain")


@contextmanager
def served(engines: Engines, chosen: str) -> Iterator[str]:
    """Serve the page of some engines and give its address."""
    uvicorn = pytest.importorskip("uvicorn")
    from headjoint.postproc.live.server import app_of

    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    serving = uvicorn.Server(uvicorn.Config(app_of(engines, chosen, "si"), port=port, log_level="error"))
    thread = threading.Thread(target=serving.run, daemon=True)
    thread.start()
    try:
        until(lambda: serving.started)
        yield f"http://127.0.0.1:{port}"
    finally:
        serving.should_exit = True
        thread.join(10.0)


def ready(page: Any) -> Callable[[], bool]:
    """Return what says whether the page's answer stands."""
    return functools.partial(
        page.evaluate, "!!window.headjointLive && headjointLive.answered && !!headjointLive.answer"
    )


def move(page: Any, torque: float) -> None:
    """Move the slider of the torque."""
    page.evaluate(
        """(torque) => { const one = document.getElementById("m-tightening.torque");
        one.value = torque; one.dispatchEvent(new Event("input")); }""",
        torque,
    )
