"""Where two rules of thumb cannot be had together: the curves between them, as tables and a picture.

Run as `python -m validation.trade_curves picture.png`. Common practice, no source, beside the mechanics:

- a bolt that yields while it is turned clamps with what torsion leaves of its flow stress,
  F/F_break = (flow stress/R_m)/sqrt(1 + 3 (tau/sigma)^2), and used again by the same angle it clamps with more by what
  it has hardened. At friction 0.25 a steel that hardens evenly (Ramberg, Osgood) clamps with half of what breaks it at
  best, and then hardens by a tenth from use to use; one of class 10.9, which hardly hardens, clamps with two thirds.
  Some 40 % and as good as no gain hold together for a steel with a low yield and a plateau only, as the shipped bolt's;
- a stud settles by 5 % only by an embedding of twice that of VDI 2230-1's metal faces.
"""

from __future__ import annotations

import dataclasses
import math
import sys
from pathlib import Path

from rich.console import Console
from rich.table import Table

from headjoint.cases.models.condensed import chain_of
from headjoint.cases.service.model import ServiceModel, service_of
from headjoint.cases.service.run import run_service
from headjoint.model.base.roots import rising_root
from headjoint.model.joint import Joint
from headjoint.model.library.plasticity import PROOF_STRAIN
from headjoint.model.library.tightening import plastic_torsion_modulus, thread_friction_angle_tangent
from validation.bolt_fit import AT_HEAD, OBSERVATIONS, at

MINUTES = 300.0  # s
YIELD_RATIOS = (0.55, 0.6, 0.65, 0.7, 0.75, 0.8, 0.85, 0.9, 0.95)
FRICTIONS = (0.12, 0.25, 0.35)
TURNED = 0.009  # plastic strain of a first use, as the shipped bolt's
EMBEDDINGS = (0.005, 0.01, 0.015, 0.02, 0.025, 0.03)  # mm


def clamped_share(joint: Joint, yield_ratio: float, friction: float) -> float:
    """Return the clamp over what breaks the fastener, of a steel that hardens evenly, turned to `TURNED`."""
    fastener = joint.fastener
    area, thread = fastener.smallest_area, fastener.thread
    arm = thread.pitch_diameter / 2.0 * thread_friction_angle_tangent(thread, friction)
    torsion = arm * area / plastic_torsion_modulus(area)
    return yield_ratio * (TURNED / PROOF_STRAIN) ** (1.0 / _exponent(yield_ratio)) / math.sqrt(1.0 + 3.0 * torsion**2)


def gained_again(yield_ratio: float) -> float:
    """Return by how much such a steel clamps more when the same is done again: twice the plastic strain."""
    return 2.0 ** (1.0 / _exponent(yield_ratio)) - 1.0


def _exponent(yield_ratio: float) -> float:
    """Return n of Ramberg and Osgood: R_p0.2 at 0.2 %, R_m at A_g."""
    return math.log(AT_HEAD / PROOF_STRAIN) / math.log(1.0 / yield_ratio)


def settled(model: ServiceModel, embedding: float, first: float) -> float:
    """Return the clamp after five minutes over its peak, less 1, of a joint with another embedding (mm)."""
    joint = dataclasses.replace(
        model.joint,
        tightening=dataclasses.replace(model.joint.tightening, embedding=embedding),
        ageing=dataclasses.replace(model.joint.ageing, embedding_first=first),
    )
    chain = service_of(chain_of(joint))
    tight, waited = run_service(chain, [joint.history[0], at(joint, 20.0, MINUTES)]).records
    assert tight.turning is not None
    return float(waited.force[0]) / float(tight.turning.force[-1]) - 1.0


def embedding_for(model: ServiceModel, lost: float, first: float) -> float:
    """Return the embedding (mm), a share `first` of it at once, with which a stud settles by `lost` in five minutes."""
    return rising_root(lambda f_Z: lost - settled(model, f_Z, first), 0.0, 0.1, 1e-4)


def main(picture: Path) -> None:
    """Print both tables and draw them."""
    from headjoint.model.reading.reading import read_joint
    from validation.joints import joint_files

    bolt, stud = (read_joint(joint_files()[name]) for name in ("yield-tightened-bolt", "boosted-four-steel"))
    table = Table(title="A bolt turned past yield, of steel that hardens evenly: clamp over what breaks it")
    for heading in ("R_p0.2/R_m", *(f"friction {mu:g}" for mu in FRICTIONS), "used again"):
        table.add_column(heading)
    for ratio in YIELD_RATIOS:
        shares = [f"{clamped_share(bolt, ratio, mu):.2f}" for mu in FRICTIONS]
        table.add_row(f"{ratio:g}", *shares, f"{100 * gained_again(ratio):+.1f} %")
    Console().print(table)
    model = service_of(chain_of(stud))
    firsts = (stud.ageing.embedding_first, 1.0)
    table = Table(title="A stud, five minutes after tightening")
    for heading in ("f_Z in um", *(f"{100 * first:.0f} % at once" for first in firsts)):
        table.add_column(heading)
    lost = {first: [settled(model, f_Z, first) for f_Z in EMBEDDINGS] for first in firsts}
    for number, f_Z in enumerate(EMBEDDINGS):
        table.add_row(f"{1e3 * f_Z:.0f}", *(f"{100 * lost[first][number]:+.1f} %" for first in firsts))
    Console().print(table)
    _draw(picture, bolt, lost, 1e3 * stud.tightening.embedding)


def _draw(picture: Path, bolt: Joint, lost: dict[float, list[float]], own: float) -> None:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(10.0, 4.2), layout="constrained")
    left, right = figure.subplots(1, 2)
    for mu in FRICTIONS:
        shares = [100 * clamped_share(bolt, ratio, mu) for ratio in YIELD_RATIOS]
        left.plot(shares, [100 * gained_again(ratio) for ratio in YIELD_RATIOS], marker=".", label=f"friction {mu:g}")
    share, again = OBSERVATIONS["share"], OBSERVATIONS["again"]
    left.fill_between(
        [100 * share.low, 100 * share.high], 100 * again.low, 100 * again.high, alpha=0.3, label="both said"
    )
    left.set(xlabel="clamp over what breaks the bolt, %", ylabel="clamp gained when used again, %")
    left.set_title("Steel that hardens evenly, R_p0.2/R_m from 0.55 to 0.95", fontsize=10)
    left.legend(fontsize=8)
    for first, values in lost.items():
        right.plot(
            [1e3 * f_Z for f_Z in EMBEDDINGS], [100 * value for value in values], label=f"{100 * first:.0f} % at once"
        )
    right.axhspan(-6.0, -4.0, alpha=0.3, label="said")
    right.axvline(own, linestyle=":", label="VDI 2230-1, metal faces")
    right.set(xlabel="embedding f_Z, um", ylabel="clamp after five minutes, %")
    right.set_title("A long stud", fontsize=10)
    right.legend(fontsize=8)
    figure.suptitle("Common practice, no source", fontsize=10)
    figure.savefig(picture, dpi=110)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
