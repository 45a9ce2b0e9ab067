"""Engines that the page may choose, each moved by a reader's changes and answered."""

from __future__ import annotations

import dataclasses
import threading
from collections import OrderedDict
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Any, Literal, TypeVar

from headjoint.cases.command.made import stated_names
from headjoint.cases.command.stated_files import Seen, by_model
from headjoint.cases.condensed.stiffness_key import stiffness_key
from headjoint.cases.elements.threads import LIMITS, one_thread
from headjoint.model.base.errors import InputError, JointError, unknown_name
from headjoint.model.cell import Cell
from headjoint.model.joint import Joint
from headjoint.model.reading.overrides import Content, Value, changed, number
from headjoint.postproc.designs.evaluation import make_base
from headjoint.postproc.designs.outcome import JudgedDesign, OnMesh, Source, source_of
from headjoint.postproc.live.answer import (
    Shape,
    begin,
    come_near,
    moved,
    panel,
    plan_of,
    shape_of,
    state_shown,
    told,
    told_later,
)
from headjoint.postproc.live.beside import Beside, core_free
from headjoint.postproc.live.condensing import Condensing
from headjoint.postproc.live.controls import ALL, FIRED, Control, controls_of, in_other_units, value_text, with_sight
from headjoint.postproc.live.curves import clamp_in_service, joint_diagram
from headjoint.postproc.live.moving import FoundWarmUp, found_warm_up, told_tightening
from headjoint.postproc.live.plan import drawn_plan, plan_png
from headjoint.postproc.live.points import PATH, cold_start, plain_points
from headjoint.postproc.live.turns import SupersededError, Turns

K = TypeVar("K")
Moved = tuple[Joint | Cell, dict[str, float | str]]  # a design, and the value of every control
ANSWERS = 24  # that are kept: undo, and looking at another state, cost nothing


@dataclass(frozen=True)
class Asked:
    """What a page asks: an engine by its name, what is moved by path, and which pressures to draw.

    first : whether what is solved first is wanted, the verdict only begun; rest : only what is solved after that.
    page, move : which page asks, and after how many moves; what it asked before is given up.
    """

    engine: str
    changes: dict[str, float | str] = field(default_factory=dict)
    units: Literal["si", "workshop"] = "si"
    model: Seen = "whole"
    level: Literal["least", "nominal", "greatest"] = "least"
    state: int = -1
    plan: bool = False
    first: bool = False
    rest: bool = False
    page: str = ""
    move: int = 0


