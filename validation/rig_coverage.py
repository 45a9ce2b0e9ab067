"""How often a rig log's truth lies within its stated interval, and whether what is wrong with a log is said.

Run as `python -m validation.rig_coverage`; `--logs 20` makes a short table. The logs are those of
`validation.stepped_rig`, which shares no formula with the fits: sound ones by logger and by notebook, of a day in
service, a pull, and a bolt turned past yield that waits and is heated; and the same with one thing wrong.
"""

from __future__ import annotations

import argparse
import tempfile
import traceback
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from rich.console import Console
from rich.table import Table

from headjoint.cases.command.stated_files import shipped_files
from headjoint.cases.rig.evaluation import Evaluated, evaluate
from headjoint.model.rig.log import read_log
from headjoint.model.rig.reading import read_rig
from headjoint.model.rig.rig import Rig
from validation.stepped_logs import FAULTS, Readings, logged, noted, written
from validation.stepped_rig import Bench, Machine, drawn, pull, service, with_air
from validation.stepped_truth import truth

SERVICES = (
    ("tighten", "hold", "strike", "heat", "loosen", "again"),
    ("tighten", "hold", "loosen"),
    ("tighten", "loosen", "again", "loosen"),
    ("tighten", "heat", "strike", "loosen"),
    ("tighten", "hold", "tighten", "loosen"),
    ("tighten", "hold", "heat"),
)
UNFAIR = ("mean_friction",)  # one friction for two that differ is no quantity with a truth


@dataclass
class Tally:
    """What was counted: findings within their interval by kind and quantity, half widths over the truth, and words."""

    held: dict[tuple[str, str], list[bool]] = field(default_factory=lambda: defaultdict(list))
    widths: dict[tuple[str, str], list[float]] = field(default_factory=lambda: defaultdict(list))
    false: list[tuple[int, str, str]] = field(default_factory=list)
    named: dict[tuple[str, str], list[bool]] = field(default_factory=lambda: defaultdict(list))
    crashes: list[tuple[int, str, str]] = field(default_factory=list)
    missed: list[tuple[int, str, str, float, float, float]] = field(default_factory=list)
    sound: int = 0


def count(rig: Rig, bolt: Rig, logs: int, first: int = 0, *, spoilt: bool = True) -> Tally:
    """Return the tally over so many benches; spoilt : with logs that have one thing wrong, too."""
    tally = Tally()
    for seed in range(first, first + logs):
        for kind, bench, machine, read, random, on in sound_logs(rig, bolt, seed):
            one = _evaluated(written(read, random), on, tally, seed, kind)
            if one is None:
                continue
            tally.sound += 1
            tally.false += [(seed, kind, fault) for fault in one.faults]
            _compare(one, truth(on, bench, machine), tally, kind, seed)
        for name, kind, text, on in spoilt_logs(rig, seed) if spoilt else ():
            one = _evaluated(text, on, tally, seed, f"{name}, {kind}")
            if one is not None:
                words = FAULTS[name][1] if name in FAULTS else ("air in the ram",)
                said = [*one.faults, *one.clean.notes]
                tally.named[name, kind].append(any(word in text for word in words for text in said))
    return tally


def sound_logs(
    rig: Rig, bolt: Rig, seed: int
) -> Iterator[tuple[str, Bench, Machine, Readings, np.random.Generator, Rig]]:
    """Yield sound logs of one seed: a service, a pull, a bolt past yield, each by logger and by notebook."""
    random = np.random.default_rng([seed, 1])
    bench = drawn(rig, random)
    machine = service(rig, bench, SERVICES[seed % len(SERVICES)])
    yield "logger", bench, machine, logged(rig, bench, machine, random), random, rig
    for _ in range(2):
        read = noted(rig, bench, machine, random)
        yield (
            "notebook",
            bench,
            machine,
            Readings(read.channels, read.words, read.units, bool(random.integers(2))),
            random,
            rig,
        )
    if seed % 3 == 0:
        machine = pull(rig, bench)
        yield "pull, logger", bench, machine, logged(rig, bench, machine, random), random, rig
        yield "pull, notebook", bench, machine, noted(rig, bench, machine, random), random, rig
        bench = replace(drawn(bolt, random, (1e5, 1e5)), thread_friction=float(random.uniform(0.08, 0.12)))
        bench = replace(bench, bearing_friction=float(random.uniform(0.07, 0.11)))  # within the wrench's range
        machine = service(bolt, bench, ("turn on", "hold", "heat", "loosen"))
        yield "yield, logger", bench, machine, logged(bolt, bench, machine, random), random, bolt
        yield "yield, notebook", bench, machine, noted(bolt, bench, machine, random), random, bolt


