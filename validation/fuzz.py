"""Files spoilt at random: each is refused in words or answered; no traceback, no hang, no figure that is none.

`python -m validation.fuzz --seconds 300 --seed 1` spoils what ships, what tests run on and what the guide shows -
joints, engines, rigs, beads, gasket laws and logs -, reads every file and, of joints and engines, asks for the
estimate; of one in `--solved` it asks for more: one fastener solved, a rig's fits, a bead pressed. A file is a finding
where it ends in anything else than an answer or an error made on purpose, takes more than `HANGS` (`SOLVES`) or ends
its process, is refused after more than `LONGEST_REFUSAL`, or is told a figure that is none, in words or as JSON. It is
then written to the folder `headjoint-fuzz-found`, and its number told: the same seed and number spoil the same way
again.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import json
import random
import re
import shutil
import sys
import tempfile
import time
import traceback
import warnings
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import headjoint
from headjoint.cases.command.starter import STARTER
from headjoint.cases.command.stated_files import shipped_files
from headjoint.model.base.errors import InputError, JointError
from headjoint.model.bead.reading import read_gasket
from headjoint.model.gasket.curves_csv import read_curves
from headjoint.model.joint import Joint
from headjoint.model.reading.reading import read_input
from headjoint.model.rig.log import read_log
from headjoint.model.rig.reading import read_rig
from headjoint.postproc.present.answer import Answer
from validation.apart import each_apart
from validation.guide_examples import examples, laid_over
from validation.joints import joint_files
from validation.spoilt import spoil

HANGS = 20.0  # s of the processor for one file
LONGEST_REFUSAL = 2.0  # s of the processor, where nothing is solved
SOLVES = 200.0  # s of the processor for a file of which more is asked: a sound bead takes some 20 s
AROUND = 6  # letters on one side, by which names and notes of the file are known again
NO_FIGURE = re.compile(r"(?<![\w.])-?(nan|inf)(?![\w-])")
Asked = Callable[[Path], "Answer | None"]


def _only(read: Callable[[Path], object]) -> Asked:
    def asked(path: Path) -> None:
        read(path)

    return asked


def _estimated(path: Path) -> Answer | None:
    stated = headjoint.read(path)
    # the estimate of load cases by heat conducts heat first, half a minute of it
    by_heat = (stated if isinstance(stated, Joint) else stated.joint).by_heat
    return None if by_heat else headjoint.estimate(stated)


def _one_stud(path: Path) -> Answer:
    return headjoint.solve(headjoint.read(path, "stud"))


def _pressed(path: Path) -> Answer:
    return headjoint.bead(path, workers=1)  # a process that files are tried in may have none of its own


@dataclass(frozen=True)
class Kind:
    """What is done with files of one kind, and the sound ones that are spoilt: name and text.

    more : what is done with a few of them, for it takes seconds; None where there is no more.
    """

    asked: Asked
    sound: tuple[tuple[str, str], ...]
    more: Asked | None = None


@cache
def kinds() -> tuple[Kind, ...]:
    """Return all kinds of files."""
    shown = [one for page in shipped_files("guide").values() for one in examples(page.read_text("utf-8"))]
    engine = shipped_files("cells")["boosted-four"].read_text("utf-8")
    rig = shipped_files("rigs")["hollow-ram-m11-stud"]
    cells = [path for path in shipped_files("cells").values() if "own-mesh" not in path.stem]
    whole = [laid_over(engine if one.about == "cell" else STARTER, one.text) for one in shown if one.kind == "toml"]
    kept = [text for text in whole if _is_read(text)]
    laws = [(one.about, one.text) for one in shown if one.kind == "csv" and "closure" in one.text]
    return (
        Kind(_estimated, _texts(joint_files().values()), _one_stud),
        Kind(_estimated, _texts(cells), _one_stud),
        Kind(_estimated, tuple((f"shown-{at}.toml", text) for at, text in enumerate(kept)), _one_stud),
        Kind(_only(read_rig), _texts(shipped_files("rigs").values())),
        Kind(_only(read_gasket), _texts(shipped_files("beads").values()), _pressed),
        Kind(_only(read_log), _texts(shipped_files("logs").values()), lambda path: headjoint.rig([path], rig)),
        Kind(_only(lambda path: read_curves(path, path.name, None)), tuple(laws)),
    )


def _texts(paths: Iterable[Path]) -> tuple[tuple[str, str], ...]:
    return tuple((path.name, path.read_text("utf-8")) for path in paths)


def _is_read(text: str) -> bool:
    """Return whether a text is a whole joint or engine file that needs no other file."""
    with _written("shown.toml", text.encode()) as path, contextlib.suppress(InputError):
        read_input(path)
        return True
    return False


def spoilt(seed: int, number: int) -> tuple[Kind, str, bytes]:
    """Return the kind, the sound file's name and the spoilt content of one number."""
    chance = random.Random(f"{seed} {number}")
    kind = chance.choice(kinds())
    name, text = chance.choice(kind.sound)
    return kind, name, spoil(text, chance)


