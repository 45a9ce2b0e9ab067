"""Try a sample of changes and print which of them the quick tests notice; see the package's text."""

from __future__ import annotations

import argparse
import json
import os
import time
from typing import Any

from validation.mutation.changes import ROOT, Change, sample
from validation.mutation.reach import Reach, watched
from validation.mutation.trial import forked, tried

FOLDER = ROOT / ".mutation"
LONGEST_FILE = 3000.0  # s that the quick tests of one file may take


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m validation.mutation", description=__doc__)
    parser.add_argument("paths", nargs="*", default=["model", "cases", "postproc"], help="folders, rooms or modules")
    parser.add_argument("--sample", type=int, default=100, help="number of changes")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--again", action="store_true", help="try survivors of earlier runs again")
    asked = parser.parse_args()
    os.chdir(ROOT)
    FOLDER.mkdir(exist_ok=True)
    reach = brought_up_to_date(Reach(FOLDER))
    reach.preload()
    known = kept()
    results = []
    for number, change in enumerate(sample(asked.paths, asked.sample, asked.seed), start=1):
        result = known.get(change.key)
        if result is None or (asked.again and result["outcome"] == "survived"):
            result = outcome(change, reach)
            with (FOLDER / "results.jsonl").open("a", encoding="utf-8") as file:
                file.write(json.dumps(result) + "\n")
        results.append(result)
        print(f"{number:4} {result['outcome']:9} {place(result)}  {result['by']}", flush=True)
    print_summary(results)


def brought_up_to_date(reach: Reach) -> Reach:
    """Watch the test files of which nothing is known that still holds."""
    for file in reach.test_files():
        if not reach.current(file):
            started = time.monotonic()
            forked(lambda file=file: watched(file, FOLDER) or "", LONGEST_FILE)
            reach.files.pop(file, None)
            if not reach.current(file):
                raise SystemExit(f"the tests of {file} did not come to an end")
            failed = reach.files[file]["failed"]
            note = f"; left out, for they do not pass: {', '.join(failed)}" if failed else ""
            print(f"watched {file}, {time.monotonic() - started:.0f} s{note}", flush=True)
    return reach


def kept() -> dict[str, dict[str, Any]]:
    """Return the results of earlier runs by key, the latest of each."""
    path = FOLDER / "results.jsonl"
    lines = path.read_text("utf-8").splitlines() if path.is_file() else []
    return {result["key"]: result for result in map(json.loads, lines)}


def outcome(change: Change, reach: Reach) -> dict[str, Any]:
    """Return what the tests say of a change."""
    before, after = change.shown()
    tests, expected = reach.tests_of(change.module, change.line)
    started = time.monotonic()
    found, by = ("survived", "(no test runs it)") if not tests else ("killed", "(cannot be read)")
    if tests and readable(change.text()):
        found, by = tried(change.module, change.text(), tests, expected)
    return {
        "key": change.key,
        "module": change.module,
        "line": change.line,
        "operator": change.operator,
        "before": before,
        "after": after,
        "outcome": found,
        "by": by,
        "tests": len(tests),
        "seconds": round(time.monotonic() - started, 1),
    }


def readable(text: str) -> bool:
    """Return whether a changed module is still Python."""
    try:
        compile(text, "changed", "exec")
    except SyntaxError:
        return False
    return True


def place(result: dict[str, Any]) -> str:
    """Return where a change is and what it is."""
    return f"{result['module']}:{result['line']}  {result['before']}  ->  {result['after']}"


def print_summary(results: list[dict[str, Any]]) -> None:
    """Print the share that was noticed, and what was not."""
    survived = [one for one in results if one["outcome"] == "survived"]
    print(f"\n{len(results) - len(survived)} of {len(results)} changes were noticed; not noticed:")
    for one in survived:
        print(
            f"  {one['module']}:{one['line']}  {one['operator']}  {one['by']}\n    {one['before']}\n    {one['after']}"
        )


if __name__ == "__main__":
    main()
