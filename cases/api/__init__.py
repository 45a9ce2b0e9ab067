"""The bolted joint that holds a cylinder head to its block: clamp, gasket pressure, separation, stress range.

The same stages as the command line, from Python: `read` a file, then `estimate`, `solve`, `head`, `history`, `warm_up`,
`compare`, `sweep`, `size`, `scatter` it, read a rig's logs with `rig`, or press a gasket's bead with `bead`. Each
returns an answer that holds plain
numbers, gives pandas frames, draws its pictures, writes its files and prints itself.

    import headjoint
    answer = headjoint.solve("boosted-four")
    answer.verdict.holds, answer.verdict.sentence
    answer.frame()

Units are N, mm, MPa, s, degC (K for differences) and N.mm unless a name says otherwise. A user's mistake raises
`InputError`, a solution that cannot be trusted `SolveError`, both `JointError`.
"""

from __future__ import annotations

from importlib import import_module

TYPE_CHECKING = (
    False  # type checkers take it as true; `typing` is slow to import, and nothing stops Ctrl-C's traceback yet
)
if TYPE_CHECKING:
    from typing import Any

    from headjoint.interface import (
        bead,
        compare,
        estimate,
        head,
        history,
        read,
        rig,
        scatter,
        shipped,
        size,
        solve,
        sweep,
        warm_up,
    )
    from headjoint.model.base.errors import InputError, JointError, SolveError

# name -> the module that has it; nothing is imported before it is asked for
_HOMES = {
    **dict.fromkeys(
        (
            "bead",
            "compare",
            "estimate",
            "head",
            "history",
            "read",
            "rig",
            "scatter",
            "shipped",
            "size",
            "solve",
            "sweep",
            "warm_up",
        ),
        "headjoint.interface",
    ),
    **dict.fromkeys(("InputError", "JointError", "SolveError"), "headjoint.model.base.errors"),
}
__all__ = [
    "InputError",
    "JointError",
    "SolveError",
    "bead",
    "compare",
    "estimate",
    "head",
    "history",
    "read",
    "rig",
    "scatter",
    "shipped",
    "size",
    "solve",
    "sweep",
    "warm_up",
]


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    if name == "__version__":
        from importlib.metadata import version

        return version("headjoint")
    raise AttributeError(f"module 'headjoint' has no attribute '{name}'")


def __dir__() -> list[str]:
    return sorted(__all__)
