"""One benchmark over several sizes of mesh, each in a process of its own, so that its memory is its own."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path


def print_sizes(module: str, sizes: Sequence[float]) -> None:
    """Print the figures that `one_size` of a benchmark gives, for sizes or for those on the command line instead."""
    for refinement in [float(text) for text in sys.argv[1:]] or list(sizes):
        code = f"import json; from validation.benchmarks.{module} import one_size; "
        code += f"print(json.dumps(one_size({refinement})))"
        made = subprocess.run(
            [sys.executable, "-c", code], capture_output=True, text=True, cwd=Path(__file__).parents[2], check=False
        )
        if made.returncode:
            print(f"refinement {refinement:g}: {made.stderr.strip().splitlines()[-1]}")
            continue
        figures = json.loads(made.stdout.strip().splitlines()[-1])
        print(
            f"refinement {refinement:g}: " + ", ".join(f"{name} {value:.4g}" for name, value in figures.items()),
            flush=True,
        )
