"""What operating systems do each in their own way: memory that is free, cores, files that somebody has open.

Nothing that only some of them have stands anywhere else.
"""

from __future__ import annotations

import contextlib
import ctypes
import os
import time
from pathlib import Path

CONTROL_GROUP = Path("/sys/fs/cgroup")
MEMORY_OF_LINUX = Path("/proc/meminfo")
WINDOWS = os.name == "nt"
TRIES, WAIT = 10, 0.1  # s between: scanners and indexers of Windows hold a new file for an instant


def cores() -> int:
    """Return how many cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def user_cache() -> Path:
    """Return the user's folder for what may be deleted; of a user without a home a place where nothing can be kept."""
    import platformdirs

    try:
        found = Path(platformdirs.user_cache_dir("headjoint"))
    except RuntimeError:  # no HOME, and the system knows no user of this number, as in a container
        return Path(os.devnull)
    return found if found.is_absolute() else Path(os.devnull)  # older versions leave "~" as it is


def recent_load() -> float:
    """Return how many processes have wanted a core in the last minute, 0 where the system does not say."""
    try:
        return os.getloadavg()[0]
    except (AttributeError, OSError):
        return 0.0


def replaced(source: Path, target: Path) -> Path:
    """Move a file to where another may stand; return its new place.

    Raises OSError where that cannot be done. Windows moves nothing that is open, nor onto it: there it is tried again
    for a second, and the file that is in the way is named.
    """
    for _ in range(TRIES if WINDOWS else 0):
        with contextlib.suppress(PermissionError):
            return source.replace(target)
        time.sleep(WAIT)
    try:
        return source.replace(target)
    except PermissionError as error:
        if not WINDOWS:
            raise
        held = target if target.exists() else source
        raise PermissionError(error.errno, "cannot be moved; another program has it open", str(held)) from None


def available_memory() -> float | None:
    """Return the bytes that the system can still give, space to swap to among them; None where it does not say."""
    told = [amount() for amount in (_of_linux, _of_control_group, _of_windows)]
    known = [amount for amount in told if amount is not None]
    return min(known) if known else _installed()


def _of_linux() -> float | None:
    try:
        lines = MEMORY_OF_LINUX.read_text("ascii").splitlines()
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
    if not WINDOWS:
        return None

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
