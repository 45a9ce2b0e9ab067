"""A row as it was found: what odd studs, hot bores, damage and hollows change of the interfaces and loads of a row.

None of it touches the condensed tile: a stud in series, a load of one bore's own four copies, another law at some
interface points, a gap that closes first.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Self

import numpy as np
from numpy.typing import NDArray

from headjoint.cases.condensed.interface_laws import PointGroup
from headjoint.cases.condensed.reduced_joint import ReducedJoint
from headjoint.cases.models.condensed import BoreCell
from headjoint.cases.whole_head.numbering import hot_name
from headjoint.model.base.arrays import FloatArray, IntArray
from headjoint.model.base.errors import InputError
from headjoint.model.cell import Bank, Cell
from headjoint.model.formulas.resilience import bar
from headjoint.model.load_case import LoadCase
from headjoint.model.row import Damage, Hollow, OddBore

# unit loads of a part that is stated to be hotter; studs and what stands on them stay as they are
FOLLOWS = {"head": ("head",), "block": ("block", "liner")}


@dataclass(frozen=True)
class HeadModel(BoreCell):
    """A row of bores, condensed, that knows what is odd in it. warm : reduced where a hot bore is hot, else None."""

    warm: ReducedJoint | None = field(default=None, repr=False, kw_only=True)

    def firing(self, bore: int | None) -> Self:
        """Return the model in which one bore alone fires, or none."""
        return replace(self, cell=replace(self.cell, fired=() if bore is None else (bore,)))

    def factors(self, case: LoadCase, gas_factor: float = 1.0) -> dict[str, float]:
        """Return the factor of every unit load; that of a hot bore's parts is what they strain beyond the others."""
        factors = super().factors(case, gas_factor)
        if not self.is_warm(case):
            return factors
        reference = self.joint.assembly_temperature
        for bore in self.cell.row.bores:
            for stated, rise in bore.hotter.items():
                for part in FOLLOWS.get(stated, ()):
                    if part in factors:
                        at = case.temperatures["block" if part == "liner" else part]
                        own = self.cell.part_material(part)
                        more = own.free_strain(at + rise, reference) - own.free_strain(at, reference)
                        factors[hot_name(part, bore.number)] = more
        return factors

    def under(self, case: LoadCase) -> Self:
        """Return the model with the laws of a hot bore's gasket where it is hot."""
        if self.warm is None or not self.is_warm(case):
            return self
        return replace(self, reduced=self.warm)

    def is_warm(self, case: LoadCase) -> bool:
        """Whether a bore that is hotter is so in a load case: where the head is warmer than at assembly."""
        return case.temperatures["head"] > self.joint.assembly_temperature

    @property
    def slack(self) -> NDArray[np.bool_]:
        """Which studs (f,) carry nothing."""
        found = np.zeros(len(self.reduced.overlaps), dtype=bool)
        found[[one.number for one in self.cell.row.studs if one.slack]] = True
        return found

    @property
    def preload_shares(self) -> FloatArray:
        """The preload (f,) of every stud over that of most; 0 of one that is slack."""
        shares = np.where(self.slack, 0.0, 1.0)
        for one in self.cell.row.studs:
            shares[one.number] *= one.preload
        return shares

    def drawn_in(self, case: LoadCase) -> FloatArray:
        """Return by how much (f,) mm heat tightens longer studs: what the block about their longer part grows more."""
        reference, found = self.joint.assembly_temperature, np.zeros(len(self.reduced.overlaps))
        strain = {
            part: self.cell.part_material(part).free_strain(case.temperatures[part], reference)
            for part in ("block", "fastener")
        }
        for one in self.cell.row.studs:
            found[one.number] = one.longer * (strain["block"] - strain["fastener"])
        return found


def hot_loads(cell: Cell) -> list[str]:
    """Return the names of the unit loads of parts in one bore alone."""
    bores = cell.row.bores
    return [hot_name(part, one.number) for one in bores for stated in one.hotter for part in FOLLOWS.get(stated, ())]


def as_found(model: HeadModel) -> HeadModel:
    """Return a model with the studs' own resilience, and with laws, clearances and hollows where they are.

    Raises InputError for damage where the mesh has no point of its zone.
    """
    cell, reduced, points = model.cell, model.reduced, model.points
    assert isinstance(cell.layout, Bank)
    compliance = reduced.series_compliance.copy()
    for one in cell.row.studs:
        E = cell.joint.fastener.material.E.at(cell.joint.assembly_temperature)
        compliance[one.number] += bar(one.longer, E, np.pi / 4.0 * cell.shank_diameter**2)
    _check_damage(cell, points.groups, points.places)
    groups = [part for group in points.groups for part in _damaged(group, cell, points.places)]
    gap = hollow_gap(cell.row.hollows, cell.layout.pitch, points.places)
    groups = [_sunk(group, gap) if group.kind == "gasket" else group for group in groups]
    warm = [part for group in groups for part in _heated(group, cell, points.places)]
    cold = replace(reduced, groups=tuple(groups), series_compliance=compliance)
    hot = None if not any(one.hotter for one in cell.row.bores) else replace(cold, groups=tuple(warm))
    return replace(model, reduced=cold, points=replace(points, groups=tuple(groups)), warm=hot)