def spoilt_logs(rig: Rig, seed: int) -> Iterator[tuple[str, str, str, Rig]]:
    """Yield logs with one thing wrong each: what it is, who wrote it, the text."""
    random = np.random.default_rng([seed, 2])
    bench = drawn(rig, random)
    machine = service(rig, bench, ("tighten", "hold", "loosen"))
    names = sorted(FAULTS)
    for name in (names[seed % len(names)], names[(seed * 2 + 3) % len(names)]):
        for kind, made in (("logger", logged), ("notebook", noted)):
            read, headings = FAULTS[name][0](made(rig, bench, machine, random), random)
            if _possible(name, read):
                yield name, kind, written(read, random, headings=headings), rig
    if seed % 3 == 0:
        bench = with_air(bench, random)
        machine = service(rig, bench, ("tighten", "loosen"))
        for kind, made in (("logger", logged), ("notebook", noted)):
            yield "air in the ram", kind, written(made(rig, bench, machine, random), random), rig


def _possible(name: str, read: Readings) -> bool:
    """Return whether the fault shows: a heading that is right spoils nothing."""
    if name == "psi under bar":
        return "psi" in read.units["pressure"][0]
    return name != "thou under mm" or "thou" in read.units["stretch"][0]


def _evaluated(text: str, rig: Rig, tally: Tally, seed: int, kind: str) -> Evaluated | None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.csv"
        path.write_text(text, encoding="utf-8")
        try:
            return evaluate(read_log(path), rig)
        except Exception:
            tally.crashes.append((seed, kind, traceback.format_exc(limit=-2)))
            return None


def _compare(one: Evaluated, true: dict[str, float], tally: Tally, kind: str, seed: int) -> None:
    for found in one.findings:
        key = found.key if found.use == 1 else f"{found.key}, use {found.use}"
        if key not in true or found.key in UNFAIR:
            continue
        inside = bool(found.low <= true[key] <= found.high)
        tally.held[kind, found.key].append(inside)
        tally.widths[kind, found.key].append((found.high - found.low) / 2.0 / max(abs(true[key]), 1e-12))
        if not inside:
            tally.missed.append((seed, kind, key, true[key], found.low, found.high))


def table(tally: Tally, console: Console) -> None:
    """Print the tally."""
    shown = Table("quantity", "log", "findings", "within, of 100", "half width over truth, median")
    for kind, key in sorted(tally.held, key=lambda pair: (pair[1], pair[0])):
        held, widths = tally.held[kind, key], tally.widths[kind, key]
        width = f"{100 * np.median(widths):.1f} %" if np.median(widths) < 1e3 else "truth is 0"
        shown.add_row(key, kind, str(len(held)), f"{100 * np.mean(held):.1f}", width)
    console.print(shown)
    shown = Table("wrong with the log", "log", "logs", "named, of 100")
    for (name, kind), said in sorted(tally.named.items()):
        shown.add_row(name, kind, str(len(said)), f"{100 * np.mean(said):.0f}")
    console.print(shown)
    console.print(f"{tally.sound} sound logs, {len(tally.false)} faults said of them, {len(tally.crashes)} crashes")


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--logs", type=int, default=120)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--missed", action="store_true", help="name every finding outside, fault and crash")
    asked = parser.parse_args()
    rigs = shipped_files("rigs")
    rig, bolt = (read_rig(rigs[f"hollow-ram-m11-{kind}"]) for kind in ("stud", "bolt"))
    tally = count(rig, bolt, asked.logs, asked.first)
    console = Console()
    table(tally, console)
    if asked.missed:
        for seed, kind, key, true, low, high in tally.missed:
            print(f"outside: {seed} {kind} {key}: {true:.4g}, {low:.4g} to {high:.4g}")
        for each in (*tally.false, *((*crash[:2], crash[2].strip()[-300:]) for crash in tally.crashes[:8])):
            print("said or crashed:", *each)


if __name__ == "__main__":
    main()
