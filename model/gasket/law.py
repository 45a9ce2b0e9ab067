"""What every pressure-closure law of a gasket zone is, whatever its form.

A law is p(c, s): contact pressure (MPa) from closure c and permanent set s, both in mm, c measured from first touch of
the zone. First loading follows the curve L(c, T); below it a zone of set s springs back along a line of its own. The
set is the only memory: it grows while the zone is on its loading curve and never shrinks.

A form says how a zone springs back. It is a class derived from `GasketLaw`, in a module of its own, named in
`headjoint.model.gasket.forms`; its fields beyond those here are what files state by `KEYS`. It promises, and
`tests/test_gasket_forms.py` holds it to that:

- pressure never falls as closure grows, is continuous, and never rises as the set grows;
- from a fresh zone no closed path of closures gives energy back, through any history of temperature;
- at a fixed set, pressure is straight in closure between `corners`.

Scalars are the reference. The same on arrays, all points of an interface at once, is what solvers call.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Mapping
from dataclasses import KW_ONLY, dataclass
from typing import Any, ClassVar, TypeVar

import numpy as np

from headjoint.model.base.arrays import FloatArray
from headjoint.model.base.errors import InputError
from headjoint.model.gasket.bead_limits import BeadLimits
from headjoint.model.gasket.loading import LoadingCurve, check_curve, loading_at, steepest
from headjoint.model.library.plasticity import Creep

Law = TypeVar("Law", bound="GasketLaw")


@dataclass(frozen=True)
class GasketLaw(ABC):
    """Pressure-closure law of one gasket zone; see the module text for its mechanics.

    name, title : identity shown to users.
    curves : loading curves at ascending temperatures; linear in temperature between, held outside.
    crush_pressure : pressure (MPa) above which the zone is damaged, or None when not known.
    spread : plus-minus range of the pressures as a fraction, for scatter and comparison; None if unknown.
    creep : how it goes on setting with time, None for not at all.
    source : where the numbers come from.
    limits : line loads and stroke of a bead, None for what is no bead.
    KEYS : what files state of this form alone, each a field of it: name to type with its description.
    """

    name: str
    curves: tuple[LoadingCurve, ...]
    _: KW_ONLY
    crush_pressure: float | None = None
    title: str = ""
    spread: float | None = None
    source: str = "stated in the joint file"
    creep: Creep | None = None
    limits: BeadLimits | None = None

    KEYS: ClassVar[Mapping[str, Any]]

    # --- one point

    def loading(self, closure: float, temperature: float) -> float:
        """Return L(c, T) in MPa."""
        return loading_at(self.curves, closure, temperature)

    @abstractmethod
    def pressure(self, closure: float, permanent_set: float, temperature: float) -> float:
        """Return the contact pressure (MPa) at `closure` (mm) for a zone whose set is `permanent_set`."""

    @abstractmethod
    def set_after(self, closure: float, permanent_set: float, temperature: float) -> float:
        """Return the permanent set (mm) once `closure` has been reached from `permanent_set`."""

    @property
    def touch(self) -> float:
        """Closure (mm) at which the zone first bears."""
        return min(curve.closure[0] for curve in self.curves)

    def lift_off(self, permanent_set: float) -> float:
        """Return the closure (mm) below which a zone of `permanent_set` (mm) bears nothing."""
        return max(self.touch, permanent_set) if self.keeps_set else self.touch

    @property
    def opening_sets(self) -> tuple[float, ...]:
        """Closures (mm) to which zones open along stated curves; none where they open along a straight line."""
        return ()

    @abstractmethod
    def corners(self, permanent_set: float, temperature: float) -> list[float]:
        """Return the closures (mm), rising, between which pressure is straight while the set stays as it is."""

    # --- many points

    @abstractmethod
    def pressures(
        self, closure: FloatArray, permanent_set: FloatArray, temperature: float
    ) -> tuple[FloatArray, FloatArray]:
        """Return pressure (MPa) and its slope over closure (MPa/mm) at closures (mm) of points of given sets (mm)."""

    @abstractmethod
    def sets_after(self, closure: FloatArray, permanent_set: FloatArray, temperature: float) -> FloatArray:
        """Return the permanent sets (mm) once the closures have been reached."""

    def lift_offs(self, permanent_set: FloatArray) -> FloatArray:
        """Return the closures (mm) below which points of given sets (mm) bear nothing."""
        return np.maximum(permanent_set, self.touch) if self.keeps_set else np.full_like(permanent_set, self.touch)

    # --- creep of a law that keeps a set: a set a(p) grows under pressure p and lowers the zone's line

    @abstractmethod
    def stiffness_at(self, pressure: FloatArray) -> tuple[FloatArray | float, FloatArray | float]:
        """Return the stiffness k (MPa/mm) that creep under `pressure` p (MPa) counts with, and its slope (1/mm).

        p/k never falls with p.
        """

    @abstractmethod
    def springback(
        self, pressure: FloatArray, permanent_set: FloatArray
    ) -> tuple[FloatArray, FloatArray | float, FloatArray | float]:
        """Return how far (mm) a zone of given set opens from `pressure` (MPa) to none, and its slopes by both.

        Set and springback together are the closure at which the zone bears that pressure on its line; neither falls as
        pressure or set grow. The slopes are in mm/MPa and mm/mm.
        """

    @abstractmethod
    def bound(self, closure: FloatArray, permanent_set: FloatArray) -> FloatArray:
        """Return a pressure (MPa) that a point of given set does not exceed at `closure` (mm), at any temperature."""

    # --- what others need of it

    @property
    @abstractmethod
    def unloading_rows(self) -> tuple[tuple[float, float], ...]:
        """Rows of pressure reached (MPa) and stiffness of the unloading from it (MPa/mm); none: keeps no set."""

    @property
    def keeps_set(self) -> bool:
        """Whether the zone comes back along a line of its own, not along its loading curve."""
        return bool(self.unloading_rows)

    @property
    def stiffest(self) -> float:
        """Greatest stiffness (MPa/mm) with which the zone may spring back: the least springback."""
        return max((stiffness for _, stiffness in self.unloading_rows), default=steepest(self.curves))

    @property
    def softest(self) -> float:
        """Least stiffness (MPa/mm) of unloading: the greatest set by creep."""
        return min((stiffness for _, stiffness in self.unloading_rows), default=steepest(self.curves))

    @abstractmethod
    def scaled(self, factor: float) -> GasketLaw:
        """Return a law that presses `factor` times as hard at every closure, loading and unloading."""

    @abstractmethod
    def check(self, field: str) -> None:
        """Raise InputError with the key below `field` where the form does not keep what every law promises."""


def check_law(law: Law, field: str) -> Law:
    """Return `law` if it is physical, else raise InputError naming the row that is not.

    Closures rise strictly, pressures never fall, the first pressure is zero, and what its form asks.
    """
    for number, curve in enumerate(law.curves):
        check_curve(curve, f"{field}.curves[{number}]" if len(law.curves) > 1 else field)
    temperatures = [curve.temperature for curve in law.curves]
    if any(after <= before for before, after in zip(temperatures, temperatures[1:], strict=False)):
        raise InputError("temperatures of the curves must rise", field=f"{field}.curves", value=temperatures)
    law.check(field)
    return law