def hollow_gap(hollows: Sequence[Hollow], pitch: float, places: FloatArray) -> FloatArray:
    """Return by how much (mm) faces stand apart at places (2, g) where both are flat elsewhere.

    depth cos^2(pi dx / pitch) cos^2(pi y / width), dx from the middle between the two bores.
    """
    gap = np.zeros(places.shape[1])
    for one in hollows:
        along, across = (places[0] - (one.after + 0.5) * pitch) / pitch, places[1] / one.width
        inside = (np.abs(along) < 0.5) & (np.abs(across) < 0.5)
        gap += np.where(inside, one.depth * np.cos(np.pi * along) ** 2 * np.cos(np.pi * across) ** 2, 0.0)
    return gap


def _check_damage(cell: Cell, groups: Sequence[PointGroup], places: FloatArray) -> None:
    """Refuse damage that covers no point: it would change nothing, and nobody would know."""
    for index, bore in enumerate(cell.row.bores):
        for number, damage in enumerate(bore.damage):
            own = [group.points for group in groups if _is_of(group, damage.zone)]
            if not any(_covered(damage, bore, cell, places[:, at]).any() for at in own):
                start, end = np.degrees([damage.start, damage.end])
                raise InputError(
                    f"no point of the mesh lies in {damage.zone} at bore {bore.number + 1} from {start:.4g} to "
                    f"{end:.4g} deg; give it a longer arc, or the mesh smaller elements",
                    field=f"row.bores[{index}].damage[{number}]",
                )


def _is_of(group: PointGroup, zone: str) -> bool:
    """Return whether points are of a gasket zone, on the liner or beside it."""
    return group.kind == "gasket" and group.name in (zone, f"{zone} on liner")


def _covered(damage: Damage, bore: OddBore, cell: Cell, places: FloatArray) -> NDArray[np.bool_]:
    """Return which places (2, k) lie where a bore is damaged."""
    return _at_bore(bore, cell, places) & _between(damage.start, damage.end, bore, cell, places)


def _damaged(group: PointGroup, cell: Cell, places: FloatArray) -> Iterator[PointGroup]:
    """Yield the parts of a zone's points; the first damage that covers a place counts there."""
    zone = next((one for one in cell.zones if _is_of(group, one.name)), None)
    if zone is not None:
        for bore in cell.row.bores:
            for number, damage in enumerate(bore.damage):
                if damage.zone != zone.name:
                    continue
                there = _covered(damage, bore, cell, places[:, group.points])
                step = group.step if damage.step is None else group.step + (damage.step - zone.step)
                name = f"{group.name}, damage {number + 1} at bore {bore.number + 1}"
                if there.any():
                    yield replace(group, name=name, points=group.points[there], law=damage.law, step=step)
                group = replace(group, points=group.points[~there])
    if len(group.points):
        yield group


def _heated(group: PointGroup, cell: Cell, places: FloatArray) -> Iterator[PointGroup]:
    """Yield the parts of a zone's points at hot bores, and what is left of it."""
    for bore in cell.row.bores if group.kind == "gasket" else ():
        there = _at_bore(bore, cell, places[:, group.points])
        if bore.hotter.get("gasket") and there.any():
            name = f"{group.name}, at hot bore {bore.number + 1}"
            yield replace(_part(group, there), name=name, hotter=bore.hotter["gasket"])
            group = _part(group, ~there)
    if len(group.points):
        yield group


def _part(group: PointGroup, which: NDArray[np.bool_]) -> PointGroup:
    step = group.step if np.ndim(group.step) == 0 else np.asarray(group.step)[which]
    return replace(group, points=group.points[which], step=step)


def _sunk(group: PointGroup, gap: FloatArray) -> PointGroup:
    own = gap[group.points]
    return replace(group, step=group.step + own) if own.any() else group


def _at_bore(bore: OddBore, cell: Cell, places: FloatArray) -> NDArray[np.bool_]:
    """Return which places (2, k) are nearest to a bore."""
    nearest: IntArray = np.argmin([np.abs(places[0] - x) for x, _ in cell.bore_centres], axis=0)
    return nearest == bore.number


def _between(start: float, end: float, bore: OddBore, cell: Cell, places: FloatArray) -> NDArray[np.bool_]:
    """Return which places (2, k) lie between two angles (rad) round a bore, anticlockwise from the first."""
    if end - start >= 2.0 * np.pi - 1e-6:
        return np.ones(places.shape[1], dtype=bool)
    x, y = cell.bore_centres[bore.number]
    turned = (np.arctan2(places[1] - y, places[0] - x) - start) % (2.0 * np.pi)
    return turned <= (end - start) % (2.0 * np.pi) + 1e-9
