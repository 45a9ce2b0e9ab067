"""A thousand heat-and-fire cycles: one stud and a bore cell, cycles run as one against every cycle run.

Run as `python -m validation.benchmarks.service`; `--every` runs each of the stud's thousand cycles, a minute or so.
"""

from __future__ import annotations

import dataclasses
import sys
import time

from threadpoolctl import threadpool_limits

from headjoint.cases.command.stated_files import shipped_cells
from headjoint.cases.condensed.cell_condensation import cell_model, condense_cell
from headjoint.cases.condensed.condensation import condense, full_model
from headjoint.cases.models.condensed import OneFastener, condensed_cell
from headjoint.cases.models.from_mesh import mesh_of
from headjoint.cases.service import run as service_run
from headjoint.cases.service.model import ServiceModel, service_of
from headjoint.cases.service.run import Service, run_service
from headjoint.meshes.one_fastener.single_stud import build
from headjoint.model.reading.reading import read_input, read_joint
from headjoint.model.service import Repeat
from validation.joints import joint_files

CYCLES, FEWER = 1000, 100


def timed(model: ServiceModel, cycles: int) -> tuple[float, Service]:
    """Return seconds and result of tightening, a day's wait and so many heat cycles."""
    steps = [
        dataclasses.replace(step, times=cycles) if isinstance(step, Repeat) else step for step in model.joint.history
    ]
    started = time.perf_counter()
    service = run_service(model, steps)
    return time.perf_counter() - started, service


def main() -> None:
    """Print the figures."""
    joint = read_joint(joint_files()["boosted-four-steel"])
    model = service_of(OneFastener(joint, condense(joint, full_model(joint, build(joint)))))
    with threadpool_limits(limits=1):
        print(line("one stud", CYCLES, *timed(model, CYCLES)))
        cycles = CYCLES if "--every" in sys.argv else FEWER
        seconds, quick = timed(model, cycles)
        longest, service_run.LONGEST_JUMP = service_run.LONGEST_JUMP, 0.0
        try:
            slow_seconds, slow = timed(model, cycles)
        finally:
            service_run.LONGEST_JUMP = longest
    first = quick.records[0].force[0]
    lost = float(first - slow.records[-1].force[0])
    error = float(quick.records[-1].force[0] - slow.records[-1].force[0])
    print(
        f"one stud, {cycles} cycles: every one run takes {slow_seconds:.1f} s, {slow_seconds / seconds:.0f} times as "
        f"long; the clamp at the end differs by {1e6 * error / first:.0f} millionths, {100 * error / lost:.2f} % of "
        "what was lost"
    )
    cell = read_input(shipped_cells()["boosted-four"])
    started = time.perf_counter()
    whole = cell_model(cell, mesh_of(cell))
    reduced = condense_cell(whole)
    print(f"bore cell: built and condensed in {time.perf_counter() - started:.1f} s")
    print(
        line(
            f"bore cell of {whole.unknowns} unknowns",
            CYCLES,
            *timed(service_of(condensed_cell(whole, reduced)), CYCLES),
        )
    )


def line(name: str, cycles: int, seconds: float, service: Service) -> str:
    """Return one line of the table."""
    full = len({record.cycle for record in service.records if record.cycle})
    return f"{name}, {cycles} heat-and-fire cycles: {seconds:.1f} s, {full} of them run as they are"


if __name__ == "__main__":
    main()
