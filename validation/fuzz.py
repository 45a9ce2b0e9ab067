"""Files spoilt at random: each is refused in words or answered; no traceback, no hang, no figure that is none.

`python -m validation.fuzz --seconds 300 --seed 1` spoils what ships and what tests run on - joints, engines, rigs,
beads and logs - reads every file and, of joints and engines, asks for the estimate. A file that ends in anything else
than an answer or an error made on purpose is written to the folder `fuzz-found`, and its number told: the same seed and
number spoil the same way again.
"""

from __future__ import annotations

import argparse
import faulthandler
import random
import re
import sys
import tempfile
import time
import traceback
import warnings
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import headjoint
from headjoint.cases.command.stated_files import shipped_files
from headjoint.model.base.errors import JointError
from headjoint.model.bead.reading import read_bead
from headjoint.model.rig.log import read_log
from headjoint.model.rig.reading import read_rig
from validation.joints import joint_files

HANGS = 20.0  # s for one file
NUMBERS = (
    "0", "-1", "-0.0", "1e300", "1e-300", "1e400", "nan", "inf", "-inf", "9" * 400, "0x10", "1_000", "1e", "", "true",
    "[]", "{}", "[1, 2]", '"1 mm"', '"-5 MPa"', '"1e9 N.m"', '"300 kelvin"', "1979-05-27", "2", "1000", "0.001",
)  # fmt: skip
UNITS = (
    "mm",
    "m",
    "in",
    "MPa",
    "bar",
    "psi",
    "degC",
    "K",
    "N.m",
    "lbf.ft",
    "kN",
    "um",
    "%",
    "deg",
    "s",
    "mm2",
    "furlong",
)
INSERTED = (
    "\0",
    "\u202e",
    "\x1b[31m",
    "é",
    "😀",
    "\ufeff",
    '"',
    "'",
    "[",
    "]",
    "{",
    "=",
    "#",
    ",",
    ";",
    "\t",
    "\r",
    "\\u0000",
)
LINES = re.compile(r"(?<=\n)")
NUMBER = re.compile(r"-?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?")
UNIT = re.compile(r"(?<=\d )[A-Za-z%][A-Za-z0-9./%^]*")


def _number(text: str, chance: random.Random) -> str:
    return _at_one(NUMBER, text, chance, lambda found: chance.choice(NUMBERS))


def _scaled(text: str, chance: random.Random) -> str:
    factor = 10.0 ** chance.choice((-6, -3, -1, 1, 3, 6))
    return _at_one(NUMBER, text, chance, lambda found: repr(float(found) * factor))


def _unit(text: str, chance: random.Random) -> str:
    return _at_one(UNIT, text, chance, lambda found: chance.choice(UNITS))


def _at_one(pattern: re.Pattern[str], text: str, chance: random.Random, new: Callable[[str], str]) -> str:
    places = list(pattern.finditer(text))
    if not places:
        return text
    found = chance.choice(places)
    return text[: found.start()] + new(found[0]) + text[found.end() :]


def _of_lines(change: Callable[[list[str], int, random.Random], None]) -> Callable[[str, random.Random], str]:
    def spoil(text: str, chance: random.Random) -> str:
        lines = LINES.split(text)
        change(lines, chance.randrange(len(lines)), chance)
        return "".join(lines)

    return spoil


def _moved(lines: list[str], at: int, chance: random.Random) -> None:
    lines.insert(chance.randrange(len(lines)), lines.pop(at))


def _inserted(text: str, chance: random.Random) -> str:
    at = chance.randrange(len(text) + 1)
    return text[:at] + chance.choice(INSERTED) + text[at:]


def _removed(text: str, chance: random.Random) -> str:
    at = chance.randrange(len(text) + 1)
    return text[:at] + text[at + chance.choice((1, 1, 1, 5, 40)) :]


def _cut(text: str, chance: random.Random) -> str:
    return text[: chance.randrange(len(text) + 1)]


