"""The live page in a browser: milliseconds from a slider's move to what is drawn, at one and at four clients.

Run as `python -m validation.benchmarks.live [ENGINE]`; it needs Chromium and playwright. Every client moves torque and
peak pressure through their middle range and waits for the answer to each move, verdict and all. Told are the times to
the drawn pictures with what surely fails, and to the whole verdict. Exits 1 where either is over the target for one
client: median 200 ms for one stud, 400 ms for a cell, 95th percentile at most twice that.
"""

from __future__ import annotations

import asyncio
import shutil
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from typing import Any

import numpy as np

MOVED = ("tightening.torque", "load_cases.gas_pressure")
MOVES = 12  # of each slider, to and fro over the middle of its range
PARTS = ("timings", "verdicts")  # what the page keeps: to the pictures, to the verdict
TARGETS = {"stud": 200.0, "whole": 400.0}  # ms, of each part
ANSWERED = "() => window.headjointLive && window.headjointLive.answered && !!window.headjointLive.answer"
MOVE = """([path, share]) => { const one = document.getElementById("m-" + path);
  one.value = Number(one.min) + share * (Number(one.max) - Number(one.min)); one.dispatchEvent(new Event("input")); }"""
LOOK = 20.0  # ms between looks at whether the answer is there; a look at every frame would have frames drawn for it
WAIT = 1_800_000.0  # ms; an engine may have to be condensed first


async def _client(browser: Any, address: str, offset: float) -> dict[str, list[float]]:
    """Return the milliseconds of every move of one client, to the pictures and to the verdict."""
    page = await (await browser.new_context(viewport={"width": 1440, "height": 900})).new_page()
    await page.goto(address, timeout=WAIT)
    await page.wait_for_function(ANSWERED, timeout=WAIT)
    counts = {name: await page.evaluate(f"window.headjointLive.{name}.length") for name in PARTS}
    for path in MOVED:
        for number in range(MOVES):
            share = 0.5 + 0.15 * np.sin(0.7 * number + offset)
            await page.evaluate(MOVE, [path, float(share)])
            await page.wait_for_function(ANSWERED, timeout=WAIT, polling=LOOK)
    found = {name: await page.evaluate(f"window.headjointLive.{name}.slice({counts[name]})") for name in PARTS}
    await page.context.close()
    return found


async def _measure(address: str, clients: int) -> dict[str, list[float]]:
    from playwright.async_api import async_playwright

    path = shutil.which("chromium") or shutil.which("chromium-browser")
    async with async_playwright() as started:
        browser = await started.chromium.launch(executable_path=path, args=["--no-sandbox"])
        found = await asyncio.gather(*(_client(browser, address, 0.3 * number) for number in range(clients)))
        await browser.close()
    return {name: [one for own in found for one in own[name]] for name in PARTS}


def served(engine: str, port: int = 0) -> tuple[subprocess.Popen, str]:
    """Return a server of the live page, once it can be asked, and its address; by default at a free port."""
    if port == 0:
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            port = free.getsockname()[1]
    command = [sys.executable, "-m", "headjoint.cases.cli", "live", engine, "--port", str(port), "--no-browser"]
    process = subprocess.Popen(command, stderr=subprocess.DEVNULL)
    address = f"http://127.0.0.1:{port}"
    while process.poll() is None:
        try:
            urllib.request.urlopen(address, timeout=1.0).close()
            break
        except (urllib.error.URLError, OSError):
            time.sleep(0.1)
    return process, address


def main() -> int:
    """Print the figures."""
    engine = next(iter(sys.argv[1:]), "boosted-four")
    process, address = served(engine)
    late = False
    try:
        for model, target in TARGETS.items():
            for clients in (1, 4):
                found = asyncio.run(_measure(f"{address}/?engine={engine}&model={model}", clients))
                pictures, verdict = told = [np.percentile(found[name], (50, 95)) for name in PARTS]
                late |= clients == 1 and any(median > target or tail > 2.0 * target for median, tail in told)
                print(
                    f"{engine}, {model}, {clients} client{'s' * (clients > 1)}: pictures median {pictures[0]:.0f} ms, "
                    f"95 % within {pictures[1]:.0f} ms of {len(found['timings'])} moves; verdict {verdict[0]:.0f} and "
                    f"{verdict[1]:.0f} ms (wanted of one client, of pictures and verdict each: {target:.0f} and "
                    f"{2 * target:.0f} ms)"
                )
    finally:
        process.terminate()
        process.wait()
    return int(late)


if __name__ == "__main__":
    sys.exit(main())