def no_figures(answer: Answer, stated: str) -> str:
    """Return what an answer tells that is no figure, in words or as JSON; "" where there is nothing.

    stated : the file, whose names and notes are told as they stand.
    """

    def refused(constant: str) -> float:
        raise ValueError(f"{constant} in the JSON document")

    try:
        json.loads(answer.json(None), parse_constant=refused)
    except ValueError as error:
        return str(error)
    said = io.StringIO()
    with contextlib.redirect_stdout(said):
        answer.show()
    for line in said.getvalue().splitlines():
        for found in NO_FIGURE.finditer(line):
            around = line[max(0, found.start() - AROUND) : found.end()], line[found.start() : found.end() + AROUND]
            if not any(part in stated for part in around):
                return f"says {line.strip()}"
    return ""


def wrong_with(
    asked: Asked, path: Path, longest_refusal: float = LONGEST_REFUSAL, longest_answer: float = HANGS
) -> str:
    """Return what is wrong with the answer to a file, "" where nothing is, "refused" where it was refused."""
    started = time.process_time()
    found = ""
    try:
        answer = asked(path)
        if answer is not None:
            found = no_figures(answer, path.read_text("utf-8", errors="replace"))
    except JointError as error:
        said = str(error)
        found = "refused" if said.replace("\n", "").isprintable() else "a control character in a message"
    except Exception:
        return traceback.format_exc()
    took = time.process_time() - started
    if took > longest_answer:
        return f"took {took:.0f} s"
    return f"refused after {took:.1f} s" if found == "refused" and took > longest_refusal else found


@dataclass(frozen=True)
class Judge:
    """Says what is wrong with the file of a number, as `wrong_with` does. solved : share of which more is asked."""

    seed: int
    solved: float = 0.0

    def __call__(self, number: int) -> str:
        warnings.simplefilter("ignore")
        _warmed()
        kind, name, content = spoilt(self.seed, number)
        more = kind.more if random.Random(f"more {self.seed} {number}").random() < self.solved else None
        with _written(f"spoilt{Path(name).suffix}", content) as path:
            if more:
                return wrong_with(more, path, SOLVES, SOLVES)
            return wrong_with(kind.asked, path)


@cache
def _warmed() -> None:
    """Ask once what imports libraries: that shall not count as slow."""
    for kind in kinds():
        name, text = kind.sound[0]
        with _written(name, text.encode()) as path:
            found = wrong_with(kind.asked, path, HANGS)
        assert not found, f"{name}: {found}"


@contextlib.contextmanager
def _written(name: str, content: bytes) -> Iterator[Path]:
    """Write a file into a folder of its own, beside it the shipped laws that engines name."""
    with tempfile.TemporaryDirectory() as folder:
        shutil.copytree(shipped_files("cells")["boosted-four"].parent / "laws", Path(folder) / "laws")
        path = Path(folder) / name
        path.write_bytes(content)
        yield path


def counted(found: Iterable[tuple[int, str]], seed: int) -> tuple[Counter[str], dict[int, str]]:
    """Return how many files were answered and refused, and what is wrong by number; keeps and says what is wrong."""
    counts, wrong = Counter[str](), dict[int, str]()
    for number, words in found:
        counts["refused" if words == "refused" else "wrong" if words else "answered"] += 1
        if counts.total() % 1000 == 0:
            print(f"{counts.total()} files", file=sys.stderr, flush=True)
        if words in ("", "refused"):
            continue
        wrong[number] = words
        _, name, content = spoilt(seed, number)
        kept = Path("headjoint-fuzz-found") / f"{seed}-{number}-{name}"
        kept.parent.mkdir(exist_ok=True)
        kept.write_bytes(content)
        print(f"--- seed {seed}, file {number}, {name}\n{words}", flush=True)
    return counts, wrong


def _until(numbers: Iterable[int], until: float) -> Iterator[int]:
    for number in numbers:
        if time.monotonic() > until:
            return
        yield number


def main() -> int:
    options = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    options.add_argument("--seconds", type=float, default=300.0)
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--first", type=int, default=0, help="number of the first file")
    options.add_argument("--files", type=int, default=100_000)
    options.add_argument("--solved", type=float, default=0.002, help="share of the files of which more is asked")
    options.add_argument("--workers", type=int, default=1)
    asked = options.parse_args()
    numbers = _until(range(asked.first, asked.first + asked.files), time.monotonic() + asked.seconds)
    judge = Judge(asked.seed, asked.solved)
    _warmed()  # sound files must not be refused
    counts, wrong = counted(
        each_apart(judge, numbers, asked.workers, 1.5 * (SOLVES if asked.solved else HANGS)), asked.seed
    )
    print(f"{counts.total()} files: " + ", ".join(f"{count} {word}" for word, count in counts.items()))
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
