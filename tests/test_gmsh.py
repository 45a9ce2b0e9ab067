"""gmsh is loaded late, and a missing system library is named instead of a traceback."""

from __future__ import annotations

import builtins
import subprocess
import sys

import pytest

from headjoint.meshes.solid.gmsh_session import gmsh_session, load_gmsh
from headjoint.model.base.errors import MeshError


def importing_fails(monkeypatch, error: Exception) -> None:
    real = builtins.__import__

    def fake(name, *rest, **more):
        if name == "gmsh":
            raise error
        return real(name, *rest, **more)

    monkeypatch.delitem(sys.modules, "gmsh", raising=False)
    monkeypatch.setattr(builtins, "__import__", fake)


def test_a_missing_system_library_is_named_with_its_package(monkeypatch):
    text = "libGLU.so.1: cannot open shared object file: No such file or directory"
    importing_fails(monkeypatch, OSError(text))
    with pytest.raises(MeshError, match=r"libGLU is missing.*apt-get install -y libglu1-mesa"):
        load_gmsh()


def test_any_other_failure_points_to_the_readme(monkeypatch):
    importing_fails(monkeypatch, ImportError("No module named 'gmsh'"))
    with pytest.raises(MeshError, match="README lists the system packages"):
        load_gmsh()


def test_a_failure_of_the_mesher_carries_the_name_of_the_work():
    def impossible() -> None:
        with gmsh_session("deck plan") as gmsh:
            gmsh.model.occ.addPlaneSurface([999])

    with pytest.raises(MeshError, match="deck plan: the mesher failed"):
        impossible()


def test_sessions_leave_nothing_behind():
    with gmsh_session("one") as gmsh:
        gmsh.model.occ.addRectangle(0, 0, 0, 1, 1)
        gmsh.model.occ.synchronize()
    with gmsh_session("two") as gmsh:
        assert gmsh.model.getEntities() == []
    assert not gmsh.isInitialized()


WRITES_TO_NOBODY = """
import os, threading
from headjoint.meshes.solid.gmsh_session import gmsh_session
def mesh():
    with gmsh_session("plan"):
        pass
{run}
reader, writer = os.pipe()
os.close(reader)
try:
    os.write(writer, b"x")
except BrokenPipeError:
    print("an error, not the end")
"""


@pytest.mark.parametrize("run", ["mesh()", "thread = threading.Thread(target=mesh); thread.start(); thread.join()"])
def test_a_reader_that_dies_after_meshing_does_not_end_the_process(run):
    command = [sys.executable, "-c", WRITES_TO_NOBODY.format(run=run)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout.strip()) == (0, "an error, not the end"), done.stderr
