"""The whole head: time and memory to condense its tile, of a further state, of nuts turned in turn, and per bore.

Run as `python -m validation.benchmarks.whole_head [--finer F] [BORES ...]`; it takes minutes. The mesh is F times
as fine as one of doubled element size: 2 is the default mesh.
"""

from __future__ import annotations

import argparse
import resource
import time
from collections.abc import Callable, Sequence
from dataclasses import replace

from headjoint.cases.command.stated_files import shipped_cells
from headjoint.cases.elements.threads import dense_on_one_thread
from headjoint.cases.load_cases.load_history import State
from headjoint.cases.whole_head.as_found import HeadModel
from headjoint.cases.whole_head.free_tile import free_tile
from headjoint.cases.whole_head.row import Row, row_of
from headjoint.cases.whole_head.solved import advanced, tightened_head
from headjoint.cases.whole_head.tile import condensed_tile
from headjoint.meshes.solid.bore_cell import build_cell
from headjoint.model.formulas.tightened import by_formula
from headjoint.model.reading.reading import read_input
from headjoint.postproc.joint.nut_order import from_the_middle

BORES = (2, 4, 6)
PASSES = (0.5, 1.0)


def main() -> None:
    """Condense the tile of a shipped engine once; put rows of several lengths together and solve them."""
    told = argparse.ArgumentParser()
    told.add_argument("--finer", type=float, default=2.0)
    told.add_argument("bores", type=int, nargs="*", default=BORES)
    options = told.parse_args()
    with dense_on_one_thread():  # as the command does
        _measure(options.finer, options.bores)


def _measure(finer: float, lengths: Sequence[int]) -> None:
    cell = read_input(shipped_cells()["boosted-four"])
    begun, used = time.perf_counter(), time.process_time()
    tile = free_tile(cell, build_cell(cell, finer / 2.0), cell.layout.pitch / 2.0)
    condensed = condensed_tile(tile)
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    modes = " and ".join(str(len(one.mode_normal)) for one in condensed.modes.values())
    print(
        f"tile of {tile.model.unknowns} unknowns, {len(tile.model.kept)} of interfaces, condensed to {modes} modes in "
        f"{time.perf_counter() - begun:.0f} s ({time.process_time() - used:.0f} s of processor), {memory:.1f} GB",
        flush=True,
    )
    for bores in lengths:
        row = row_of(cell, tile, condensed, bores)
        print(f"{bores} bores, {len(row.model.reduced.overlaps)} studs, {len(row.model.reduced.K)} unknowns")
        _states(row)
        _nuts(row)


def _states(row: Row) -> None:
    """Time tightening, heat, and what differs from a state that is known: bore fired, torque, temperature."""
    model = row.model
    found = by_formula(model.joint, model.joint.tightening.preload, len(model.reduced.overlaps))
    case = {one.name: one for one in model.joint.load_cases}
    tight = _timed("tightened at once", model, lambda: tightened_head(model, found)[0])
    hot = _timed("hot", model, lambda: advanced(model, case["hot"], tight.overlap, tight))
    first = _timed("bore 1 fires", model, lambda: advanced(_fired(model, 0), case["firing"], tight.overlap, hot))
    last = _fired(model, row.numbers.bores - 1)
    _timed(
        "further state: the last bore fires", model, lambda: advanced(last, case["firing"], tight.overlap, first, hot)
    )
    more = replace(found, forces=1.05 * found.forces)
    _timed("further state: another torque", model, lambda: tightened_head(model, more, tight)[0])
    warmer = replace(case["hot"], temperatures={part: at + 5.0 for part, at in case["hot"].temperatures.items()})
    _timed("further state: another temperature", model, lambda: advanced(model, warmer, tight.overlap, hot))


def _nuts(row: Row) -> None:
    """Time a tightening in two passes, nut after nut from the middle outward."""
    order = tuple(from_the_middle([(float(x), float(y)) for x, y in row.places.T]))
    model = replace(row.model, cell=replace(row.model.cell, order=tuple((share, order) for share in PASSES)))
    found = by_formula(model.joint, model.joint.tightening.preload, len(order))
    _timed(f"{len(PASSES)} passes of {len(order)} nuts", model, lambda: tightened_head(model, found)[0])


def _fired(model: HeadModel, bore: int) -> HeadModel:
    return replace(model, cell=replace(model.cell, fired=(bore,)))


def _timed(what: str, model: HeadModel, solve: Callable[[], State]) -> State:
    """Run a solve and print what it took."""
    solver = model.reduced.solver
    begun, used, before = time.perf_counter(), time.process_time(), (solver.factorisations, solver.iterations)
    found = solve()
    print(
        f"  {what}: {time.perf_counter() - begun:.1f} s ({time.process_time() - used:.1f} s of processor), "
        f"{solver.factorisations - before[0]} factorisations, {solver.iterations - before[1]} iterations",
        flush=True,
    )
    return found


if __name__ == "__main__":
    main()
