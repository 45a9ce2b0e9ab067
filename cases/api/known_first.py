"""What is known of an engine first, said by a process of its own while another solves it in three dimensions.

`python -m headjoint.known_first` reads a pickled cell and its units from standard input; `quick_answers` starts it.
"""

from __future__ import annotations

import pickle
import sys

import headjoint
from headjoint.cases.command.quick_answers import say_quick_answers


def main() -> None:
    """Say the answers by closed formulas, and by one stud and a coarse mesh."""
    cell, units = pickle.load(sys.stdin.buffer)
    say_quick_answers(headjoint.estimate(cell).verdict, lambda: headjoint.solve(cell, model="stud").verdict, units)


if __name__ == "__main__":
    main()
