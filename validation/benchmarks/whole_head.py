"""The whole head: time and memory to condense its tile, of a further state, and per bore.

Run as `python -m validation.benchmarks.whole_head [BORES ...]`; it takes minutes.
"""

from __future__ import annotations

import resource
import sys
import time
from dataclasses import replace

from headjoint.cases.command.stated_files import shipped_cells
from headjoint.cases.load_cases.load_history import run
from headjoint.cases.whole_head.free_tile import free_tile
from headjoint.cases.whole_head.row import row_of
from headjoint.cases.whole_head.solved import advanced
from headjoint.cases.whole_head.tile import condensed_tile
from headjoint.meshes.solid.bore_cell import build_cell
from headjoint.model.reading.reading import read_input

BORES = (2, 4, 6)


def main() -> None:
    """Condense the tile of a shipped engine once; put rows of several lengths together and solve them."""
    cell = read_input(shipped_cells()["boosted-four"])
    begun, used = time.perf_counter(), time.process_time()
    tile = free_tile(cell, build_cell(cell), cell.layout.pitch / 2.0)
    condensed = condensed_tile(tile)
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    print(
        f"tile of {tile.model.unknowns} unknowns condensed in {time.perf_counter() - begun:.0f} s "
        f"({time.process_time() - used:.0f} s of processor), {memory:.1f} GB"
    )
    for bores in [int(text) for text in sys.argv[1:]] or BORES:
        row = row_of(cell, tile, condensed, bores)
        model = replace(row.model, cell=replace(row.model.cell, fired=(0,)))
        begun = time.perf_counter()
        history = run(model)
        states = time.perf_counter() - begun
        firing = history.state("firing")
        other = replace(model, cell=replace(model.cell, fired=(bores - 1,)))
        begun = time.perf_counter()
        advanced(other, firing.case, firing.overlap, firing)
        print(
            f"{bores} bores, {len(model.reduced.overlaps)} studs, {len(model.reduced.K)} unknowns: "
            f"{len(history.states)} states in {states:.1f} s, another bore fired in {time.perf_counter() - begun:.1f} s"
        )


if __name__ == "__main__":
    main()