WAYS: tuple[Callable[[str, random.Random], str], ...] = (
    _number, _number, _number, _scaled, _scaled, _unit, _inserted, _removed, _cut, _of_lines(_moved),
    _of_lines(lambda lines, at, chance: lines.insert(at, lines[at])),
    _of_lines(lambda lines, at, chance: lines.pop(at)),
    _of_lines(lambda lines, at, chance: lines.insert(at, chance.choice(lines) * 3)),
)  # fmt: skip


def _estimated(path: Path) -> str:
    return str(headjoint.estimate(path).verdict.sentence)


def _only(read: Callable[[Path], object]) -> Callable[[Path], str]:
    def asked(path: Path) -> str:
        read(path)
        return ""

    return asked


@dataclass(frozen=True)
class Kind:
    """What is done with files of one kind, and the sound ones that are spoilt."""

    asked: Callable[[Path], str]
    sound: tuple[Path, ...]


def kinds() -> tuple[Kind, ...]:
    """Return all kinds of files."""
    cells = tuple(path for path in shipped_files("cells").values() if "own-mesh" not in path.stem)
    return (
        Kind(_estimated, tuple(joint_files().values())),
        Kind(_estimated, cells),
        Kind(_only(read_rig), tuple(shipped_files("rigs").values())),
        Kind(_only(read_bead), tuple(shipped_files("beads").values())),
        Kind(_only(read_log), tuple(shipped_files("logs").values())),
    )


def spoilt(seed: int, number: int, every: tuple[Kind, ...]) -> tuple[Kind, Path, str]:
    """Return the kind, the sound file and the spoilt text of one number."""
    chance = random.Random(f"{seed} {number}")
    kind = chance.choice(every)
    sound = chance.choice(kind.sound)
    text = sound.read_text("utf-8")
    for _ in range(chance.choice((1, 1, 1, 2, 3, 6))):
        text = chance.choice(WAYS)(text, chance)
    return kind, sound, text


def wrong_with(asked: Callable[[Path], str], path: Path) -> str:
    """Return what is wrong with the answer to a file, "" where nothing is, "refused" where it was refused."""
    started = time.process_time()
    faulthandler.dump_traceback_later(3.0 * HANGS, exit=True)
    try:
        said = asked(path)
    except JointError as error:
        said = str(error)
        return "refused" if said.replace("\n", "").isprintable() else "a control character in a message"
    except Exception:
        return traceback.format_exc()
    finally:
        faulthandler.cancel_dump_traceback_later()
        took = time.process_time() - started
    if took > HANGS:
        return f"took {took:.0f} s"
    return f"says {said}" if re.search(r"\b(nan|inf)\b", said) else ""


def run(seed: int, numbers: Iterator[int], until: float) -> tuple[Counter[str], dict[int, str]]:
    """Return how many files were answered and refused, and what is wrong by number."""
    every, counts, wrong = kinds(), Counter[str](), dict[int, str]()
    with tempfile.TemporaryDirectory() as folder:
        for number in numbers:
            if time.monotonic() > until:
                break
            kind, sound, text = spoilt(seed, number, every)
            path = Path(folder) / f"spoilt{sound.suffix}"
            path.write_text(text, encoding="utf-8", newline="")
            found = wrong_with(kind.asked, path)
            counts["refused" if found == "refused" else "wrong" if found else "answered"] += 1
            if found not in ("", "refused"):
                wrong[number] = found
                kept = Path("fuzz-found") / f"{seed}-{number}-{sound.name}"
                kept.parent.mkdir(exist_ok=True)
                kept.write_text(text, encoding="utf-8", newline="")
    return counts, wrong


def main() -> int:
    options = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    options.add_argument("--seconds", type=float, default=300.0)
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--first", type=int, default=0, help="number of the first file")
    options.add_argument("--files", type=int, default=100_000)
    asked = options.parse_args()
    warnings.simplefilter("ignore")
    numbers = iter(range(asked.first, asked.first + asked.files))
    counts, wrong = run(asked.seed, numbers, time.monotonic() + asked.seconds)
    for number, found in wrong.items():
        print(f"--- seed {asked.seed}, file {number}\n{found}")
    print(f"{counts.total()} files: " + ", ".join(f"{count} {word}" for word, count in counts.items()))
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
