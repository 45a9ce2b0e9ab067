"""Heat in time: TR-BDF2 with error control, landing on output times and on the breakpoints of time tables.

The scheme (R. E. Bank et al., IEEE Trans. CAD 4 (1985) 436; error estimate of M. E. Hosea and L. F. Shampine, Appl.
Numer. Math. 20 (1996) 21; both from memory, high confidence; a test holds its order) is of second order and L-stable,
so steps may be long against what is fast. It is written for heat content, not for temperature: what the nodes gain is
what flowed in, whatever capacity does. The local errors are carried along by the linearised scheme, so that what is
limited is the error since the start, not that of one step.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
import scipy.sparse as sp

from headjoint.cases.elements.linear_solver import Factorization
from headjoint.cases.heat.conduction import FloatArray
from headjoint.cases.heat.problem import Contact, EnergyBalance, Flows, HeatProblem, named_sums
from headjoint.model.base.errors import InputError, SolveError

GAMMA = 2.0 - math.sqrt(2.0)  # where in the step the first stage ends
D = GAMMA / 2.0  # both stages have the matrix C + D dt K
W = math.sqrt(2.0) / 4.0
WEIGHTS = np.array([W, W, D])  # of the flows at start, stage and end
THIRD_ORDER = np.array([(1.0 - W) / 3.0, (3.0 * W + 1.0) / 3.0, D / 3.0])
LOCAL_SHARE = 0.3  # of the tolerance, what one step may err by at first
MARGIN = 1.5  # on the estimated error, for what the estimate itself misses
HOLD = 2.5  # a step grows when it may by this much; before that the factors are worth more
LARGEST_GROWTH = 5.0
SAME_STEP = 0.02  # relative change of step that the factors stand
ITERATIONS = 12
ENOUGH = 1e-4  # of the tolerance, what iterations may leave over
SLOW = 0.25  # an iteration slower than this wants a new matrix
RESTARTS = 5
SMALLEST_STEP = 1e-10  # of the whole time


@dataclass(frozen=True)
class HeatHistory:
    """A transient: nodal temperatures at the times asked for, its balance, its error, its cost.

    times : (k,) s, ascending, the end included. temperatures : (k, n) degC. balance : J, start to end.
    estimated_error : K, largest at any node and step since the start, with a margin of 1.5. limited by the tolerance.
    """

    times: FloatArray
    temperatures: FloatArray = field(repr=False)
    balance: EnergyBalance
    estimated_error: float
    steps: int
    rejected: int
    factorisations: int
    solves: int

    def at(self, time: float) -> FloatArray:
        """Return nodal temperatures (n,) at a stored time; InputError when that was not asked for."""
        near = int(np.abs(self.times - time).argmin())
        if abs(self.times[near] - time) > 1e-9 * max(1.0, abs(time)):
            raise InputError(f"no temperatures are stored at this time; nearest: {self.times[near]:g} s", value=time)
        return self.temperatures[near]


@dataclass(frozen=True)
class HeatStep:
    """A step that was taken: its beginning, middle and end, each a time (s) and nodal temperatures (n,) degC."""

    points: tuple[tuple[float, FloatArray], ...] = field(repr=False)

    @property
    def begin(self) -> float:
        """Time at the beginning, s."""
        return self.points[0][0]

    @property
    def end(self) -> float:
        """Time at the end, s."""
        return self.points[-1][0]

    @property
    def temperature(self) -> FloatArray:
        """Nodal temperatures (n,) at the end."""
        return self.points[-1][1]

    def at(self, time: float) -> FloatArray:
        """Return nodal temperatures (n,) at a time within the step, by the parabola through its three points."""
        return _extrapolated(list(self.points), time)


# Told of every step taken, may answer with other contacts from there on (their conductance follows pressure).
Watch = Callable[[HeatStep], "tuple[Contact, ...] | None"]


def transient(
    problem: HeatProblem,
    initial: float | FloatArray,
    end: float,
    tolerance_K: float,
    *,
    output_times: Sequence[float] = (),
    start: float = 0.0,
    reuse: bool = True,
    watch: Callable[[], Watch] | None = None,
    longest_step: float = math.inf,
) -> HeatHistory:
    """Return the history from `initial` (degC, a number or (n,)) at `start` to `end` (s).

    tolerance_K : limit of the error in time (K) at any node, since the start; the mesh's own error is not in it.
    output_times : what to store besides the end. reuse : keep factors while step and properties allow; False
    factorises at every step, to see what that saves. watch : makes a `Watch` for every try, should the first one miss
    the tolerance. longest_step : s. Functions of time must be continuous; their breakpoints are found when
    they are `TimeTable`s. Raises InputError for times or a tolerance that make no sense, SolveError when steps become
    too small, the error stays above the tolerance, or energy is not kept.
    """
    if not end > start:
        raise InputError("the end must come after the start", field="end", value=end)
    if not tolerance_K > 0.0:
        raise InputError("the tolerance must be above 0 K", field="tolerance_K", value=tolerance_K)
    wanted = np.unique(np.append(np.asarray(output_times, dtype=float), end))
    if wanted[0] < start or wanted[-1] > end:
        raise InputError(f"output times must lie from {start:g} to {end:g} s", field="output_times")
    T = problem.impose(np.broadcast_to(np.asarray(initial, dtype=float), (problem.body.count,)), start)
    share = LOCAL_SHARE
    for _ in range(RESTARTS):
        run = _Run(problem, T, start, end, tolerance_K, share * tolerance_K, reuse)
        try:
            history = run.history(wanted, longest_step, watch() if watch is not None else None)
        finally:
            run.release()
        if history is not None:
            history.balance.check()
            return history
        # errors add up over many steps: smaller ones from the start
        share *= 0.3
    raise SolveError(f"the error in time stays above {tolerance_K:g} K")


@dataclass
class _State:
    """Where a transient stands; heat is that of the scheme, so that what iterations leave over is not lost."""

    time: float
    T: FloatArray
    heat: FloatArray
    flows: Flows
    error: FloatArray
    earlier: list[tuple[float, FloatArray]]


class _Run:
    """One try at a transient with a limit on the error of each step."""

    def __init__(
        self, problem: HeatProblem, T: FloatArray, start: float, end: float, tolerance: float, limit: float, reuse: bool
    ) -> None:
        self.problem, self.body, self.free = problem, problem.body, problem.free
        self.start, self.end, self.tolerance, self.limit, self.reuse = start, end, tolerance, limit, reuse
        flows = problem.flows(T, start)
        self.state = _State(start, T, self.body.heat(T), flows, np.zeros(len(self.free)), [(start, T)])
        self.initial = T
        self._factors: Factorization | None = None
        self._factored_step = 0.0
        self._capacity: sp.csr_matrix
        self.steps = self.rejected = self.factorisations = self.solves = 0
        self.estimated = 0.0

    def history(self, wanted: FloatArray, longest: float, watch: Watch | None) -> HeatHistory | None:
        """Return the history, or None when the error since the start grew above the tolerance."""
        span = self.end - self.start
        breakpoints = [time for time in self.problem.breakpoints() if self.start < time < self.end]
        landings = np.unique(np.concatenate([wanted[wanted > self.start], breakpoints]))
        stored = [self.state.T] if wanted[0] == self.start else []
        first_heat = self.state.heat
        supplied = np.zeros(len(self.problem.names))
        gained = 0.0
        gross = 0.0
        step = self._first_step(span)
        for landing in landings:
            while self.state.time < landing:
                remaining = landing - self.state.time
                count = max(1, math.ceil(remaining / min(step, longest) - 1e-6))
                dt = remaining / count
                made = self._step(dt, landing if count == 1 else self.state.time + dt)
                if made is None:
                    step = dt / 4.0
                    self.rejected += 1
                elif made[0] > self.limit:
                    step = dt * max(0.2, 0.75 * math.sqrt(self.limit / made[0]))
                    self.rejected += 1
                else:
                    error, state, step_supplied, through = made
                    supplied += step_supplied
                    gained += through
                    gross += float(np.abs(step_supplied).sum()) + abs(through)
                    self.state = state
                    self.steps += 1
                    self.estimated = max(self.estimated, MARGIN * float(np.abs(state.error).max(initial=0.0)))
                    if self.estimated > self.tolerance:
                        return None
                    growth = min(LARGEST_GROWTH, 0.85 * (self.limit / max(error, 1e-30)) ** (1.0 / 3.0))
                    if self.state.time in breakpoints:
                        step, growth = dt, min(growth, 1.0)  # what was smooth ends here
                    # a step cut short by a landing may go on with the longer one that was wanted
                    step = max(dt * growth, min(step, dt)) if growth >= HOLD else max(step * min(growth, 1.0), dt * 0.2)
                    if watch is not None:
                        self._follow(watch(HeatStep(tuple(state.earlier))))
                if step < SMALLEST_STEP * span:
                    raise SolveError(f"steps in time became too small at {self.state.time:g} s")
            if landing in wanted:
                stored.append(self.state.T)
        heat = self.body.heat(self.state.T)
        change = heat - first_heat
        gross += float(np.abs(change).sum())
        # where nothing happens there is only rounding to compare with: that of a millionth of a kelvin
        gross = max(gross, 1e-6 * float(abs(self._capacity).sum()))
        balance = EnergyBalance(named_sums(self.problem.names, supplied), gained, float(change.sum()), gross)
        return HeatHistory(
            wanted, np.array(stored), balance, self.estimated,
            self.steps, self.rejected, self.factorisations, self.solves,
        )  # fmt: skip

    def _follow(self, contacts: tuple[Contact, ...] | None) -> None:
        """Go on with other contacts; factors of the old ones are near enough until iterations say otherwise."""
        if contacts is None:
            return
        self.problem = dataclasses.replace(self.problem, contacts=contacts)
        self.state = dataclasses.replace(self.state, flows=self.problem.flows(self.state.T, self.state.time))

    def _first_step(self, span: float) -> float:
        """Return a cautious first step: within it nothing moves by more than the limit, if it goes on as it starts."""
        self._capacity = self.body.capacity_matrix(self.state.T)
        rate = np.abs(self.state.flows.into[self.free]) / self._capacity.diagonal()[self.free]
        fastest = float(rate.max(initial=0.0))
        guess = self.limit / fastest if fastest > 0.0 else span
        return min(max(guess, 1e-6 * span), span)

    def _factorise(self, T: FloatArray, time: float, dt: float) -> None:
        self._capacity = self.body.capacity_matrix(T)
        conduction = self.body.conductivity_matrix(T)
        conduction.data += self._capacity.data / (D * dt)
        matrix = (conduction + self.problem.exchange(time)).tocsr()
        self._inner_capacity = self._capacity[self.free][:, self.free]
        inner = matrix[self.free][:, self.free]
        if self._factors is not None:
            self._factors.renew(inner)
        elif len(self.free):
            self._factors = Factorization(inner, refined=False)
        self._factored_step = dt
        self.factorisations += 1

    def _solve(self, load: FloatArray) -> FloatArray:
        """Return (C + D dt K)^-1 D dt load, for a load in W at the free nodes."""
        self.solves += 1
        if not len(load):
            return load
        assert self._factors is not None
        return self._factors.solve(load)

    def _stage(
        self, base: FloatArray, guess: FloatArray, time: float, dt: float, renewed: bool
    ) -> tuple[FloatArray, Flows, FloatArray] | None:
        """Return T, flows, heat with heat(T) = base + D dt flows at the free nodes; None when it does not converge."""
        free = self.free
        T = self.problem.impose(guess, time)
        size = left = 0.0
        for count in range(ITERATIONS):
            flows = self.problem.flows(T, time)
            moved = float(np.abs(T - self.initial).max(initial=0.0))
            enough = 1e-11 * (1.0 + float(np.abs(T).max()))
            if time < self.end:  # the last state is solved to rounding, and with it the balance
                enough = max(min(ENOUGH * self.tolerance, 1e-6 * moved), enough)
            heat = self.body.heat(T)
            residual = (base - heat)[free] / (D * dt) + flows.into[free]
            before, left = left, float(np.linalg.norm(residual))
            if not math.isfinite(left):
                return None
            # what the next correction would be, if it falls as what is left over of the flows fell
            rate = left / before if count and before > 0.0 else 0.0
            if left == 0.0 or (count and rate * size <= enough):
                return T, flows, heat
            if rate > SLOW:
                if not renewed:
                    self._factorise(T, time, dt)
                    renewed = True
                elif rate > 1.0:
                    return None
            correction = self._solve(residual)
            T[free] += correction
            size = float(np.abs(correction).max(initial=0.0))
        return None

    def _step(self, dt: float, end: float) -> tuple[float, _State, FloatArray, float] | None:
        """Try one step; return its error (K), the new state, heat supplied (J) and heat through held nodes (J)."""
        state, free, held = self.state, self.free, self.problem.held
        fresh = self._factors is None or not self.reuse or abs(dt / self._factored_step - 1.0) > SAME_STEP
        if fresh:
            self._factorise(state.T, state.time, dt)
        middle = state.time + GAMMA * dt
        first = self._stage(
            state.heat + D * dt * state.flows.into, _extrapolated(state.earlier, middle), middle, dt, fresh
        )
        if first is None:
            return None
        T_middle, flows_middle, _ = first
        base = state.heat + W * dt * (state.flows.into + flows_middle.into)
        known = [*state.earlier[-2:], (middle, T_middle)]
        second = self._stage(base, _extrapolated(known, end), end, dt, fresh)
        if second is None:
            return None
        T, flows, own_heat = second
        three = (state.flows, flows_middle, flows)
        missing = sum(
            (third - own) * one.into[free] for third, own, one in zip(THIRD_ORDER, WEIGHTS, three, strict=True)
        )
        # the linearised scheme carries the error so far: both stages, written with capacity alone
        C, per_step = self._inner_capacity, 1.0 / (D * dt)
        both = self._solve(np.column_stack([missing / D, per_step * (C @ state.error)]))
        local, carried = both[:, 0], both[:, 1]
        size = float(np.abs(local).max(initial=0.0))
        if size > self.limit:
            return size, state, np.zeros(0), 0.0
        ratio = 2.0 * W / D
        carried = self._solve(per_step * (C @ ((1.0 - ratio) * state.error + ratio * carried)))
        heat = base + D * dt * flows.into
        heat[held] = own_heat[held]
        brought = dt * sum(weight * one.into[held] for weight, one in zip(WEIGHTS, three, strict=True))
        through = float(np.sum(own_heat[held] - state.heat[held] - brought))
        supplied = dt * sum(weight * one.supplied for weight, one in zip(WEIGHTS, three, strict=True))
        earlier = [(state.time, state.T), (middle, T_middle), (end, T)]
        return size, _State(end, T, heat, flows, carried + local, earlier), supplied, through

    def release(self) -> None:
        """Give the memory of the factors back."""
        if self._factors is not None:
            self._factors.release()
            self._factors = None


def _extrapolated(known: list[tuple[float, FloatArray]], time: float) -> FloatArray:
    """Return the parabola (or line, or value) through the last known temperatures, at a time."""
    times = [at for at, _ in known]
    total = np.zeros_like(known[0][1])
    for number, (at, T) in enumerate(known):
        others = [other for index, other in enumerate(times) if index != number]
        total += math.prod((time - other) / (at - other) for other in others) * T
    return total
