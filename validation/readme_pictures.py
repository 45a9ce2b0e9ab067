"""The README's pictures, made anew by the commands that they show.

Run as `python -m validation.readme_pictures [PICTURE...]`, by default all: some ten minutes. The live page needs
Chromium and playwright, as its benchmark does.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable
from functools import partial
from pathlib import Path

ENGINE = "boosted-four"
PLACE = Path(__file__).parents[1] / ".pictures"
# of every command the pictures that are taken, by the names that it gives them
COMMANDS: dict[tuple[str, ...], dict[str, str]] = {
    ("solve", ENGINE): {
        "drawing": "drawing",
        "gasket_pressure": "gasket_pressure",
        "sealing_line": "sealing_line",
    },
    ("solve", ENGINE, "--model", "stud"): {"contact_pressure": "contact_pressure", "section": "section"},
    ("history", "yield-tightened-bolt"): {"clamp_in_service": "clamp_in_service"},
    ("warmup", ENGINE, "--model", "stud"): {"warmup": "warmup"},
    ("rig", "stud-oiled", "--rig", "hollow-ram-m11-stud", "--against", "stud-dry"): {"rig": "measured_and_predicted"},
    ("compare", ENGINE, "--model", "stud"): {"compare": "compare"},
    ("scatter", ENGINE, "--model", "stud"): {"scatter": "scatter"},
    ("sweep", ENGINE, "--model", "stud", "--over", "torque=60..110 N.m in 20", "--over", "boost=0.5..2.5 bar in 20"): {
        "boost_torque": "sweep"
    },
}
LIVE = {"set.tightening.torque": 71.0}  # a joint that fails, for the page says what to change
SIZE = {"width": 1440, "height": 900}


def main() -> None:
    """Make the pictures that are named, or all."""
    makers = all_makers()
    for names, make in makers.items():
        if not sys.argv[1:] or set(names) & set(sys.argv[1:]):
            make()
            print("made", ", ".join(names), flush=True)


def all_makers() -> dict[tuple[str, ...], Callable[[], None]]:
    """Return what makes pictures, by their names."""
    made: dict[tuple[str, ...], Callable[[], None]] = {
        tuple(taken): partial(by_command, command, taken) for command, taken in COMMANDS.items()
    }
    return made | {("trade_curves",): trade_curves, ("live",): live_page}


def by_command(command: tuple[str, ...], taken: dict[str, str]) -> None:
    """Run a command of the program and take pictures out of its folder."""
    with tempfile.TemporaryDirectory() as folder:
        run = [sys.executable, "-m", "headjoint.cases.cli", *command, "-o", folder]
        # the code says what holds, and stands for no failure
        subprocess.run(run, stdout=subprocess.DEVNULL, check=False)
        for name, own in taken.items():
            shutil.copy(Path(folder) / f"{own}.png", PLACE / f"{name}.png")


def trade_curves() -> None:
    """Draw what cannot be had together of yielded bolts."""
    subprocess.run([sys.executable, "-m", "validation.trade_curves", PLACE / "trade_curves.png"], check=True)


def live_page() -> None:
    """Take the picture of the live page with a torque that is too low."""
    from playwright.sync_api import sync_playwright

    from validation.benchmarks.live import ANSWERED, WAIT, served

    process, address = served(ENGINE)
    query = "&".join(f"{path}={value}" for path, value in LIVE.items())
    path = shutil.which("chromium") or shutil.which("chromium-browser")
    try:
        with sync_playwright() as started:
            browser = started.chromium.launch(executable_path=path, args=["--no-sandbox"])
            page = browser.new_page(viewport=SIZE)
            page.goto(f"{address}/?engine={ENGINE}&{query}", timeout=WAIT)
            page.wait_for_function(ANSWERED, timeout=WAIT)
            page.screenshot(path=PLACE / "live.png")
            browser.close()
    finally:
        process.terminate()
        process.wait()


if __name__ == "__main__":
    main()
