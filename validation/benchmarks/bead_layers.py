"""What contact between layers changes: a shipped bead alone, and with its like facing it, in it, beside it, lower.

Run as `python -m validation.benchmarks.bead_layers` (a minute or two): line load where every stack is closed by equal
shares of what it can be closed by, first loading alone; at last, the whole law of three layers with a stopper, timed.
"""

from __future__ import annotations

import os
import time
from dataclasses import replace

import numpy as np
from threadpoolctl import threadpool_limits

from headjoint.cases.bead.history import STEPS
from headjoint.cases.bead.pressing import Pace, pressed_to
from headjoint.cases.bead.start import start_of
from headjoint.cases.command.stated_files import shipped_files
from headjoint.model.bead.bead import Bead, Layer, Stack
from headjoint.model.bead.profile import Profile
from headjoint.model.bead.reading import read_bead
from headjoint.model.bead.stack_reading import free_height
from headjoint.postproc.bead.findings import find

SHARES = (0.1, 0.2, 0.4, 0.6)
STACKS: dict[str, tuple[tuple[str, float, float], ...]] = {
    "alone": (("bead up", 1.0, 0.0),),
    "facing": (("bead up", 1.0, 0.0), ("bead down", 1.0, 0.0)),
    "facing, a flat layer between": (("bead up", 1.0, 0.0), ("flat", 0.0, 0.0), ("bead down", 1.0, 0.0)),
    "so, the upper 0.2 lower": (("bead up", 1.0, 0.0), ("flat", 0.0, 0.0), ("bead down", 0.8, 0.0)),
    "one in the other": (("bead up", 1.0, 0.0), ("bead up", 1.0, 0.0)),
    "alone, ends held": (("bead up", 1.0, 0.0),),
    "so, facing over a flat layer": (("bead up", 1.0, 0.0), ("flat", 0.0, 0.0), ("bead down", 1.0, 0.0)),
    "so, shifted by 0.6 mm": (("bead up", 1.0, 0.0), ("flat", 0.0, 0.0), ("bead down", 1.0, 0.6)),
}


def stacked(bead: Bead, rows: tuple[tuple[str, float, float], ...], held: bool) -> Bead:
    """Return a bead's sheet in layers."""
    assert isinstance(bead.profile, Profile)
    layers = tuple(Layer(*one) for one in rows)
    free = free_height(layers, bead.profile, bead.thickness)
    names = tuple(name for name, *_ in rows)
    stack = Stack(len(names) - names.count("flat"), names.count("flat"), 0.3, names, layers, free)
    return replace(bead, stack=stack, held=(held, held), coating=None, size=bead.thickness / 3.0)


def whole_law(bead: Bead) -> None:
    """Print how long all openings of two beads over a flat layer take, closed to their stopper, in two processes."""
    assert bead.stopper is not None
    path = replace(
        bead.path, deepest=2.0 * bead.path.deepest, open_from=tuple(2.0 * one for one in bead.path.open_from)
    )
    stopper = replace(bead.stopper, closure=2.0 * bead.stopper.closure)
    three = replace(stacked(bead, STACKS["facing, a flat layer between"], False), path=path, stopper=stopper)
    started = time.perf_counter(), sum(os.times()[:4])
    found = find(replace(three, steels=three.steels[:1], tolerances=(0.0, 0.0)), lambda _: None, processes=2)
    wall, spent = time.perf_counter() - started[0], sum(os.times()[:4]) - started[1]
    print(f"\nthree layers with a stopper at {stopper.closure:g} mm, {len(found.at[0].openings)} openings: "
          f"{wall:.0f} s of a clock, {spent:.0f} s of processor in two processes")  # fmt: skip


def main() -> None:
    bead = read_bead(shipped_files("beads")["stack-with-stopper"])
    headings = "".join(f"{share:>9.0%}" for share in SHARES)
    print(f"line load, N/mm, closed by  {headings} of{'mm':>8}{'s':>7}")
    for name, rows in STACKS.items():
        one = stacked(bead, rows, "held" in name or name.startswith("so, f") or "shifted" in name)
        started, begun = time.process_time(), start_of(one, one.steel)
        states, loads = [begun.state], []
        for share in SHARES:
            step = one.reach / STEPS
            states += pressed_to(begun.pressing, states[-1], share * one.free, Pace(step, step / 8.0))
            loads.append(states[-1].line_load / begun.share)
        figures = "".join(f"{load:9.1f}" for load in np.array(loads))
        print(f"{name:28}{figures}   {one.free:8.3f}{time.process_time() - started:7.1f}", flush=True)
    whole_law(bead)


if __name__ == "__main__":
    with threadpool_limits(limits=1):
        main()
