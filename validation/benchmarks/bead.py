"""Every shipped bead pressed as its file says: seconds of processor, Newton iterations, unknowns, memory.

Run as `python -m validation.benchmarks.bead` (a minute or two).
"""

from __future__ import annotations

import resource
import time

from threadpoolctl import threadpool_limits

from headjoint.cases.bead.history import pressed
from headjoint.cases.command.stated_files import shipped_files
from headjoint.model.bead.measured_sheet import MeasuredSheet
from headjoint.model.bead.reading import read_gasket


def main() -> None:
    print(f"{'bead':22} {'unknowns':>9} {'iterations':>11} {'s':>6} {'ms each':>8} {'MB':>6}")
    for name, path in shipped_files("beads").items():
        bead = read_gasket(path)
        if isinstance(bead, MeasuredSheet):
            continue
        started = time.process_time()
        history = pressed(bead, *bead.steels[0])
        spent = time.process_time() - started
        megabytes = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
        each, unknowns = 1e3 * spent / history.iterations, history.pressing.sheet.unknowns
        print(f"{name:22} {unknowns:9} {history.iterations:11} {spent:6.1f} {each:8.1f} {megabytes:6.0f}")


if __name__ == "__main__":
    with threadpool_limits(limits=1):
        main()
