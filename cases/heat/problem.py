"""Heat problems: films, contacts, prescribed temperatures and loads on a `HeatBody`; the steady state and its balance.

Units: mm, s, W, J, degC; `model.heat.transfer` turns what is stated per metre into them.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import scipy.sparse as sp
from scipy.sparse.csgraph import connected_components

from headjoint.cases.elements.linear_solver import Factorization
from headjoint.cases.heat.conduction import FloatArray, HeatBody, IntArray
from headjoint.cases.heat.surfaces import SurfacePoints
from headjoint.model.base.errors import InputError, SolveError
from headjoint.model.base.time_table import TimeTable

InTime = float | FloatArray | TimeTable | Callable[[float], "float | FloatArray"]

BALANCE = 1e-6  # relative error of the energy balance above which no figure may be taken
STEADY_ITERATIONS = 80
SLOW = 0.3  # an iteration that shrinks the correction less than to this share gets a new matrix
ROUNDING = 2e-13  # of the gross flows at a node, what rounding leaves of their sum


def at_time(value: InTime, time: float) -> float | FloatArray:
    """Return a quantity at a time (s): a number, one number per point, or what a table or function gives."""
    return value(time) if callable(value) else value


def coefficient_at(value: InTime, time: float, name: str) -> float | FloatArray:
    """Return a film coefficient or conductance at a time; InputError when negative or not a number."""
    coefficient = at_time(value, time)
    if not np.all(np.asarray(coefficient) >= 0.0):
        raise InputError("must be 0 or more", field=name, value=float(np.min(coefficient)))
    return coefficient


def _check_coefficient(value: InTime, name: str) -> None:
    """Refuse at once what can be seen to be negative; functions are looked at when they are evaluated."""
    if isinstance(value, TimeTable):
        coefficient_at(np.array(value.values), 0.0, name)
    elif not callable(value):
        coefficient_at(value, 0.0, name)


@dataclass(frozen=True)
class Film:
    """Heat exchange h (T_ambient - T) over a surface: coefficient W/(mm2 K), ambient degC; numbers, one per point,
    `TimeTable`s, or continuous functions of time. InputError when the coefficient is negative.
    """

    surface: SurfacePoints
    coefficient: InTime
    ambient: InTime
    name: str = "film"

    def __post_init__(self) -> None:
        _check_coefficient(self.coefficient, f"{self.name}.coefficient")


@dataclass(frozen=True)
class Contact:
    """Conductance W/(mm2 K) between two faces, 0 where they stand open; InputError when negative.

    surface : from `surfaces.contact` or `pair_contact`. To let pressure change it between steps of a service,
    put a new contact into the problem with `dataclasses.replace`.
    """

    surface: SurfacePoints
    conductance: InTime
    name: str = "contact"

    def __post_init__(self) -> None:
        _check_coefficient(self.conductance, f"{self.name}.conductance")


@dataclass(frozen=True)
class Prescribed:
    """Nodes held at a temperature (degC), one number, one per node, or in time."""

    nodes: IntArray
    temperature: InTime
    name: str = "prescribed"


@dataclass(frozen=True)
class Flux:
    """Heat flux W/mm2 into the body over a surface, one number, one per point, or in time."""

    surface: SurfacePoints
    density: InTime
    name: str = "flux"


@dataclass(frozen=True)
class HeatSource:
    """Heat set free in elements: density (m,) W/mm3 times a factor in time."""

    density: FloatArray
    factor: InTime = 1.0
    name: str = "source"


@dataclass(frozen=True)
class HeatProblem:
    """A body and all that heat passes through it."""

    body: HeatBody
    films: tuple[Film, ...] = ()
    contacts: tuple[Contact, ...] = ()
    prescribed: tuple[Prescribed, ...] = ()
    fluxes: tuple[Flux, ...] = ()
    sources: tuple[HeatSource, ...] = ()
    held: IntArray = field(init=False, repr=False)
    free: IntArray = field(init=False, repr=False)

    def __post_init__(self) -> None:
        nodes = [np.asarray(one.nodes, dtype=np.int64) for one in self.prescribed]
        held = np.unique(np.concatenate(nodes)) if nodes else np.empty(0, dtype=np.int64)
        object.__setattr__(self, "held", held)
        object.__setattr__(self, "free", np.setdiff1d(np.arange(self.body.count), held))

    @property
    def names(self) -> tuple[str, ...]:
        """Names of all that brings heat in or takes it out, in the order of `Flows.supplied`."""
        bringing: tuple[Film | Flux | HeatSource, ...] = (*self.films, *self.fluxes, *self.sources)
        return tuple(each.name for each in bringing)

    def breakpoints(self) -> tuple[float, ...]:
        """Return the breakpoints (s) of all tables."""
        given: list[InTime] = [one.conductance for one in self.contacts]
        given += [value for one in self.films for value in (one.coefficient, one.ambient)]
        given += [one.temperature for one in self.prescribed] + [one.density for one in self.fluxes]
        given += [one.factor for one in self.sources]
        return tuple(sorted({time for value in given if isinstance(value, TimeTable) for time in value.times}))

    def impose(self, temperature: FloatArray, time: float) -> FloatArray:
        """Return nodal temperatures with the prescribed ones put in."""
        imposed = temperature.copy()
        for held in self.prescribed:
            imposed[held.nodes] = at_time(held.temperature, time)
        return imposed

    def flows(self, temperature: FloatArray, time: float) -> Flows:
        """Return the net heat into every node at nodal temperatures and a time, and what each film and load brings."""
        into = -self.body.conduction(temperature)
        supplied = []
        for film in self.films:
            h = coefficient_at(film.coefficient, time, f"{film.name}.coefficient")
            density = h * (at_time(film.ambient, time) - film.surface.evaluate @ temperature)
            load = film.surface.load(density)
            supplied.append(float(film.surface.weight @ density))
            into += load
        for contact in self.contacts:
            h = coefficient_at(contact.conductance, time, f"{contact.name}.conductance")
            into -= contact.surface.load(h * (contact.surface.evaluate @ temperature))
        for flux in self.fluxes:
            density = at_time(flux.density, time)
            supplied.append(float(np.sum(flux.surface.weight * density)))
            into += flux.surface.load(density)
        for source in self.sources:
            load = self.body.source(source.density) * at_time(source.factor, time)
            supplied.append(float(load.sum()))
            into += load
        return Flows(into, np.array(supplied))

    def exchange(self, time: float) -> sp.csr_matrix:
        """Return the matrix (n, n) in W/K of films and contacts at a time."""
        total = sp.csr_matrix((self.body.count, self.body.count))
        for film in self.films:
            total = total + film.surface.exchange_matrix(coefficient_at(film.coefficient, time, film.name))
        for contact in self.contacts:
            total = total + contact.surface.exchange_matrix(coefficient_at(contact.conductance, time, contact.name))
        return total


@dataclass(frozen=True)
class Flows:
    """Heat flows: into (n,) W net into each node; supplied: W brought in by each film, flux and source."""

    into: FloatArray = field(repr=False)
    supplied: FloatArray


@dataclass(frozen=True)
class EnergyBalance:
    """What came in and what is stored, in J over a transient, in W in a steady state; negative leaves the body.

    supplied : by name of film, flux or source. through_prescribed : through nodes held at a temperature, from the
    balance of those nodes. stored : change of heat content. gross : what the error is measured against.
    """

    supplied: dict[str, float]
    through_prescribed: float
    stored: float
    gross: float

    @property
    def error(self) -> float:
        """Relative difference of what is stored and what came in."""
        return abs(sum(self.supplied.values()) + self.through_prescribed - self.stored) / self.gross

    def check(self) -> None:
        """Raise SolveError when energy is not kept."""
        if not self.error < BALANCE:
            raise SolveError(f"energy is not kept: the balance is {self.error:.1e} off (allowed {BALANCE:g})")


def named_sums(names: tuple[str, ...], values: FloatArray) -> dict[str, float]:
    """Return the sum of values by name; a name may come more than once."""
    sums: dict[str, float] = {}
    for name, value in zip(names, values, strict=True):
        sums[name] = sums.get(name, 0.0) + float(value)
    return sums


@dataclass(frozen=True)
class SteadyState:
    """Nodal temperatures (n,) degC of a steady state, its balance in W, and how it was found."""

    temperature: FloatArray = field(repr=False)
    balance: EnergyBalance
    iterations: int
    factorisations: int


def steady(problem: HeatProblem, time: float = 0.0, start: float | FloatArray = 20.0) -> SteadyState:
    """Return the steady state under what films and loads are at a time (s).

    Iterates with the matrix of an earlier temperature (Picard), renewed when that gets slow, until what is left of
    the flows at every node is rounding. Raises SolveError when it does not converge, when the balance is off, or when
    nothing fixes the temperature of a part.
    """
    body, free = problem.body, problem.free
    T = problem.impose(np.broadcast_to(np.asarray(start, dtype=float), (body.count,)), time)
    exchange = problem.exchange(time)
    matrix = (body.conductivity_matrix(T) + exchange).tocsr()
    _check_fixed(problem, matrix, time)
    flows = problem.flows(T, time)
    size, loads = abs(matrix), float(np.abs(flows.into[free] + (matrix @ T)[free]).max(initial=0.0))
    factors = Factorization(matrix[free][:, free]) if len(free) else None
    iterations, factorisations, last = 0, 1, math.inf
    while True:
        residual = flows.into[free]
        gross = float((size @ np.abs(T)).max(initial=0.0)) + loads
        if factors is None or np.abs(residual).max() <= ROUNDING * gross:
            break
        if iterations == STEADY_ITERATIONS:
            raise SolveError(f"the steady state did not converge in {iterations} iterations")
        iterations += 1
        correction = factors.solve(residual)
        T[free] += correction
        flows = problem.flows(T, time)
        step = float(np.abs(correction).max())
        if not math.isfinite(step):
            raise SolveError("the steady state is not finite")
        if step > SLOW * last:
            factors.renew((body.conductivity_matrix(T) + exchange).tocsr()[free][:, free])
            factorisations += 1
        last = step
    if factors is not None:
        factors.release()
    reaction = -float(flows.into[problem.held].sum())
    gross = float(np.abs(flows.supplied).sum() + np.abs(flows.into[problem.held]).sum())
    # where no heat flows at all there is only rounding to compare with
    gross = max(gross, 1e-6 * float(size.diagonal().sum()))
    balance = EnergyBalance(named_sums(problem.names, flows.supplied), reaction, 0.0, gross)
    balance.check()
    return SteadyState(T, balance, iterations, factorisations)


def _check_fixed(problem: HeatProblem, matrix: sp.csr_matrix, time: float) -> None:
    """Raise SolveError when a part touches neither a film nor a held node, not even through others."""
    linked = matrix.copy()
    linked.eliminate_zeros()
    count, label = connected_components(linked, directed=False)
    fixed = set(label[problem.held])
    for film in problem.films:
        h = np.broadcast_to(coefficient_at(film.coefficient, time, film.name), film.surface.weight.shape)
        touched = abs(film.surface.evaluate).T @ (film.surface.weight * h)
        fixed |= set(label[touched > 0.0])
    loose = sorted(set(range(count)) - fixed)
    if loose:
        places = problem.body.places[:, label == loose[0]].mean(axis=1)
        where = ", ".join(f"{place:.1f}" for place in places)
        raise SolveError(
            f"nothing fixes the temperature of {len(loose)} part(s) of the body, one round ({where}) mm: "
            "give a film, a contact or a held temperature"
        )
