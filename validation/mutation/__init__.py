"""Do the quick tests notice a wrong formula? A seeded sample of small changes, each tried on the tests that run it.

    pip install -e ".[test,mutation]"
    python -m validation.mutation                           # 100 changes of model, cases and postproc
    python -m validation.mutation postproc --sample 60      # of one folder, room or module
    python -m validation.mutation --again                   # survivors of earlier runs, and those of tests made since

By hand or at night, never in CI: the first run takes the whole quick suite once to see which test runs which line, and
after that a change takes seconds. A change lives in the memory of one forked process: no file is ever changed, and
what tests keep on disk goes to a folder that is thrown away.

- `changes` makes them: cosmic-ray finds the places (signs, operators, powers, numbers, comparisons) and a few kinds of
  our own join in (swapped arguments, a term or a power left out, least for greatest). A place is drawn, then one of its
  changes, so that a number with many does not outweigh a sign with one.
- `reach` keeps, by coverage.py, which quick test runs which line and how long it takes; a test file is run again where
  it or a module that it ran has changed.
- `trial` forks, puts the changed module in and runs first the tests that ran the changed line, cheapest first, then
  others that ran the module, as far as the time for one change goes.

All is kept in `.mutation/`, so that a run that was stopped goes on where it stood. A survivor is a question, not yet a
gap: some changes are no change (a tolerance, a start value of an iteration, a case that cannot come), the others want
a test.
"""

import os

for _name in ("OMP_NUM_THREADS", "MKL_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ[_name] = "1"  # before anything is loaded: a process with threads must not fork
