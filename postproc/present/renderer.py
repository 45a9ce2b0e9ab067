"""Whether this machine can render, tried in a child process: some crash instead of failing."""

from __future__ import annotations

import os
import subprocess
import sys

from headjoint.model.base.errors import JointError


class PictureError(JointError):
    """This machine cannot render."""


def probe_renderer() -> None:
    """Render a tiny picture in a child process: where no graphics library is found, rendering kills the process.

    EGL first, which is quiet and needs no screen; then whatever the library finds for itself.
    """
    program = (
        "import pyvista as pv; p = pv.Plotter(off_screen=True, window_size=[16, 16]); p.add_mesh(pv.Cube());"
        "p.screenshot(None, return_img=True)"
    )
    for choice in ({"VTK_DEFAULT_OPENGL_WINDOW": "vtkEGLRenderWindow"}, {}):
        try:
            done = subprocess.run(
                [sys.executable, "-c", program],
                capture_output=True,
                timeout=SLOWEST_PROBE,
                check=False,
                env=os.environ | choice,
            )
        except subprocess.TimeoutExpired:
            continue
        if done.returncode == 0:
            os.environ.update(choice)
            return
    raise PictureError(
        "this machine cannot render in three dimensions (no EGL, OSMesa or X display answers); on Debian or Ubuntu: "
        "sudo apt-get install -y libegl1 libosmesa6. `headjoint solve` needs none of it"
    )


SLOWEST_PROBE = 60.0  # s
