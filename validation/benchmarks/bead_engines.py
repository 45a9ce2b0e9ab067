"""The shipped engines with the law of a computed bead, and with the typical shape in its place: the guide's table.

Run as `python -m validation.benchmarks.bead_engines [NAME ...]` (two solves of every engine, minutes).
"""

from __future__ import annotations

import re
import sys
import tempfile
from pathlib import Path
from typing import Any

import headjoint
from headjoint.cases.command.stated_files import shipped_cells

ENGINES = ("boosted-four", "iron-diesel", "six-stud-ring")
TYPICAL = "multi-layer steel bead"


def figures(path: Path) -> dict[str, str]:
    """Return what the table says of one engine, at its least preload."""
    found = headjoint.solve(path).document()
    said = {one["key"]: one for one in found["criteria"]}
    states = found["finite_elements"]["states"]["least"]
    least = min(load for line in states[0]["lines"] for load in line["line_load"])
    fired = [one for one in states if one["gas_pressure"] > 0.0]
    seals = min(pressure for state in fired for line in state["lines"] for pressure in line["pressure"])
    stroke, apart, clamp = (said.get(key) for key in ("stroke", "separation", "clamp_kept"))
    return {
        "least line load at assembly, N/mm": f"{least:.1f}",
        "least sealing pressure in firing, MPa": f"{seals:.1f}",
        "separates at gas times": "not judged" if apart is None else f"{apart['value']:.2f}",
        "stroke of the bead, of its limit": "not judged" if stroke is None else f"{100.0 / stroke['value']:.0f} %",
        "least clamp cold again": "not judged" if clamp is None else str(clamp["detail"]).split(" of")[0],
        "verdict": _verdict(found["verdict"]),
    }


def _verdict(verdict: dict[str, Any]) -> str:
    return "holds" if verdict["holds"] else str(verdict["sentence"])[:60]


def main() -> None:
    for name in sys.argv[1:] or ENGINES:
        path = shipped_cells()[name]
        text, count = re.subn(r'law = "computed [a-z]+ bead"', f'law = "{TYPICAL}"', path.read_text("utf-8"))
        assert count == 1
        with tempfile.TemporaryDirectory() as folder:
            copy = Path(folder) / path.name
            copy.write_text(text, encoding="utf-8")
            old, new = figures(copy), figures(path)
        print(f"\n{name}, old to new")
        for row, value in new.items():
            print(f"  {row:36} {old[row]} to {value}", flush=True)


if __name__ == "__main__":
    main()