class Engines:
    """Engines by name; any thread may ask, one answer is worked out at a time.

    beside : solves the coarser mesh meanwhile; where it does not, that is solved here.
    """

    def __init__(self, paths: dict[str, Path], beside: Beside | None = None) -> None:
        self._paths, self._beside = paths, beside
        self._sources: dict[str, Source] = {}
        self._controls: dict[tuple[str, str, Seen], dict[str, Control]] = {}
        self._answers: OrderedDict[str, JudgedDesign] = OrderedDict()
        self._begun: OrderedDict[str, JudgedDesign] = OrderedDict()
        self._condensing, self._heating = Condensing(shape_of), Condensing(what="warm-up")
        self._designs: OrderedDict[str, Moved] = OrderedDict()
        self._turns, self._serving, self._drawing = Turns(), threading.Lock(), threading.Lock()
        self._after = ThreadPoolExecutor(1, "after answers")
        LIMITS.take()  # not `one_thread`, which whoever enters it must leave: a server closes in another task

    @property
    def names(self) -> list[str]:
        """Names of all engines."""
        return list(self._paths)

    def close(self) -> None:
        """End what is under way."""
        self._condensing.close()
        self._heating.close()
        if self._beside is not None:
            self._beside.close()
        self._after.shutdown(wait=False, cancel_futures=True)
        LIMITS.leave()

    def described(self, name: str, units: str, model: Seen) -> dict[str, Any]:
        """Return the controls of an engine as its file states it; InputError for an unknown or unusable one."""
        source = self._source(name)
        design = source.design({})
        whole = isinstance(design, Cell)
        title = design.joint.name if isinstance(design, Cell) else design.name
        controls = [one.plain() for one in self._of_file(name, units, model).values()]
        return {"name": name, "title": title, "whole": whole, "controls": controls}

    def answered(self, asked: Asked) -> dict[str, Any]:
        """Return the answer, or how far the condensing is on which it waits.

        Raises InputError for an unknown engine, quantity or value, and where the design cannot be built.
        """
        self._turns.moved(asked.page, asked.move)
        source, changes, content = self._changed(asked)
        design, values = self._design(asked, source, changes, content)
        key = stiffness_key(design)
        shape: Shape | None = self._condensing.found(key)
        if shape is None and isinstance(design, Joint):
            shape = self._one_fastener(key, design)
        if shape is None:
            make = partial(_base_of, source, changes, asked.model)
            waits = self._condensing.want(key, make)
            return {"values": values, "key": key} | (
                {"problem": waits["problem"]} if "problem" in waits else {"waits": waits}
            )
        name = _name(asked, changes)
        self._ask_beside(name, key, shape, design, asked)
        try:
            with self._turn(asked, first=asked.first):
                found = self._moved(name, shape, design, asked)
                answer: dict[str, Any] = {"values": values, "key": key}
                if asked.rest and found.judged:
                    answer |= told_later(found, asked.units)
                else:
                    answer |= self._all_told(found, shape, asked)
        except SupersededError:
            return {"superseded": True}
        if found.judged:
            with suppress(RuntimeError):  # closed meanwhile
                self._after.submit(self._come_near, shape, found)
        return answer

    @staticmethod
    def _all_told(found: JudgedDesign, shape: Shape, asked: Asked) -> dict[str, Any]:
        answer = told(found, asked.units)
        if found.histories:
            answer["state"] = state_shown(found, asked.state)
            answer["plan"] = panel(found, shape, asked.level, answer["state"], asked.units)
        if asked.plan and shape.plan is not None:
            answer["drawn"] = drawn_plan(shape.plan, asked.units)
        return answer

    def _come_near(self, shape: Shape, found: JudgedDesign) -> None:
        """Make ready for the next move, beside whoever works: of what they look at nothing changes. It may fail."""
        with suppress(JointError), one_thread():
            come_near(shape, found)

    def _design(self, asked: Asked, source: Source, changes: dict[str, Value], content: Content) -> Moved:
        """Return the design as moved, and the value of every control; both are kept for what is asked of it next."""
        name = repr((_name(asked, changes), asked.units))
        found = self._designs.get(name)
        if found is None:
            design = by_model(source.design(changes), asked.model)
            values = {one.path: one.value for one in controls_of(content, design, asked.units)}
            found = _keep(self._designs, name, (design, values))
        return found

    def curves(self, asked: Asked, service: bool) -> dict[str, Any]:
        """Return the joint diagram of what is moved, or with `service` the clamp through the file's service.

        Of a page that has moved on meanwhile, nothing but that.

        Raises InputError where its shape is not condensed yet, or where there is no solution.
        """
        name, shape, design = self._condensed(asked)
        try:
            with self._turn(asked, first=False):
                found = self._moved(name, shape, design, dataclasses.replace(asked, first=False))
                if found.outcome.problem:
                    raise InputError(found.outcome.problem)
                if not service:
                    return {"diagram": joint_diagram(found, asked.units, self._between(asked))}
            with self._serving, one_thread():
                return {"service": clamp_in_service(found, asked.units)}
        except SupersededError:
            return {"superseded": True}
        except JointError as error:
            raise InputError(str(error)) from None

    def tightening(self, asked: Asked) -> dict[str, Any]:
        """Return the gasket in plan, step by step as a whole engine is tightened to the nominal preload.

        Of a page that has moved on meanwhile, nothing but that.

        Raises InputError of one stud, where the shape is not condensed yet, or where there is no solution.
        """
        name, shape, design = self._condensed(asked)
        if shape.plan is None:
            raise InputError("choose the model in three dimensions: one stud has no plan", field="model")
        try:
            with self._turn(asked, first=False):
                found = self._moved(name, shape, design, dataclasses.replace(asked, first=True))
                if found.outcome.problem:
                    raise InputError(found.outcome.problem)
                plan, nominal = plan_of(shape, found), found.histories["nominal"]
                return {"frames": told_tightening(plan, nominal, asked.units, self._between(asked))}
        except SupersededError:
            return {"superseded": True}
        except JointError as error:
            raise InputError(str(error)) from None

    def _condensed(self, asked: Asked) -> tuple[str, Shape, Joint | Cell]:
        """Return name, shape and design of what was answered; InputError where its shape is not condensed yet."""
        source, changes, content = self._changed(asked)
        design, _ = self._design(asked, source, changes, content)
        shape: Shape | None = self._condensing.found(stiffness_key(design))
        if shape is None:
            raise InputError("ask for the answer first; its shape is not condensed yet")
        return _name(asked, changes), shape, design

    def plan_png(self, asked: Asked) -> bytes:
        """Return the picture of the gasket in plan, as reports have it; InputError where there is none to draw."""
        name, shape, _ = self._condensed(asked)
        found = self._answers.get(name)
        if shape.plan is None or found is None or not found.histories:
            raise InputError("ask for the answer of a whole engine first")
        number = state_shown(found, asked.state)
        with self._drawing:  # settings of the drawing library are of all threads
            return plan_png(plan_of(shape, found), found, asked.level, number, asked.units)

    @contextmanager
    def _turn(self, asked: Asked, *, first: bool) -> Iterator[None]:
        """Work in turn for a page, on one thread. Raises SupersededError where the page has moved on before."""
        with self._turns.taken(first=first, page=asked.page, move=asked.move), one_thread():
            yield

    def _between(self, asked: Asked) -> Callable[[], None]:
        return partial(self._turns.between, asked.page, asked.move)

    def points(self, asked: Asked, find: bool) -> dict[str, Any]:
        """Return the operating points that are known of an engine as it is moved, and how far the finding is.

        find : whether those of a warm-up are wanted: by the heat model of one stud, in the background.
        """
        key, make, joint = self._heated(asked)
        warm: FoundWarmUp | None = self._heating.found(key)
        stands: dict[str, Any] = {}
        if warm is None and find:
            stands = self._heating.want(key, make)
            warm = self._heating.found(key)
        controls = self._of_file(asked.engine, asked.units, asked.model)
        known = [] if warm is None else warm.points
        points = plain_points([cold_start(joint), *known], controls, asked.units)
        stands = {} if warm else {name: stands[name] for name in ("stage", "seconds", "problem") if name in stands}
        return {"points": points, "found": bool(known)} | stands

    def warm_up(self, asked: Asked) -> dict[str, Any]:
        """Return the times of the pictures of a warm-up that was found; InputError where it was not."""
        warm: FoundWarmUp | None = self._heating.found(self._heated(asked)[0])
        if warm is None:
            raise InputError("find the instants of the warm-up first")
        return {"frames": [{"title": title} for title in warm.titles]}

    def warm_up_png(self, asked: Asked, frame: int) -> bytes:
        """Return one picture of a warm-up that was found; InputError where it was not, or for a number of none."""
        warm: FoundWarmUp | None = self._heating.found(self._heated(asked)[0])
        if warm is None:
            raise InputError("find the instants of the warm-up first")
        with self._drawing:
            return warm.picture(frame, asked.units)

    def in_units(self, asked: Asked, units: Literal["si", "workshop"]) -> dict[str, float | str]:
        """Return what is moved in other units."""
        source, changes, _ = self._changed(asked)
        controls = self._of_file(asked.engine, units, asked.model)
        return {
            path: asked.changes[path]
            if controls[path].choices
            else in_other_units(source.content, controls[path], value, units)
            for path, value in changes.items()
        }

    def _heated(self, asked: Asked) -> tuple[str, Callable[[Callable[[str], None]], FoundWarmUp], Joint]:
        """Return the name of a warm-up, what finds it, and the joint that is warmed up: as moved, but for its heat."""
        source, changes, _ = self._changed(asked)
        cold = {path: value for path, value in changes.items() if not path.startswith(PATH)}
        joint = by_model(source.design(cold), "stud")
        assert isinstance(joint, Joint)
        # the same joint in whatever units it was moved
        numbers = {path: number(source.content, path, value) for path, value in cold.items() if path != FIRED}
        moved = {path: value if (own := numbers.get(path)) is None else f"{own:.6g}" for path, value in cold.items()}
        key = repr((asked.engine, sorted(moved.items(), key=str)))
        return key, partial(_warm_up_of, source, cold), joint

    def cancelled(self, key: str) -> bool:
        """Give up condensing a shape."""
        return self._condensing.cancel(key)

    def file_text(self, asked: Asked) -> tuple[str, str]:
        """Return name and text of the engine's file with the changes made."""
        import tomli_w

        _, changes, content = self._changed(asked)
        head = f"# {asked.engine}, as moved on the live page"
        words = "".join(f"\n# {path} = {value}" for path, value in changes.items())
        if beside := ", ".join(stated_names(content)):
            words += f"\n# Keep it beside: {beside}"
        return f"{asked.engine}-moved.toml", f"{head}:{words}\n\n{tomli_w.dumps(content)}"

    def _source(self, name: str) -> Source:
        if name not in self._paths:
            raise unknown_name("engine", name[:60], self._paths)
        if name not in self._sources:
            self._sources[name] = source_of(self._paths[name])
        return self._sources[name]

    def _of_file(self, name: str, units: str, model: Seen) -> dict[str, Control]:
        """Return the controls of an engine at the values that its file states, by path."""
        key = (name, units, model)
        if key not in self._controls:
            source = self._source(name)
            design = by_model(source.design({}), model)
            found = controls_of(source.content, design, units)
            found = with_sight(found, design, lambda path, value: by_model(source.design({path: value}), model))
            self._controls[key] = {one.path: one for one in found}
        return self._controls[key]

    def _changed(self, asked: Asked) -> tuple[Source, dict[str, Value], Content]:
        """Return the source, the changes as a file would state them, and its content with them made."""
        source, controls = self._source(asked.engine), self._of_file(asked.engine, asked.units, asked.model)
        changes: dict[str, Value] = {}
        for path, value in asked.changes.items():
            if path not in controls:
                raise unknown_name("quantity", path[:80], controls)
            changes[path] = _stated(controls[path], value)
        return source, changes, changed(source.content, changes)

    def _one_fastener(self, key: str, design: Joint) -> Shape:
        """Return the shape of one fastener: condensed here and now, in less time than a process takes to start."""
        with self._turns.taken(first=True), one_thread():
            try:
                base = make_base(design)
            except JointError as error:
                raise InputError(str(error)) from None
        shape: Shape = self._condensing.keep(key, base)
        return shape

    def _moved(self, name: str, shape: Shape, design: Joint | Cell, asked: Asked) -> JudgedDesign:
        """Return what is moved, judged, or only begun where that is asked for and no more is known yet."""
        if name in self._answers:
            self._answers.move_to_end(name)
            return self._answers[name]
        try:
            begun = self._begun.get(name)
            if asked.first:
                return begun or _keep(self._begun, name, begin(shape, design))
            beside = self._beside is not None and self._beside.knows(name)
            coarse = partial(self._found_beside, name, asked) if beside else None
            found = moved(shape, design, begun, self._between(asked), coarse)
        except JointError as error:
            raise InputError(str(error)) from None
        return _keep(self._answers, name, found)

    def _ask_beside(self, name: str, key: str, shape: Shape, design: Joint | Cell, asked: Asked) -> None:
        """Have the coarser mesh solved meanwhile: with the verdict, or before where nobody waits and a core is free."""
        if self._beside is None:
            return
        self._beside.moved(asked.page, asked.move)
        now = not asked.first or (self._turns.free and core_free())
        if shape.base.coarse is not None and name not in self._answers and now:
            self._beside.ask(name, key, shape.base.coarse, design, asked.page, asked.move)

    def _found_beside(self, name: str, asked: Asked) -> OnMesh | None:
        """Return what was solved on the coarser mesh meanwhile, None where nothing was; others work while it waits."""
        if self._beside is None:
            return None
        with self._turns.aside():
            return self._beside.found(name, self._between(asked))


def _keep(where: OrderedDict[str, K], name: str, found: K) -> K:
    where[name] = found
    while len(where) > ANSWERS:
        where.popitem(last=False)
    return found


def _name(asked: Asked, changes: dict[str, Value]) -> str:
    """Return the name under which an answer is kept."""
    return repr((asked.engine, asked.model, sorted(changes.items(), key=str)))


def _stated(control: Control, value: float | str) -> Any:
    """Return what a file states for a moved value; which bores fire is a list there."""
    stated = value_text(control, value)
    if control.path != FIRED:
        return stated
    if stated == ALL:
        return [int(one) for one in dict.fromkeys(control.choices) if one.isdigit()]
    return [int(one) for one in str(stated).split(",")]


def _base_of(source: Source, changes: dict[str, Value], model: Seen, stage: Callable[[str], None]) -> Any:
    return make_base(by_model(source.design(changes), model), stage)


def _warm_up_of(source: Source, changes: dict[str, Value], stage: Callable[[str], None]) -> FoundWarmUp:
    joint = by_model(source.design(changes), "stud")
    assert isinstance(joint, Joint)
    with one_thread():
        return found_warm_up(joint, stage)
