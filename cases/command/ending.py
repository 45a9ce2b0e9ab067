"""How a command line ends: exit codes, and errors as one line each."""

from __future__ import annotations

import os
import signal
import sys

import click

from headjoint.model.base.errors import InputError, JointError

EXIT_BAD_INPUT = 2
EXIT_NO_SOLUTION = 3
EXIT_INTERRUPTED = 130


def run_to_end(app: click.Group) -> None:
    """Run a command line and exit; every error made on purpose becomes one line and an exit code."""
    # being told to end, by whatever means, cleans up like Ctrl-C
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    try:
        # outside standalone mode an exit comes back as its code
        code = app(standalone_mode=False)
        sys.exit(code if isinstance(code, int) else 0)
    except click.Abort:
        _stop("interrupted", EXIT_INTERRUPTED)
    except InputError as error:
        _stop(str(error), EXIT_BAD_INPUT)
    except JointError as error:
        _stop(str(error), EXIT_NO_SOLUTION)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(0)
    except KeyboardInterrupt:
        _stop("interrupted", EXIT_INTERRUPTED)
    except OSError as error:
        place = f"{error.filename}: " if error.filename else ""
        _stop(f"{place}{error.strerror or error}", EXIT_BAD_INPUT)
    except click.ClickException as error:
        error.show()
        sys.exit(error.exit_code)


def _stop(message: str, code: int) -> None:
    print(f"headjoint: {message}", file=sys.stderr)
    sys.exit(code)
