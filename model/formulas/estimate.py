"""The closed-form answer: one spring for the fastener, one for the clamped parts, the gasket by its laws.

The joint is a chain. With the locked overlap D (what tightening pulled in), free thermal growth and one common
gasket closure c,

    F_S (delta_S + delta_P) - n delta_P F_A + c = D + growth,      G(c) = F_S - F_A

F_S is the fastener force, F_A the gas force on one fastener, G(c) the sum of zone area times zone law, and
n delta_P the part of the clamped parts' resilience that the gas unloads (load introduction factor n, VDI 2230-1
sec. 5.2): with n = 0 gas acts right at the gasket. For a stiff gasket this is F_SA = n delta_P/(delta_S + delta_P)
F_A = Phi_n F_A, the standard's load factor. Stiffness is that of the assembly temperature.

A fastener that was tightened past yield may yield on in a later state: what it grows longer by, a function of F_S,
joins the left side there and comes off D afterwards.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from headjoint.model.base.roots import rising_root
from headjoint.model.formulas import load_introduction
from headjoint.model.formulas.resilience import Term, clamped_resilience, fastener_resilience, total
from headjoint.model.formulas.sealing import lacking, seal_need
from headjoint.model.joint import Joint, Zone
from headjoint.model.load_case import LoadCase

MARGIN_ACCURACY = 1e-5
LARGEST_MARGIN = 20.0  # factors on combustion beyond this are given as None: "more than"


class Yielding(Protocol):
    """A fastener past yield, and how it yields on."""

    @property
    def strain(self) -> float:
        """Plastic strain of its weakest length."""
        ...

    def longer(self, force: float, temperature: float) -> float:
        """Return by how much (mm) it yields on under a force (N) at a temperature (degC); rising with the force."""
        ...

    def after(self, force: float, temperature: float) -> Yielding:
        """Return it after it has borne a force (N) at a temperature (degC)."""
        ...


@dataclass(frozen=True)
class ZoneEstimate:
    """Mean pressure (MPa), force (N), closure and permanent set (mm) of a gasket zone."""

    name: str
    pressure: float
    force: float
    closure: float
    permanent_set: float


@dataclass(frozen=True)
class StateEstimate:
    """One state by closed form; forces N, pressures MPa, closures mm.

    sealing_pressure is the mean of the sealing zone. separation_factor and lift_off_factor scale combustion
    until the sealing zone falls short or to nothing; None beyond `LARGEST_MARGIN` or without gas. plastic_strain of the
    fastener's weakest length; None where it was tightened within its elastic range.
    """

    name: str
    kind: str
    case: LoadCase
    fastener_force: float
    gasket_force: float
    closure: float
    zones: tuple[ZoneEstimate, ...]
    sealing_pressure: float
    thermal_change: float
    load_factor: float | None
    force_amplitude: float | None
    separation_factor: float | None
    lift_off_factor: float | None
    plastic_strain: float | None = None


@dataclass(frozen=True)
class Estimate:
    """The whole closed-form answer at one preload (N).

    fastener_terms, clamped_terms : resilience term by term (mm/N). gasket_loading, gasket_relief : resilience of
    the gasket at assembly when tightened on and when relieved. Phi : load factors dF_S/dF_A with n as used, at
    the gasket relieved (Phi) and for a rigid gasket (Phi_bare = n delta_P/(delta_S + delta_P)).
    """

    joint: Joint
    preload: float
    fastener_terms: tuple[Term, ...]
    clamped_terms: tuple[Term, ...]
    gasket_loading: float
    gasket_relief: float
    load_introduction_factor: float
    load_introduction_source: str
    overlap: float
    embedding_loss: float
    states: tuple[StateEstimate, ...]

    @property
    def delta_S(self) -> float:  # noqa: N802
        """Resilience of the fastener, mm/N."""
        return total(self.fastener_terms)

    @property
    def delta_P(self) -> float:  # noqa: N802
        """Resilience of the clamped parts without the gasket, mm/N."""
        return total(self.clamped_terms)

    @property
    def Phi_bare(self) -> float:  # noqa: N802
        """Load factor n delta_P/(delta_S + delta_P) of a rigid gasket."""
        return self.load_introduction_factor * self.delta_P / (self.delta_S + self.delta_P)

    @property
    def Phi(self) -> float:  # noqa: N802
        """Load factor with the relieved gasket: (n delta_P + delta_G)/(delta_S + delta_P + delta_G)."""
        relieved = self.load_introduction_factor * self.delta_P + self.gasket_relief
        return relieved / (self.delta_S + self.delta_P + self.gasket_relief)

    @property
    def cut_compliance(self) -> float:
        """d overlap / d force (mm/N) of tightening a little more at assembly."""
        return self.delta_S + self.delta_P + self.gasket_loading


def estimate(joint: Joint, preload: float | None = None, fastener: Yielding | None = None) -> Estimate:
    """Return the closed-form answer for `joint` tightened to `preload` (N, by default that of its torque or as stated).

    fastener : as tightened past yield; None for one within its elastic range.

    Raises ValueError where the joint does not tell the preload by itself.
    """
    preload = joint.tightening.preload if preload is None else preload
    if preload is None:
        raise ValueError(f"the preload that '{joint.tightening.method}' gives is to be found first")
    return _Chain(joint, fastener).run(preload)


class _Chain:
    """The spring chain of one joint with the sets of its gasket zones."""

    def __init__(self, joint: Joint, fastener: Yielding | None) -> None:
        self.joint, self.fastener = joint, fastener
        self.fastener_terms, self.clamped_terms = fastener_resilience(joint), clamped_resilience(joint)
        self.delta_S, self.delta_P = total(self.fastener_terms), total(self.clamped_terms)
        self.n, self.n_source = load_introduction.factor(joint)
        self.sets = dict.fromkeys((zone.name for zone in joint.gasket.zones), 0.0)
        self.near = 0.0  # mm, the closure found last

    def run(self, preload: float) -> Estimate:
        joint = self.joint
        assembly = joint.load_cases[0]
        closure = self._closure_at_force(preload, assembly)
        overlap = preload * (self.delta_S + self.delta_P) + closure
        self._commit(closure, assembly)
        loading, relief = self._gasket_resilience(closure, assembly)
        states = [self._state(assembly.name, "assembly", assembly, preload, closure, overlap)]
        locked = overlap - joint.tightening.embedding
        cases = [(case.name, case.kind, case) for case in joint.load_cases[1:]]
        if joint.tightening.embedding > 0.0:
            cases.insert(0, ("settled", "settled", assembly))
        for name, kind, case in cases:
            force, closure = self._locked(locked, case)
            self._commit(closure, case)
            if self.fastener is not None:
                temperature = case.temperatures["fastener"]
                locked -= self.fastener.longer(force, temperature)
                self.fastener = self.fastener.after(force, temperature)
            states.append(self._state(name, kind, case, force, closure, locked))
        return Estimate(
            joint=joint,
            preload=preload,
            fastener_terms=self.fastener_terms,
            clamped_terms=self.clamped_terms,
            gasket_loading=loading,
            gasket_relief=relief,
            load_introduction_factor=self.n,
            load_introduction_source=self.n_source,
            overlap=overlap,
            # F_Z = f_Z/(delta_S + delta_P + delta_G), VDI 2230-1 sec. 5.4.2.1
            embedding_loss=joint.tightening.embedding / (self.delta_S + self.delta_P + relief),
            states=tuple(states),
        )

    def _zone_closure(self, zone: Zone, closure: float, case: LoadCase) -> float:
        return closure + self._gasket_growth(case) - zone.step

    def _gasket_growth(self, case: LoadCase) -> float:
        gasket = self.joint.gasket
        return gasket.expansion * gasket.thickness * (case.temperatures["gasket"] - self.joint.assembly_temperature)

    def _zone_pressure(self, zone: Zone, closure: float, case: LoadCase) -> float:
        at = self._zone_closure(zone, closure, case)
        return zone.law.pressure(at, self.sets[zone.name], case.temperatures["gasket"])

    def _gasket_force(self, closure: float, case: LoadCase) -> float:
        return sum(zone.area * self._zone_pressure(zone, closure, case) for zone in self.joint.gasket.zones)

    def _commit(self, closure: float, case: LoadCase) -> None:
        for zone in self.joint.gasket.zones:
            at = self._zone_closure(zone, closure, case)
            self.sets[zone.name] = zone.law.set_after(at, self.sets[zone.name], case.temperatures["gasket"])

    def _closure_at_force(self, force: float, case: LoadCase) -> float:
        high = 0.1
        while self._gasket_force(high, case) < force:
            high *= 2.0
        return rising_root(lambda c: self._gasket_force(c, case) - force, 0.0, high)

    def growth(self, case: LoadCase) -> float:
        """Return the free growth of the clamped stack beyond the fastener's, mm (positive adds clamp)."""
        joint = self.joint
        reference = joint.assembly_temperature
        block_part = joint.block.counterbore_depth
        lengths = [("head", joint.head.height), ("block", block_part)]
        if joint.washer is not None:
            lengths.append(("washer", joint.washer.thickness))
        stack = sum(
            length * joint.part_material(part).free_strain(case.temperatures[part], reference)
            for part, length in lengths
        )
        strain = joint.fastener.material.free_strain(case.temperatures["fastener"], reference)
        # the gasket's own growth adds to its closure, so only the fastener beside it counts here
        return stack - strain * (sum(length for _, length in lengths) + joint.gasket.thickness)

    def _locked(self, overlap: float, case: LoadCase, gas_factor: float = 1.0) -> tuple[float, float]:
        """Return fastener force (N) and closure (mm) at a locked overlap under a load case."""
        gas = case.gas_force * gas_factor
        reach = overlap + self.growth(case) + self.n * self.delta_P * gas
        chain = self.delta_S + self.delta_P

        def excess(closure: float) -> float:
            force = self._gasket_force(closure, case) + gas
            more = 0.0 if self.fastener is None else self.fastener.longer(force, case.temperatures["fastener"])
            return closure + chain * force + more - reach

        # the last closure is near; the bracket opens until it holds the root
        low, high, width = self.near - 0.002, self.near + 0.002, 0.008
        while excess(high) < 0.0:
            low, high, width = high, high + width, 4.0 * width
        while excess(low) > 0.0:
            low, high, width = low - width, low, 4.0 * width
        closure = self.near = rising_root(excess, low, high)
        return self._gasket_force(closure, case) + gas, closure

    def _gasket_resilience(self, closure: float, case: LoadCase) -> tuple[float, float]:
        """Return d closure/d force (mm/N) of the gasket for a little more and a little less closure."""
        step = 1e-7
        now = self._gasket_force(closure, case)
        more, less = self._gasket_force(closure + step, case), self._gasket_force(closure - step, case)
        return step / max(more - now, 1e-12), step / max(now - less, 1e-12)

    def _state(
        self, name: str, kind: str, case: LoadCase, force: float, closure: float, overlap: float
    ) -> StateEstimate:
        joint = self.joint
        zones = tuple(
            ZoneEstimate(
                zone.name,
                pressure := self._zone_pressure(zone, closure, case),
                pressure * zone.area,
                self._zone_closure(zone, closure, case),
                self.sets[zone.name],
            )
            for zone in joint.gasket.zones
        )
        sealing = next(zone.pressure for zone in zones if zone.name == joint.gasket.sealing_zone.name)
        load_factor = amplitude = separation = lift_off = None
        if case.gas_force > 0.0:
            change = force - self._locked(overlap, case, 0.0)[0]
            load_factor, amplitude = change / case.gas_force, change / 2.0
            separation = self._gas_factor(overlap, case, required=True)
            lift_off = self._gas_factor(overlap, case, required=False)
        cold_chain = self.delta_S + self.delta_P + self._gasket_resilience(closure, case)[1]
        return StateEstimate(
            name=name,
            kind=kind,
            case=case,
            fastener_force=force,
            gasket_force=sum(zone.force for zone in zones),
            closure=closure,
            zones=zones,
            sealing_pressure=sealing,
            # dF_Vth of VDI 2230-1 sec. 5.4.2.3, a gain when positive; the gasket grows as a layer of the stack
            thermal_change=(self.growth(case) + self._gasket_growth(case)) / cold_chain,
            load_factor=load_factor,
            force_amplitude=amplitude,
            separation_factor=separation,
            lift_off_factor=lift_off,
            plastic_strain=None if self.fastener is None else self.fastener.strain,
        )

    def _gas_factor(self, overlap: float, case: LoadCase, *, required: bool) -> float | None:
        """Return the factor on combustion at which the sealing zone falls short, or bears nothing."""
        zone = self.joint.gasket.sealing_zone

        def spare(factor: float) -> float:
            _, closure = self._locked(overlap, case, factor)
            if not required:
                return self._zone_closure(zone, closure, case) - zone.law.lift_off(self.sets[zone.name])
            pressure = self._zone_pressure(zone, closure, case)
            need = seal_need(self.joint, case.gas_pressure * factor)
            return -lacking(need, pressure, pressure * zone.line_width, zone.line_width)

        if spare(0.0) <= 0.0:
            return 0.0
        high = 1.0
        while spare(high) > 0.0:
            high *= 1.5
            if high > LARGEST_MARGIN:
                return None
        return rising_root(lambda factor: -spare(factor), 0.0, high, MARGIN_ACCURACY)
