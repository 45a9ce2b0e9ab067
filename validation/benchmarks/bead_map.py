"""A map of a shipped bead by five heights and five thicknesses: line load, set, stiffness; processor time and memory.

Run as `python -m validation.benchmarks.bead_map [BEAD]` (some minutes on two cores). Every bead is pressed by
itself: closed so far that decks leave as much height as of the stated bead, opened, and moved by one stroke of gas.
"""

from __future__ import annotations

import resource
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace

from threadpoolctl import threadpool_limits

from headjoint.cases.command.stated_files import shipped_files
from headjoint.model.bead.bead import Bead
from headjoint.model.bead.reading import read_bead
from headjoint.postproc.bead.findings import find

OFF = (-0.2, -0.1, 0.0, 0.1, 0.2)  # of the stated height and thickness
FIGURES = ("line load, N/mm", "set, um", "stiffness under gas, N/mm per mm")


def designed(bead: Bead, height: float, thickness: float) -> Bead:
    """Return the bead higher and thicker by shares, opened from the deepest closure alone."""
    more = height * bead.height
    path = replace(bead.path, deepest=bead.path.deepest + more, open_from=(), cycles=1)
    return replace(
        bead, profile=bead.profile.higher(more), thickness=(1.0 + thickness) * bead.thickness, path=path, stopper=None
    )


def figures(bead: Bead) -> tuple[float, float, float]:
    """Return what `FIGURES` names."""
    with threadpool_limits(limits=1):
        (at,) = find(replace(bead, steels=bead.steels[:1], tolerances=(0.0, 0.0)), lambda name: None).at
    return at.openings[-1].peak, 1e3 * at.openings[-1].set, at.gas_stiffness


def main() -> None:
    bead = read_bead(shipped_files("beads")[sys.argv[1] if len(sys.argv) > 1 else "full-bead"])
    with ProcessPoolExecutor() as workers:
        found = list(workers.map(figures, [designed(bead, h, t) for h in OFF for t in OFF]))
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    for number, name in enumerate(FIGURES):
        print(f"\n{bead.name}: {name}, by height (down) and thickness of the sheet (across), mm")
        print(" " * 7 + "".join(f"{(1.0 + t) * bead.thickness:10.3f}" for t in OFF))
        for row, h in enumerate(OFF):
            values = found[row * len(OFF) : (row + 1) * len(OFF)]
            print(f"{(1.0 + h) * bead.height:7.3f}" + "".join(f"{one[number]:10.1f}" for one in values))
    spent, megabytes = used.ru_utime + used.ru_stime, used.ru_maxrss / 1024.0
    print(f"\n{len(found)} beads in {spent:.0f} s of processor, {megabytes:.0f} MB in each worker at most")


if __name__ == "__main__":
    main()
