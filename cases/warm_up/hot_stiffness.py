"""Stiffness by temperature without condensing at every instant.

Castings: two condensed joints, and between them linear in the head's mean temperature. Fasteners: what their material
loses in stiffness is a spring in series, delta_S (E/E(T) - 1), delta_S by VDI 2230.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field

from headjoint.cases.heat.conduction import FloatArray
from headjoint.cases.service.model import ServiceModel
from headjoint.cases.warm_up.heated_joint import Elastic, Heated
from headjoint.model.formulas.resilience import fastener_resilience, total

SMALLEST_RISE = 1.0  # K of the head's mean, below which stiffness stays that of assembly


@dataclass(frozen=True)
class HotStiffness:
    """The joint with the stiffness of assembly, and with its castings as stiff as in a hot field.

    hot : None where nothing gets hot. rise : K of the head's mean temperature between the two.
    """

    heated: Heated = field(repr=False)
    hot: Elastic | None = field(repr=False)
    rise: float

    def share(self, temperature: FloatArray) -> float:
        """Return 0 at assembly, 1 at the hot field; below 0 in the cold."""
        if self.hot is None:
            return 0.0
        joint = self.heated.model.joint
        return (self.heated.places["head mean"](temperature) - joint.assembly_temperature) / self.rise

    def model(self, temperature: FloatArray) -> ServiceModel:
        """Return the service model with the stiffness at nodal temperatures (m,)."""
        model = self.heated.model
        if self.hot is None:
            return model
        model = softened(model, self.heated.places["fastener mean"](temperature))
        share, cold, hot = self.share(temperature), model.reduced, self.hot.reduced
        loads = {name: (1.0 - share) * load + share * hot.loads[name] for name, load in cold.loads.items()}
        reduced = dataclasses.replace(cold, K=(1.0 - share) * cold.K + share * hot.K, loads=loads)
        return model.with_reduced(reduced)

    def load(self, temperature: FloatArray) -> FloatArray:
        """Return the condensed load (n,) of nodal temperatures, with the stiffness they leave."""
        cold = self.heated.cold.load(temperature)
        if self.hot is None:
            return cold
        share = self.share(temperature)
        return (1.0 - share) * cold + share * self.hot.load(temperature)


def hot_stiffness(ready: Heated, hottest: FloatArray) -> HotStiffness:
    """Return the stiffness between that of assembly and that of the `hottest` nodal temperatures (m,)."""
    rise = ready.places["head mean"](hottest) - ready.model.joint.assembly_temperature
    if rise < SMALLEST_RISE:
        return HotStiffness(ready, None, 0.0)
    return HotStiffness(ready, ready.at_temperature(hottest, False), rise)


def softened(model: ServiceModel, temperature: float) -> ServiceModel:
    """Return a service model whose fasteners are as stiff as at their mean temperature (degC)."""
    joint = model.joint
    E = joint.fastener.material.E
    # thread teeth belong to the parts round them; the rest of delta_S is the fastener's own
    own = total(fastener_resilience(joint)) - joint.fastener.series_compliance
    more = own * (E.at(joint.assembly_temperature) / E.at(temperature) - 1.0)
    return dataclasses.replace(model, law=dataclasses.replace(model.law, compliance=model.law.compliance + more))


def exact_model(ready: Heated, temperature: FloatArray) -> tuple[ServiceModel, FloatArray]:
    """Return the service model condensed anew at nodal temperatures, and their load."""
    elastic = ready.at_temperature(temperature, True)
    return ready.model.with_reduced(elastic.reduced), elastic.load(temperature)
