"""Where the command begins: Ctrl-C ends it in one line even while the first libraries are imported."""

from __future__ import annotations

import os
import signal
from types import FrameType
from typing import NoReturn

EXIT_INTERRUPTED = 130


def main() -> None:
    """Run the command line."""
    signal.signal(signal.SIGTERM, end)  # till the command line has one that cleans up
    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:  # a job in the background ignores it
        # at once, not by an exception: libraries turn one that comes up during their import into another
        signal.signal(signal.SIGINT, end)
    # processes that this one starts import nothing from the folder that the user works in
    os.environ["PYTHONSAFEPATH"] = "1"
    from headjoint.cases.cli import main as run

    run()


def end(signum: int = signal.SIGINT, frame: FrameType | None = None) -> NoReturn:
    """End the process as interrupted, at once: no thread is waited for."""
    os.write(2, b"headjoint: interrupted\n")
    os._exit(EXIT_INTERRUPTED)


if __name__ == "__main__":
    main()
