"""Memory that a condensation needs, and whether it is there: told before the work begins, not by its end.

The formula was fitted to what whole solves took at most (own measurement, resident memory of the process by size): one
fastener with 22,000 to 196,000 unknowns took 4.3 to 5.0 kB each, eight cells with 53,000 to 428,000 unknowns (some of
them shipped) 12 to 17 kB each, more the larger they are, as the fill of sparse factors grows in three dimensions.
Factors that stay for pictures add 0.4 of that: the whole command on boosted-four took 3.08 GB. What is told lies above.
"""

from __future__ import annotations

from collections.abc import Callable, MutableSequence
from dataclasses import dataclass

from headjoint.model.base.errors import MemoryShortError
from headjoint.model.base.system import available_memory
from headjoint.model.cell import LARGE

GIGABYTE = 1e9
PROGRAM = 0.25e9  # bytes of the program and its libraries
PLANE, SOLID = 4.8e3, 11.7e3  # bytes an unknown
FILL = 205.0  # bytes, times unknowns to the power 4/3: fill of a solid's factors
DENSE = 8  # bytes, times kept unknowns squared: the condensed stiffness
ROW_PROGRAM, MESHED = 0.15e9, 2.0e3  # bytes of the program, and for each unknown of a tile that is condensed
OF_MATRICES = 20  # bytes, times entries of a tile: as they are, of strong modes, in single precision
OF_FACTORS = 4  # bytes, times the same, of every bore
SLOW = 180  # fields of a row: slow directions and their products, and those of an iteration
FIELDS = 5  # of a kept state, over interface points
HEATED = 2.1  # times: a warm-up of six-stud-ring took 3.25 GB, where 1.74 GB are told for a solve (own measurement)
LARGER_PLANE = "give a larger element_size in [mesh]"
LARGER_ROW = f"give larger ring_size, stud_size or largest in [mesh], to {LARGE:g} times the typical sizes"
LARGER_SOLID = f"{LARGER_ROW}, or --model stud"


@dataclass(frozen=True)
class Share:
    """What one of several processes that work side by side may take of the memory (bytes).

    whose : words behind the bytes. remedy : what to do about it besides a coarser mesh.
    """

    bytes: float
    whose: str
    remedy: str


@dataclass(frozen=True)
class RowSize:
    """What a row of bores takes memory by.

    meshed : unknowns of its tile and end. entries : of their condensed matrices, all parities. bores : how many may
    need factors of their own. unknowns, points : of the row, displacements and interface points. figures : rows that
    watch its studs. states : equilibria that are kept.
    """

    meshed: int
    entries: int
    bores: int
    unknowns: int
    points: int
    figures: int
    states: int


@dataclass(frozen=True)
class Claims:
    """What two processes say that they need of the memory that was free as the second of them began (bytes).

    there : that memory. claimed : by the first and by the second, where both can read it. second : whether this is the
    second. end_other : of the first, ends the second, for the first's work goes before.

    Each writes its claim before it reads the other's: whoever comes later sees both, without a lock that one which is
    ended would keep.
    """

    there: float
    claimed: MutableSequence[float]
    second: bool = False
    end_other: Callable[[], None] | None = None

    def claim(self, needed: float) -> None:
        """Claim so many bytes; raise MemoryShortError in the second process where the first needs them."""
        before = self.claimed[self.second]
        self.claimed[self.second] = max(needed, before)
        other = self.claimed[not self.second]
        if self.claimed[self.second] + other <= self.there:
            return
        if not self.second:
            self.make_room()
            return
        self.claimed[self.second] = before
        raise MemoryShortError(
            f"this needs some {needed / GIGABYTE:.1f} GB of memory, and there are {self.there / GIGABYTE:.1f} GB, of "
            f"which the engine's own mesh needs {other / GIGABYTE:.1f} GB"
        )

    def make_room(self) -> None:
        """End the second process, where this is the first: what it holds and never claimed counts, too."""
        if not self.second and self.end_other is not None:
            self.end_other()


_share: Share | None = None  # of this process, where it has one
_claims: Claims | None = None  # of this process and another, where there is one


def take_claims(claims: Claims | None) -> None:
    """Tell another process from now on what this one needs, and be told."""
    global _claims
    _claims = claims


def take_share(share: Share | None) -> None:
    """Work within a share of the memory from now on: what is free at a moment, others may be about to take as well."""
    global _share
    _share = share


def share_among(processes: int) -> Share | None:
    """Return what each of so many processes may take of the memory that is free now; None where nobody knows."""
    there = available_memory()
    if there is None:
        return None
    return Share(there / processes, f" for each of {processes} workers", "work with fewer (--workers)")


def check_memory(unknowns: int, kept: int, *, solid: bool, heated: bool = False) -> None:
    """Raise MemoryShortError where condensing so many unknowns to so many kept ones needs more memory than there is.

    heated : for a warm-up, which keeps factors at two and three temperatures. A process that has a share of the memory
    is held to it; one with another beside it claims what it needs.
    """
    needed = needed_memory(unknowns, kept, solid=solid) * (HEATED if heated else 1.0)
    _check(needed, unknowns, LARGER_SOLID if solid else LARGER_PLANE)


def check_row_memory(size: RowSize) -> None:
    """Raise MemoryShortError where a row of bores, put together and solved, needs more memory than there is."""
    _check(needed_for_row(size), size.unknowns, LARGER_ROW)


def _check(needed: float, unknowns: int, larger: str) -> None:
    if _claims is not None:
        _claims.claim(needed)
    there, whose, remedy = _there()
    if _claims is not None and there is not None and needed > there:
        _claims.make_room()
        there, whose, remedy = _there()
    if there is not None and needed > there:
        raise MemoryShortError(
            f"this needs some {needed / GIGABYTE:.1f} GB of memory for {unknowns} unknowns, and there are "
            f"{there / GIGABYTE:.1f} GB{whose}; {larger}{remedy}"
        )


def room_for_both(unknowns: int, kept: int) -> bool:
    """Return whether two solids, each of so many unknowns, may be condensed at once; kept : of both, as squares add."""
    there = _there()[0]
    twice = 2.0 * (needed_memory(unknowns, 0, solid=True) - PROGRAM) + PROGRAM + DENSE * kept**2
    return there is None or twice <= there


def _there() -> tuple[float | None, str, str]:
    """Return the memory that may be taken, None where nobody knows, whose it is and what to do about it besides."""
    there = available_memory()
    if _share is not None and (there is None or _share.bytes < there):
        return _share.bytes, _share.whose, f", or {_share.remedy}"
    return there, "", ""


def needed_memory(unknowns: int, kept: int, *, solid: bool) -> float:
    """Return the bytes that condensing takes at most, the program among them."""
    each = SOLID + FILL * unknowns ** (1.0 / 3.0) if solid else PLANE
    return PROGRAM + each * unknowns + DENSE * kept**2


def needed_for_row(size: RowSize) -> float:
    """Return the bytes that a row of bores takes at most once its tile is condensed, the program among them."""
    matrices = (OF_MATRICES + OF_FACTORS * size.bores) * size.entries
    columns = 2 * size.figures + SLOW
    fields = columns * size.unknowns + SLOW * size.points
    kept = size.states * (size.unknowns + FIELDS * size.points)
    return ROW_PROGRAM + MESHED * size.meshed + matrices + DENSE * (fields + kept)
