"""Memory that a condensation needs, and whether it is there: told before the work begins, not by its end.

The formula was fitted to what whole solves took at most (own measurement, resident memory of the process by size): one
fastener with 22,000 to 196,000 unknowns took 4.3 to 5.0 kB each, eight cells with 53,000 to 428,000 unknowns (some of
them shipped) 12 to 17 kB each, more the larger they are, as the fill of sparse factors grows in three dimensions.
Factors that stay for pictures add 0.4 of that: the whole command on boosted-four took 3.08 GB. What is told lies above.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from headjoint.model.base.errors import MemoryShortError

GIGABYTE = 1e9
PROGRAM = 0.25e9  # bytes of the program and its libraries
PLANE, SOLID = 4.8e3, 11.7e3  # bytes an unknown
FILL = 205.0  # bytes, times unknowns to the power 4/3: fill of a solid's factors
DENSE = 8  # bytes, times kept unknowns squared: the condensed stiffness
HEATED = 2.1  # times: a warm-up of six-stud-ring took 3.25 GB, where 1.74 GB are told for a solve (own measurement)
CONTROL_GROUP = Path("/sys/fs/cgroup")
LARGER_SOLID = "give larger ring_size, stud_size or largest in [mesh], or --model stud"
LARGER_PLANE = "give a larger element_size in [mesh]"


@dataclass(frozen=True)
class Share:
    """What one of several processes that work side by side may take of the memory (bytes).

    whose : words behind the bytes. remedy : what to do about it besides a coarser mesh.
    """

    bytes: float
    whose: str
    remedy: str


_SHARES: list[Share] = []  # of this process, where it has one


def take_share(share: Share | None) -> None:
    """Work within a share of the memory from now on: what is free at a moment, others may be about to take as well."""
    _SHARES[:] = [] if share is None else [share]


def share_among(processes: int) -> Share | None:
    """Return what each of so many processes may take of the memory that is free now; None where nobody knows."""
    there = available_memory()
    if there is None:
        return None
    return Share(there / processes, f" for each of {processes} workers", "work with fewer (--workers)")


def check_memory(unknowns: int, kept: int, *, solid: bool, heated: bool = False) -> None:
    """Raise MemoryShortError where condensing so many unknowns to so many kept ones needs more memory than there is.

    heated : for a warm-up, which keeps factors at two and three temperatures. A process that has a share of the memory
    is held to it.
    """
    there, whose, remedy = available_memory(), "", ""
    for share in _SHARES:
        there = share.bytes if there is None else min(there, share.bytes)
        whose, remedy = share.whose, f", or {share.remedy}"
    needed = needed_memory(unknowns, kept, solid=solid) * (HEATED if heated else 1.0)
    if there is not None and needed > there:
        raise MemoryShortError(
            f"this needs some {needed / GIGABYTE:.1f} GB of memory for {unknowns} unknowns, and there are "
            f"{there / GIGABYTE:.1f} GB{whose}; {LARGER_SOLID if solid else LARGER_PLANE}{remedy}"
        )


def needed_memory(unknowns: int, kept: int, *, solid: bool) -> float:
    """Return the bytes that condensing takes at most, the program among them."""
    each = SOLID + FILL * unknowns ** (1.0 / 3.0) if solid else PLANE
    return PROGRAM + each * unknowns + DENSE * kept**2


def available_memory() -> float | None:
    """Return the bytes that the system can still give, space to swap to among them; None where it does not say."""
    told = [amount() for amount in (_of_linux, _of_control_group, _of_windows)]
    known = [amount for amount in told if amount is not None]
    return min(known) if known else _installed()


def _of_linux() -> float | None:
    try:
        lines = Path("/proc/meminfo").read_text("ascii").splitlines()
        kilobytes = {name: float(rest.split()[0]) for name, _, rest in (line.partition(":") for line in lines)}
        return 1024.0 * (kilobytes["MemAvailable"] + kilobytes["SwapFree"])
    except (OSError, KeyError, ValueError):
        return None


def _of_control_group() -> float | None:
    """Return what a container has left of its limit; pages of files do not count, for they are given up."""
    try:
        limit = float((CONTROL_GROUP / "memory.max").read_text("ascii"))  # "max" where there is none
        used = float((CONTROL_GROUP / "memory.current").read_text("ascii"))
        parts = dict(line.split() for line in (CONTROL_GROUP / "memory.stat").read_text("ascii").splitlines())
        return limit - used + float(parts["active_file"]) + float(parts["inactive_file"])
    except (OSError, KeyError, ValueError):
        return None


def _of_windows() -> float | None:
    if os.name != "nt":
        return None
    import ctypes

    class Status(ctypes.Structure):
        """MEMORYSTATUSEX of the Windows interface; sizes in bytes."""

        _fields_ = [
            ("length", ctypes.c_ulong),
            ("load", ctypes.c_ulong),
            *((name, ctypes.c_ulonglong) for name in ("total", "free", "total_page_file", "free_page_file")),
            *((name, ctypes.c_ulonglong) for name in ("total_virtual", "free_virtual", "free_extended")),
        ]

    status = Status(length=ctypes.sizeof(Status))
    if not ctypes.windll.kernel32.GlobalMemoryStatusEx(ctypes.byref(status)):  # type: ignore[attr-defined]
        return None
    return float(status.free_page_file)


def _installed() -> float | None:
    """Return all memory of the machine: macOS does not tell without its own libraries how much is free."""
    try:
        return float(os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES"))
    except (AttributeError, ValueError, OSError):
        return None
