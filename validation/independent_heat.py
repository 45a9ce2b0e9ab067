"""A shipped joint heated and cooled again by other means: elements of FElupe, time integration of SciPy.

Both sides read the same joint file and begin with the same quadrilaterals. All else is other: four-node elements, every
one of the mesh split in four, instead of eight-node ones; capacity lumped at the nodes instead of consistent;
backward differentiation of order one to five (`solve_ivp`) instead of TR-BDF2; films, faces in contact and the gap
round the shank found by where outer edges lie and face, from the dimensions of the joint, instead of the mesh's lists;
properties, and what surrounds the joint, by `numpy.interp`; places read by their edges and volumes.

Not looked at here: how gasket and bearing faces conduct by pressure. Both sides take conductances that nothing changes,
for pressure would bring in mechanics. Materials and the time tables of the duty are data that both share.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from types import ModuleType

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.integrate import solve_ivp
from scipy.sparse.csgraph import connected_components

from headjoint.cases.heat.transient import transient
from headjoint.cases.warm_up.warm_up import WarmUp, warm_up
from headjoint.meshes.one_fastener.joint_mesh import JointMesh
from headjoint.meshes.one_fastener.single_stud import build
from headjoint.model.base.errors import SolveError
from headjoint.model.base.time_table import TimeTable
from headjoint.model.joint import Joint
from headjoint.model.library.materials import Material
from headjoint.model.reading.reading import parse_joint
from validation.check import Check
from validation.independent_cell import felupe
from validation.joints import joint_files

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
Reader = Callable[[FloatArray], float]
JOINT = "boosted-four-steel"
CONDUCTANCES = '\n[heat]\ngasket_conductance = "4000 W/m2K"\nbearing_conductance = "20000 W/m2K"\n'
SPLIT = 2
RELATIVE, ABSOLUTE = 1e-6, 1e-5  # error of each step by solve_ivp, the latter in K
IN_TIME = 0.02  # K, error in time of headjoint where the two are held against each other most closely
MOMENTS = 5  # looked at from one breakpoint of the duty to the next
CLOSE, ROUGH = 5e-4, 0.01
MESH = "either mesh's own error; that of the four-node elements falls by four where they are halved"
BY_COMMAND = "a warm-up allows itself 1 K of error in time"
HOTTEST = "hottest of the head"
SAME_PLACE = 1e-6  # mm
METRES = 1e-3  # W/(m K) in W/(mm K)
CUBIC_METRES = 1e-9  # J/(m3 K) in J/(mm3 K)


def checks() -> list[Check]:
    fem = felupe()
    joint = parse_joint(joint_files()[JOINT].read_text("utf-8") + CONDUCTANCES, file=JOINT)
    source = f"FElupe {fem.__version__} and SciPy's BDF (validation/independent_heat.py)"
    return compared(source, warm_up(joint), OtherHeat(fem, joint, build(joint), SPLIT))


def compared(source: str, warmed: WarmUp, other: OtherHeat) -> list[Check]:
    """Return the checks of every place at the instant of its greatest difference, and of what the films brought.

    First of heat alone, with little error in time, then of a warm-up as the command runs it.
    """
    duty, ready = warmed.duty, warmed.march.heated
    breakpoints = other.breakpoints()
    times = np.unique([np.linspace(*ends, MOMENTS) for ends in zip(breakpoints, breakpoints[1:], strict=False)])
    instants = warmed.instants
    found = other.run([*times, *(one.time for one in instants)])
    problem = ready.problem(duty, warmed.checkpoints[0].rest)
    own = transient(problem, duty.start_temperature, duty.duration, IN_TIME, output_times=times)
    checked = []

    def check(name: str, read: Reader, at: Sequence[float], here: Sequence[float], tolerance: float, why: str) -> None:
        there = [read(found[time].temperature) for time in at]
        worst = int(np.abs(np.subtract(here, there)).argmax())
        rise = max(there) - duty.start_temperature
        quantity = f"{name} at {at[worst]:.0f} s, against its rise of {rise:.0f} K"
        checked.append(Check(quantity, source, there[worst], here[worst], tolerance, "degC", why, scale=rise))

    for name, read in other.places().items():
        own_read = ready.hottest["head"] if name == HOTTEST else ready.places[name]
        check(name, read, times, [own_read(own.at(time)) for time in times], CLOSE, MESH)
    end = found[duty.duration].brought
    for name, there in end.items():
        here = own.balance.supplied[name]
        quantity = f"heat from {name} until {duty.duration:.0f} s"
        checked.append(Check(quantity, source, there / 1e3, here / 1e3, CLOSE, "kJ", MESH))
    for name, read in other.places().items():
        here = [one.hottest["head"] if name == HOTTEST else one.temperatures[name] for one in instants]
        check(f"warm-up: {name}", read, [one.time for one in instants], here, ROUGH, BY_COMMAND)
    return checked


@dataclass(frozen=True)
class Edges:
    """Points of outer edges, or of pairs of them.

    evaluate : (g, n) temperature, or difference of temperature, from nodal ones. area : (g,) mm2 of the ring that each
    stands for. places, normals : (2, g). part : (g,) the part they belong to.
    """

    evaluate: sp.csr_matrix = field(repr=False)
    area: FloatArray = field(repr=False)
    places: FloatArray = field(repr=False)
    normals: FloatArray = field(repr=False)
    part: IntArray = field(repr=False)

    def some(self, chosen: NDArray) -> Edges:
        """Return some of the points, by numbers or by a mask."""
        return Edges(
            self.evaluate[chosen],
            self.area[chosen],
            self.places[:, chosen],
            self.normals[:, chosen],
            self.part[chosen],
        )

    def mean(self, temperature: FloatArray) -> float:
        """Return the mean over the area."""
        return float(self.area @ (self.evaluate @ temperature) / self.area.sum())


@dataclass(frozen=True)
class Surroundings:
    """A film: coefficient and temperature, each (times s, values W/(mm2 K) or degC)."""

    edges: Edges = field(repr=False)
    coefficient: tuple[FloatArray, FloatArray]
    temperature: tuple[FloatArray, FloatArray]

    def at(self, time: float) -> tuple[float, float]:
        """Return coefficient and temperature at a time (s)."""
        return float(np.interp(time, *self.coefficient)), float(np.interp(time, *self.temperature))


@dataclass(frozen=True)
class Reached:
    """Nodal temperatures (n,) degC, and J that every film brought since the start, by name."""

    temperature: FloatArray = field(repr=False)
    brought: dict[str, float]


class OtherHeat:
    """The joint as FElupe sees it, every element of the mesh split in `split` by `split`."""

    def __init__(self, fem: ModuleType, joint: Joint, mesh: JointMesh, split: int) -> None:
        self.joint, self.parts = joint, mesh.parts
        points, cells, self.part = _split(mesh, split)
        self.mesh = fem.Mesh(points.T, cells.T, "quad")
        self.n = self.mesh.npoints
        self._inside(fem.RegionQuad(self.mesh))
        self.outer = self._outer(fem)
        self.contacts, joined = self._contacts()
        self.films = self._films(joined)
        self.exchange = sum(
            (one.evaluate.T @ sp.diags(one.area * h) @ one.evaluate for one, h in self.contacts.values()),
            start=sp.csr_matrix((self.n, self.n)),
        )

    # -- elements -----------------------------------------------------------------------------------------

    def _inside(self, region: object) -> None:
        """Keep gradients, values, and volumes of the Gauss points, and the volume of every part at every node."""
        shape, cells = region.dV.shape, self.mesh.cells
        self.values = _rows(cells, np.broadcast_to(region.h, (4, *shape)), self.n)
        self.gradients = [_rows(cells, region.dhdX[:, axis], self.n) for axis in (0, 1)]
        radius = (self.values @ self.mesh.points[:, 0]).reshape(shape)
        volume = 2.0 * np.pi * radius * region.dV
        self.volume = volume.ravel()
        of_part = np.broadcast_to(self.part, shape).ravel()
        self.numbers = {int(number): np.flatnonzero(of_part == number) for number in np.unique(self.part)}
        # a node stands for the volume that its shape function fills
        self.shares = {number: self.values[points].T @ self.volume[points] for number, points in self.numbers.items()}

    def _outer(self, fem: ModuleType) -> Edges:
        """Return the points of all edges that belong to one element alone."""
        region = fem.RegionQuadBoundary(self.mesh)
        shape, cells = region.dV.shape, region.mesh.cells
        evaluate = _rows(cells, np.broadcast_to(region.h, (4, *shape)), self.n)
        places = (evaluate @ self.mesh.points).T
        owner = {tuple(sorted(cell)): part for cell, part in zip(self.mesh.cells.tolist(), self.part, strict=True)}
        part = np.array([owner[tuple(sorted(cell))] for cell in cells.tolist()])
        area = 2.0 * np.pi * places[0] * region.dV.ravel()
        return Edges(evaluate, area, places, region.normals.reshape(2, -1), np.broadcast_to(part, shape).ravel())

    # -- what touches what --------------------------------------------------------------------------------

    def _contacts(self) -> tuple[dict[str, tuple[Edges, FloatArray | float]], IntArray]:
        """Return pairs of edges that pass heat to each other, with their conductance, and all points of them."""
        joint, outer = self.joint, self.outer
        (r, z), (n_r, n_z) = outer.places, outer.normals
        up, down, out, back = n_z > 0.5, n_z < -0.5, n_r > 0.5, n_r < -0.5
        found: dict[str, tuple[Edges, FloatArray | float]] = {}
        joined: list[IntArray] = []

        def pair(name: str, own: NDArray, other: NDArray, along: int, conductance: object) -> None:
            """Pair points of one side with those of another that lie at the same r (0) or z (1)."""
            first, second = _opposite(outer.places[along], np.flatnonzero(own), np.flatnonzero(other))
            one, two = outer.some(first), outer.some(second)
            across = Edges(one.evaluate - two.evaluate, one.area, one.places, one.normals, one.part)
            found[name] = across, conductance(one.places[0], two.places[0]) if callable(conductance) else conductance
            joined.extend([first, second])

        for zone in joint.gasket.zones:
            ring = (2.0 * r > zone.inner_diameter) & (2.0 * r < zone.outer_diameter)
            deck, head = up & ring & _near(z, 0.0), down & ring & _near(z, joint.gasket.thickness)
            pair(zone.name, deck, head, 0, joint.heat.gasket_contact)
        top = joint.gasket.thickness + joint.head.height
        for name, height in (("washer on head", top), ("nut on washer", top + joint.washer.thickness)):
            pair(name, up & _near(z, height), down & _near(z, height), 0, joint.heat.bearing_contact)
        shank = outer.part == self.parts.index("fastener")
        air = joint.heat.shank_gap
        pair("gap", shank & out, ~shank & back, 1, lambda r_s, r_h: air / (r_s * np.log(r_h / r_s)))
        return found, np.concatenate(joined)

    def _films(self, joined: IntArray) -> dict[str, Surroundings]:
        joint, duty = self.joint, self.joint.heat
        (r, z), (n_r, n_z) = self.outer.places, self.outer.normals
        top = joint.gasket.thickness + joint.head.height
        # air does not get under the nut, to the bore of the washer and the shank in it
        under_nut = (2.0 * r < joint.seat.bearing_outer_diameter) & (z < top + joint.washer.thickness + SAME_PLACE)
        free = ~np.isin(np.arange(len(r)), joined) & ~under_nut
        gas = (n_z < -0.5) & _near(z, joint.gasket.thickness) & (2.0 * r > joint.gas.inner_diameter)
        gas &= 2.0 * r < joint.gas.outer_diameter
        outside = np.where(z > 0.0, joint.head.outer_diameter, joint.block.outer_diameter)
        wet = (n_r > 0.5) & _near(2.0 * r, outside) & (z < top)
        return {
            "gas": Surroundings(self.outer.some(free & gas), _table(duty.gas_film), _table(duty.gas_temperature)),
            "coolant": Surroundings(
                self.outer.some(free & wet), _table(duty.coolant_film), _table(duty.coolant_temperature)
            ),
            "ambient": Surroundings(
                self.outer.some(free & (z > top - SAME_PLACE)),
                _table(duty.ambient_film),
                _table(duty.ambient_temperature),
            ),
        }

    # -- in time ------------------------------------------------------------------------------------------

    def _material(self, number: int) -> Material:
        return self.joint.part_material(self.parts[number])

    def capacity(self, temperature: FloatArray) -> FloatArray:
        """Return J/K (n,) at the nodes."""
        total = np.zeros(self.n)
        for number, share in self.shares.items():
            own = self._material(number)
            per_kelvin = np.interp(temperature, own.heat_capacity.temperatures, own.heat_capacity.values)
            total += CUBIC_METRES * own.density * per_kelvin * share
        return total

    def conductivity(self, temperature: FloatArray) -> FloatArray:
        """Return conductivity times volume at the Gauss points."""
        at_points = self.values @ temperature
        found = np.empty_like(at_points)
        for number, points in self.numbers.items():
            table = self._material(number).conductivity
            found[points] = METRES * np.interp(at_points[points], table.temperatures, table.values)
        return found * self.volume

    def rates(self, time: float, y: FloatArray) -> FloatArray:
        """Return K/s of all nodes, then W through all films."""
        T = y[: self.n]
        factor = self.conductivity(T)
        into = -self.exchange @ T
        for gradient in self.gradients:
            into -= gradient.T @ (factor * (gradient @ T))
        through = []
        for film in self.films.values():
            h, around = film.at(time)
            heat = h * film.edges.area * (around - film.edges.evaluate @ T)
            into += film.edges.evaluate.T @ heat
            through.append(heat.sum())
        return np.concatenate([into / self.capacity(T), through])

    def jacobian(self, time: float, y: FloatArray) -> sp.csc_matrix:
        """Return what `rates` changes by, but for changes of conductivity and capacity."""
        T = y[: self.n]
        factor = sp.diags(self.conductivity(T))
        matrix = -self.exchange - sum(gradient.T @ factor @ gradient for gradient in self.gradients)
        for film in self.films.values():
            h, _ = film.at(time)
            exchange = sp.diags(h * film.edges.area) @ film.edges.evaluate
            matrix = matrix - film.edges.evaluate.T @ exchange
        heats = sp.csr_matrix((len(self.films), len(self.films)))
        return sp.block_diag([sp.diags(1.0 / self.capacity(T)) @ matrix, heats], format="csc")

    def breakpoints(self) -> list[float]:
        """Return the breakpoints (s) of all films, from the start to the end of the duty."""
        tables = [table for film in self.films.values() for table in (film.coefficient, film.temperature)]
        end = self.joint.heat.duration
        return [
            float(time) for time in np.unique([0.0, end, *(time for at, _ in tables for time in at)]) if time <= end
        ]

    def run(self, times: Sequence[float]) -> dict[float, Reached]:
        """Return what is reached at times (s) and at all breakpoints, at each of which the integration starts anew."""
        brought = np.zeros(len(self.films))
        y = np.concatenate([np.full(self.n, self.joint.heat.start_temperature), brought])
        allowed = np.concatenate([np.full(self.n, ABSOLUTE), np.ones_like(brought)])
        breakpoints = self.breakpoints()
        found = {0.0: y}
        for begin, end in zip(breakpoints, breakpoints[1:], strict=False):
            at = np.unique([time for time in times if begin < time < end] + [end])
            done = solve_ivp(self.rates, (begin, end), y, "BDF", at, rtol=RELATIVE, atol=allowed, jac=self.jacobian)
            if not done.success:
                raise SolveError(f"solve_ivp from {begin:g} to {end:g} s: {done.message}")
            y = done.y[:, -1]
            found |= dict(zip(at.tolist(), done.y.T, strict=True))
        return {
            time: Reached(y[: self.n], dict(zip(self.films, y[self.n :], strict=True))) for time, y in found.items()
        }

    def places(self) -> dict[str, Reader]:
        """Return how to read named temperatures from nodal ones."""
        joint, outer = self.joint, self.outer
        (r, z), (_, n_z) = outer.places, outer.normals
        deck, head = (n_z > 0.5) & _near(z, 0.0), (n_z < -0.5) & _near(z, joint.gasket.thickness)
        zones, line = joint.gasket.zones, joint.gasket.sealing_zone
        covered, sealing = (
            (2.0 * r > min(zone.inner_diameter for zone in some))
            & (2.0 * r < max(zone.outer_diameter for zone in some))
            for some in (zones, [line])
        )
        rings = {
            "chamber face": self.films["gas"].edges,
            "block deck at the gasket": outer.some(deck & sealing),
            "sealing line": outer.some((deck | head) & sealing),
            "gasket mean": outer.some((deck | head) & covered),
        }
        readers: dict[str, Reader] = {name: edges.mean for name, edges in rings.items()}
        for number, share in self.shares.items():
            readers[f"{self.parts[number]} mean"] = lambda T, share=share: float(share @ T / share.sum())
        of_head = self.shares[self.parts.index("head")] != 0.0
        readers[HOTTEST] = lambda T: float(T[of_head].max())
        return readers


def _table(given: TimeTable) -> tuple[FloatArray, FloatArray]:
    return np.array(given.times), np.array(given.values)


def _near(x: FloatArray, place: FloatArray | float) -> NDArray:
    return np.abs(x - place) < SAME_PLACE


def _opposite(along: FloatArray, own: IntArray, other: IntArray) -> tuple[IntArray, IntArray]:
    """Return numbers of points of two sides that lie at the same coordinate, pair by pair."""
    ordered = other[np.argsort(along[other])]
    at = np.clip(np.searchsorted(along[ordered], along[own] - SAME_PLACE), 0, len(ordered) - 1)
    met = _near(along[own], along[ordered[at]])
    return own[met], ordered[at[met]]


def _rows(cells: IntArray, functions: FloatArray, n: int) -> sp.csr_matrix:
    """Return the matrix (q m, n) of functions (k, q, m) of the k nodes of m elements at q points."""
    k, q, m = functions.shape
    columns = np.broadcast_to(cells.T[:, None, :], (k, q, m))
    rows = np.broadcast_to(np.arange(q * m).reshape(q, m), (k, q, m))
    return sp.csr_matrix((functions.ravel(), (rows.ravel(), columns.ravel())), shape=(q * m, n))


def _split(mesh: JointMesh, split: int) -> tuple[FloatArray, IntArray, IntArray]:
    """Return points (2, n), quadrilaterals (4, m) and parts (m,), each element of the mesh split in split x split."""
    corners = mesh.mesh.t
    pairs = np.vstack([corners[[0, 1]].T, corners[[1, 2]].T, corners[[2, 3]].T])
    links = sp.coo_matrix((np.ones(len(pairs)), pairs.T), shape=(mesh.mesh.p.shape[1],) * 2)
    body = connected_components(links, directed=False)[1][corners[0]]
    s = np.linspace(0.0, 1.0, split + 1)
    a, b = (grid.ravel() for grid in np.meshgrid(s, s, indexing="ij"))
    weights = np.stack([(1 - a) * (1 - b), a * (1 - b), a * b, (1 - a) * b])
    places = np.einsum("dkm,kg->dmg", mesh.mesh.p[:, corners], weights)
    # points of one body at one place are one; those of bodies that touch are not
    keys = np.concatenate([np.round(places / SAME_PLACE), np.broadcast_to(body[:, None], places.shape[1:])[None]])
    _, first, number = np.unique(keys.reshape(3, -1), axis=1, return_index=True, return_inverse=True)
    number = number.reshape(places.shape[1:])
    grid = np.arange((split + 1) ** 2).reshape(split + 1, split + 1)
    local = np.stack([grid[:-1, :-1], grid[1:, :-1], grid[1:, 1:], grid[:-1, 1:]]).reshape(4, -1)
    cells = number[:, local].transpose(1, 0, 2).reshape(4, -1)
    return places.reshape(2, -1)[:, first], cells, np.repeat(mesh.part, split * split)
