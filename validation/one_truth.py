"""One joint asked by every command at the same instant: the same figures and verdicts, else exit code 1.

`python -m validation.one_truth [NAME ...]` prints for every requirement its worst factor by `solve`, `history`,
`compare` and `sweep`, the closed formulas beside them. A service that is tightened, cooled and fired at once, without
waiting, passes through the very states of the load cases. A warm-up has temperatures of its own; `size` and `scatter`
evaluate designs by the same code as `compare`.

One difference is meant: near yield a service lets the fastener flow along its measured or typical curve, where load
cases take it as elastic up to yield. That takes some per mille off the greatest preload, so that the load cases'
factors on stress may be the lower ones, by no more than `FLOW`, and are never the higher ones.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from rich.console import Console
from rich.table import Table

import headjoint
from headjoint.cases.command.stated_files import stated_path
from headjoint.postproc.verdict.table import REQUIREMENTS
from headjoint.postproc.verdict.verdict import Verdict

NAMES = ("boosted-four-steel", "boosted-four")
SAME = 1e-4  # relative; all commands search the gas that still seals by one routine, to 1e-5
FLOW = 1e-2  # relative, of what is judged at the greatest preload, and only on the safe side
AT_ONE_INSTANT = ("sealing", "line_load", "stroke", "separation", "yield", "bearing", "stripping", "crush")
HISTORY = '\n[[history]]\ndo = "tighten"\n' + "".join(
    f'[[history]]\ndo = "{do}"\ncase = "{case}"\n' for do, case in (("heat", "hot"), ("run", "firing"))
)


def asked(name: str) -> dict[str, Verdict]:
    """Return what every command says of a shipped joint or engine."""
    text = stated_path(name).read_text("utf-8").split("[[history]]")[0]
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / f"{name}.toml"
        file.write_text(text + HISTORY, "utf-8")
        stated = headjoint.read(file)
        swept = headjoint.sweep(file, ["requirements.clamp_kept=0.7, 0.8"], workers=1).sweep
        return {
            "solve": headjoint.solve(stated).verdict,
            "history": headjoint.history(stated).verdict,
            "compare": headjoint.compare([file], ["requirements.clamp_kept=0.7, 0.8"], workers=1)
            .comparison.outcomes[0]
            .verdict,
            "sweep": swept.outcomes[1].verdict,
            "estimate": headjoint.estimate(stated).verdict,
        }


def differences(found: dict[str, Verdict], console: Console, name: str) -> int:
    """Print the table of one joint and return how many requirements differ between commands."""
    commands = list(found)
    table = Table("requirement", *commands, "largest difference", title=name, title_justify="left")
    wrong = 0
    for key in AT_ONE_INSTANT:
        criteria = {command: verdict.criterion(key) for command, verdict in found.items()}
        values = {command: one.value for command, one in criteria.items() if one is not None and one.value is not None}
        meshed = [value for command, value in values.items() if command != "estimate"]
        spread = max(meshed) / min(meshed) - 1.0 if meshed and min(meshed) > 0.0 else 0.0
        judged = {criteria[command] is not None for command in commands if command != "estimate"}
        meant = REQUIREMENTS[key].end == "greatest" and values.get("history", 0.0) >= values.get("solve", 0.0)
        bad = spread > (FLOW if meant else SAME) or len(judged) > 1
        wrong += bad
        cells = ["not judged" if criteria[one] is None else f"{values.get(one, float('inf')):.4f}" for one in commands]
        table.add_row(REQUIREMENTS[key].title, *cells, f"{spread:.1e}{' DIFFERS' if bad else ''}")
    console.print(table)
    return wrong


def main() -> int:
    """Print the tables; return 1 where two commands differ."""
    console = Console(width=None if sys.stdout.isatty() else 150)
    wrong = sum(differences(asked(name), console, name) for name in sys.argv[1:] or NAMES)
    console.print("every command says the same" if not wrong else f"{wrong} requirements differ between commands")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
