"""How a run ends: every error made on purpose becomes one line and an exit code that says what happened."""

from __future__ import annotations

import errno
import os
import signal
import sys
from io import TextIOWrapper
from typing import NoReturn, TextIO

import click

from headjoint.cases.start import EXIT_INTERRUPTED
from headjoint.model.base.errors import NO_MEMORY, InputError, JointError

EXIT_BAD_INPUT = 2
EXIT_NO_SOLUTION = 3
EXIT_PIPE_CLOSED = 141  # as a shell says it of a program that a closed pipe ends
NAMELESS = {  # what an error of the system is about that names no file
    errno.ENOSPC: "standard output",
    errno.ENOENT: "the folder that this was started in",
}
EPILOG = (
    "Exit codes: 0 done; 1 not every requirement is judged and met (only with --strict); 2 unusable input, or no place "
    "to write; 3 no trustworthy solution, or not enough memory for one; 130 interrupted; 141 nobody reads the output "
    "any more. A design aid, not a substitute for the makers' instructions and a qualified engineer."
)


def run_to_end(app: click.Command) -> NoReturn:
    """Run the command line that this process was started with, and leave with its exit code."""
    # being told to end, by whatever means, cleans up like Ctrl-C
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    sys.stdout, sys.stderr = _open(sys.stdout), _open(sys.stderr)
    try:
        if signal.getsignal(signal.SIGINT) is not signal.SIG_IGN:
            signal.signal(signal.SIGINT, signal.default_int_handler)  # no longer that of the first imports
        # not the library's own way round a command, in which a closed pipe ends with 1, "requirement not met"
        with app.make_context("headjoint", sys.argv[1:]) as context:
            app.invoke(context)
        sys.stdout.flush()
        sys.exit(0)
    except click.exceptions.Exit as end:
        sys.exit(end.exit_code)
    except (click.Abort, KeyboardInterrupt):
        # run by `python -m`, CPython ends by the signal, whatever becomes of it, where the interrupt came up inside
        # `exec` of a text, as when a library makes a dataclass; another `exec` takes that back
        exec("")
        _stop("interrupted", EXIT_INTERRUPTED)
    except InputError as error:
        _stop(str(error), EXIT_BAD_INPUT)
    except JointError as error:
        _stop(str(error), EXIT_NO_SOLUTION)
    except MemoryError:
        _stop(NO_MEMORY, EXIT_NO_SOLUTION)
    except OverflowError:
        _stop("a figure grew beyond what can be reckoned with: look for a slip of many powers of ten", EXIT_BAD_INPUT)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(EXIT_PIPE_CLOSED)
    except OSError as error:
        if error.errno == errno.ENOMEM:
            _stop(NO_MEMORY, EXIT_NO_SOLUTION)
        place = error.filename or NAMELESS.get(error.errno or 0, "")
        _stop(": ".join(part for part in (place, error.strerror or str(error)) if part), EXIT_BAD_INPUT)
    except click.ClickException as error:
        error.show()
        sys.exit(error.exit_code)


def _open(stream: TextIO | None) -> TextIO:
    """Return a stream that can be written to, whatever stands in names; one to nowhere where the shell closed it."""
    if stream is None:
        return open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115  open until the process ends
    if isinstance(stream, TextIOWrapper) and stream.errors == "strict":
        stream.reconfigure(errors="replace")  # a pipe of Windows takes no letters but those of cp1252
    return stream


def _stop(message: str, code: int) -> NoReturn:
    print(f"headjoint: {message}", file=sys.stderr)
    sys.exit(code)
