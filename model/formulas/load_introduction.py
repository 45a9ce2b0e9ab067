"""Load introduction factor n: where in the clamped parts the gas force enters (VDI 2230-1 sec. 5.2).

Table 2 of VDI 2230-1 (2003), from memory, medium confidence: about 85 % for each entry.
"""

from __future__ import annotations

import bisect

from headjoint.model.formulas.resilience import BLOCK_LAYER, clamped_resilience, total
from headjoint.model.joint import Joint

LEVER = (0.0, 0.1, 0.3, 0.5)  # a_K/h
LENGTH = (0.0, 0.1, 0.2, 0.3)  # l_A/h
TABLE: dict[str, tuple[tuple[float, ...], ...]] = {
    "SV1": (
        (0.70, 0.55, 0.30, 0.13),
        (0.52, 0.41, 0.22, 0.10),
        (0.34, 0.28, 0.16, 0.07),
        (0.16, 0.14, 0.12, 0.04),
    ),
    "SV2": (
        (0.57, 0.46, 0.30, 0.13),
        (0.44, 0.36, 0.21, 0.10),
        (0.30, 0.25, 0.16, 0.07),
        (0.16, 0.14, 0.12, 0.04),
    ),
    "SV3": (
        (0.44, 0.37, 0.26, 0.12),
        (0.35, 0.30, 0.20, 0.09),
        (0.26, 0.23, 0.15, 0.07),
        (0.16, 0.14, 0.12, 0.04),
    ),
    "SV4": (
        (0.42, 0.34, 0.25, 0.12),
        (0.33, 0.27, 0.16, 0.08),
        (0.23, 0.19, 0.12, 0.06),
        (0.14, 0.13, 0.10, 0.03),
    ),
    "SV5": (
        (0.30, 0.25, 0.22, 0.10),
        (0.24, 0.21, 0.15, 0.07),
        (0.19, 0.17, 0.12, 0.06),
        (0.14, 0.13, 0.10, 0.03),
    ),
    "SV6": (
        (0.15, 0.14, 0.14, 0.07),
        (0.13, 0.12, 0.10, 0.06),
        (0.11, 0.11, 0.09, 0.06),
        (0.10, 0.10, 0.08, 0.03),
    ),
}


def from_table(case: str, lever: float, length: float) -> float:
    """Return n of load case `case` (SV1 to SV6) at a_K/h = `lever` and l_A/h = `length`, linear between rows.

    Beyond the last row and column the last value holds.
    """
    rows = TABLE[case]
    row, share = _place(LENGTH, length)
    column, across = _place(LEVER, lever)

    def along(values: tuple[float, ...]) -> float:
        return (1.0 - across) * values[column] + across * values[column + 1]

    return (1.0 - share) * along(rows[row]) + share * along(rows[row + 1])


def _place(grid: tuple[float, ...], value: float) -> tuple[int, float]:
    value = min(max(value, grid[0]), grid[-1])
    index = min(max(bisect.bisect_right(grid, value) - 1, 0), len(grid) - 2)
    return index, (value - grid[index]) / (grid[index + 1] - grid[index])


def factor(joint: Joint) -> tuple[float, str]:
    """Return n for a joint and where it comes from.

    Combustion pushes on the head's lower face, at the parting plane itself, beside the bearing ring: case SV6
    (both load planes at the joint) with the lever a_K from the rim of the bearing ring to the middle of the gas
    ring and no attached length. A stated factor goes before the table.

    SV6 has a load plane on either side of the joint, so it is the case of gas on head and block: the block between deck
    and thread then stays pressed by the whole F_S. On the head alone, what pulls the other way acts at the block's
    foot; the deck is pressed by F_S - F_A only, and the block's layer is relieved by all of F_A, in the chain n = 1
    there: n delta_P = n_SV6 (delta_P - delta_block) + delta_block.
    """
    if joint.load_introduction_factor is not None:
        return joint.load_introduction_factor, "stated in the joint file"
    if joint.gas is None:
        return 0.0, "no gas acts on this joint"
    middle = (joint.gas.inner_diameter + joint.gas.outer_diameter) / 4.0
    lever = max(0.0, middle - joint.seat.bearing_outer_diameter / 2.0) / joint.head.height
    n, source = from_table("SV6", lever, 0.0), f"VDI 2230-1 table 2, SV6, a_K/h = {lever:.2f}, l_A/h = 0"
    if joint.gas.on_block:
        return n, source
    terms = clamped_resilience(joint)
    of_block = total(tuple(term for term in terms if term.name == BLOCK_LAYER)) / total(terms)
    return n * (1.0 - of_block) + of_block, f"{source}, and 1 for the block's layer, on which no gas presses"
