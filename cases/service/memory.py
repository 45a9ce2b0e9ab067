"""What a joint remembers: everything that decides its next state, and nothing else."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field

import numpy as np

from headjoint.cases.service.fastener_law import Strains
from headjoint.cases.service.model import ServiceModel
from headjoint.model.base.arrays import FloatArray


@dataclass(frozen=True)
class Memory:
    """The state of a joint between steps; g interface points, f fasteners, s lengths of each, n unknowns.

    permanent_set : (g,) mm, all of it. crept : (g,) mm, the part that came with time. travel : (f,) mm that each nut
    has come down beyond first touch of an unstrained joint. plastic, axial, creep : (f, s) strains of the fasteners.
    creep_before : (f, s), creep at the latest tightening; creep_base : at the latest one that yielded the length anew.
    torsion : (f,) N.mm in the shanks. embedded, embedded_before,
    embedding_due : (f,) mm so far, at the latest tightening, and to come since it. embedding_share : how much of that
    has come. bearing_set : (f,) mm. clock : s since the latest tightening. time : s since the first. q : (n,) unknowns
    of the latest equilibrium, where the next solve starts.
    """

    permanent_set: FloatArray = field(repr=False)
    crept: FloatArray = field(repr=False)
    travel: FloatArray
    plastic: FloatArray
    axial: FloatArray
    creep: FloatArray
    creep_before: FloatArray
    creep_base: FloatArray
    torsion: FloatArray
    embedded: FloatArray
    embedded_before: FloatArray
    embedding_due: FloatArray
    embedding_share: FloatArray
    bearing_set: FloatArray
    clock: FloatArray
    time: FloatArray
    q: FloatArray = field(repr=False)

    @property
    def strains(self) -> Strains:
        """The fasteners' strains."""
        return Strains(self.plastic, self.axial, self.creep)

    @property
    def lost(self) -> FloatArray:
        """Travel (f,) in mm lost to embedding and to the face under the nut."""
        return self.embedded + self.bearing_set

    def with_strains(self, strains: Strains) -> Memory:
        """Return this with other strains of the fasteners."""
        return dataclasses.replace(self, plastic=strains.equivalent, axial=strains.axial, creep=strains.creep)


def fresh(model: ServiceModel) -> Memory:
    """Return what a joint of new parts remembers: nothing."""
    g, f, n = model.reduced.points, model.fasteners, len(model.reduced.K)
    per_length = (f, len(model.law.lengths.length))
    per_fastener = np.zeros(f)
    strain = np.zeros(per_length)
    return Memory(
        permanent_set=np.zeros(g),
        crept=np.zeros(g),
        travel=per_fastener,
        plastic=strain,
        axial=strain,
        creep=strain,
        creep_before=strain,
        creep_base=strain,
        torsion=per_fastener,
        embedded=per_fastener,
        embedded_before=per_fastener,
        embedding_due=per_fastener,
        embedding_share=np.zeros(1),
        bearing_set=per_fastener,
        clock=np.zeros(1),
        time=np.zeros(1),
        q=np.zeros(n),
    )
