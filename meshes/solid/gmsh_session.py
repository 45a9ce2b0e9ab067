"""A private gmsh session, and a clear error where gmsh cannot be loaded."""

from __future__ import annotations

import ctypes
import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import ModuleType

from headjoint.model.base.errors import MeshError

# Debian package that holds each shared library the gmsh wheel is linked to
DEBIAN_PACKAGES = {
    "libGLU": "libglu1-mesa",
    "libGL": "libgl1",
    "libXrender": "libxrender1",
    "libXcursor": "libxcursor1",
    "libXft": "libxft2",
    "libXinerama": "libxinerama1",
    "libXfixes": "libxfixes3",
    "libfontconfig": "libfontconfig1",
}


def load_gmsh() -> ModuleType:
    """Return the gmsh module; MeshError naming the missing system package where it cannot be loaded."""
    try:
        import gmsh
    except (ImportError, OSError) as error:
        # the wheel loads shared libraries at import: a missing one is an OSError that names the file
        text = str(error)
        library = next((name for name in DEBIAN_PACKAGES if text.startswith(f"{name}.")), None)
        if library is not None:
            raise MeshError(
                f"gmsh cannot start, the system library {library} is missing; on Debian or Ubuntu: "
                f"sudo apt-get install -y {DEBIAN_PACKAGES[library]}"
            ) from None
        raise MeshError(f"gmsh cannot start ({text}); the README lists the system packages that it needs") from None
    return gmsh


@contextmanager
def _interrupts_deferred() -> Iterator[None]:
    """Hold back Ctrl-C, and being told to end, while gmsh calls Python: raised there they would be swallowed."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    pending: list[int] = []
    heard = [one for one in (signal.SIGINT, signal.SIGTERM) if callable(signal.getsignal(one))]
    before = {one: signal.signal(one, lambda number, frame: pending.append(number)) for one in heard}
    try:
        yield
    finally:
        for one, was in before.items():
            signal.signal(one, was)
        if pending:
            raise KeyboardInterrupt


@contextmanager
def _signals_kept() -> Iterator[None]:
    """Keep SIGPIPE and SIGTERM as they are, which starting gmsh resets.

    Writing to a process that died would end this one, and being told to end would leave what is half done.
    """
    kept = [getattr(signal, name) for name in ("SIGPIPE", "SIGTERM") if hasattr(signal, name)]
    # Python's own record of the handler does not see what a library changed, and signal.signal needs the main thread
    handler = ctypes.c_void_p
    get = ctypes.PYFUNCTYPE(handler, ctypes.c_int)(("PyOS_getsig", ctypes.pythonapi))
    put = ctypes.PYFUNCTYPE(handler, ctypes.c_int, handler)(("PyOS_setsig", ctypes.pythonapi))
    before = {one: get(one) for one in kept}
    try:
        yield
    finally:
        for one, was in before.items():
            put(one, was)


@contextmanager
def gmsh_session(name: str) -> Iterator[ModuleType]:
    """Yield gmsh with one empty model; its failures become MeshError with `name` in front.

    The user's own gmsh settings are not read. It works in worker threads; in the main one Ctrl-C waits for its end.
    """
    gmsh = load_gmsh()
    started = not gmsh.isInitialized()
    if started:
        with _signals_kept():
            gmsh.initialize([], readConfigFiles=False, interruptible=False)
    gmsh.option.setNumber("General.Terminal", 0)
    gmsh.model.add(name)
    try:
        with _interrupts_deferred():
            yield gmsh
    except MeshError:
        raise
    except Exception as error:
        # gmsh raises bare Exception for everything
        if type(error) is Exception:
            raise MeshError(f"{name}: the mesher failed: {error}") from None
        raise
    finally:
        gmsh.model.remove()
        if started:
            gmsh.finalize()
