"""The live page on this machine: what it serves, and what it refuses."""

from __future__ import annotations

import json
import math
import socket
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from importlib.metadata import version
from importlib.resources import files
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.middleware import Middleware
from starlette.middleware.trustedhost import TrustedHostMiddleware
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route
from starlette.types import ASGIApp, Receive, Scope, Send

from headjoint.model.base.errors import InputError, JointError, SolveError
from headjoint.postproc.live.beside import Beside
from headjoint.postproc.live.engines import Asked, Engines
from headjoint.postproc.present.document import CAUTION
from headjoint.postproc.present.drawing import COLOURS, FAILS

LARGEST_BODY = 32_768  # bytes; every control of a file takes a tenth of that
EVERYWHERE = ("0.0.0.0", "::")
LOOPBACK = ("127.0.0.1", "localhost", "[::1]")
# plots are made in the page by a library that compiles its shaders' text there; nothing may be fetched from elsewhere
POLICY = (
    "default-src 'none'; script-src 'self' 'unsafe-eval'; style-src 'self' 'unsafe-inline'; "
    "img-src 'self' data: blob:; connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cache-control": "no-store",
}
KINDS = {
    "live.js": "text/javascript",
    "live.css": "text/css",
    "spoken.js": "text/javascript",
    "drawing.js": "text/javascript",
    "curves.js": "text/javascript",
    "plan.js": "text/javascript",
    "moving.js": "text/javascript",
}


class _Guard:
    """Refuses requests from other pages and bodies that are too large, and sends the headers that keep a page in."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        request = Request(scope)
        origin = request.headers.get("origin")
        host = request.headers.get("host", "")
        if origin is not None and origin != f"http://{host}":
            await _refused(403, "asked by a page of another origin")(scope, receive, send)
            return
        length = request.headers.get("content-length", "0")
        if not length.isdigit() or int(length) > LARGEST_BODY or "transfer-encoding" in request.headers:
            await _refused(413, f"a request has at most {LARGEST_BODY} bytes, and says how many")(scope, receive, send)
            return

        async def with_headers(message: Any) -> None:
            if message["type"] == "http.response.start":
                given = {name for name, _ in message["headers"]}
                message["headers"] += [
                    (name.encode(), value.encode()) for name, value in HEADERS.items() if name.encode() not in given
                ]
            await send(message)

        await self.app(scope, receive, with_headers)


def _refused(status: int, words: str) -> JSONResponse:
    return JSONResponse({"refused": words}, status_code=status, headers=HEADERS)


def app_of(engines: Engines, chosen: str, units: str, hosts: tuple[str, ...] = LOOPBACK) -> Starlette:
    """Return the application that serves the page of `engines`, the one named `chosen` first, in `units`."""

    async def page(request: Request) -> Response:
        return Response(_page(engines, chosen, units), media_type="text/html")

    async def asset(request: Request) -> Response:
        name = request.path_params["name"]
        if name == "plotly.js":
            from plotly.offline import get_plotlyjs  # bundled with the package: nothing comes from elsewhere

            text = await run_in_threadpool(get_plotlyjs)
            return Response(text, media_type="text/javascript", headers={"cache-control": "max-age=86400"})
        if name not in KINDS:
            return _refused(404, "no such file")
        return Response(_template(name), media_type=KINDS[name])

    async def engine(request: Request) -> Response:
        query = request.query_params
        asked = _asked({name: query[name] for name in ("engine", "units", "model") if name in query})
        return JSONResponse(await run_in_threadpool(engines.described, asked.engine, asked.units, asked.model))

    @asynccontextmanager
    async def lifespan(app: Starlette) -> AsyncIterator[None]:
        yield
        engines.close()

    routes = [
        Route("/", page),
        Route("/assets/{name}", asset),
        Route("/engine", engine),
        *_asked_for(engines),
    ]
    handlers: dict[Any, Callable[[Request, Any], Awaitable[Response]]] = {InputError: _said, JointError: _said}
    middleware = [Middleware(TrustedHostMiddleware, allowed_hosts=list(hosts)), Middleware(_Guard)]
    return Starlette(routes=routes, middleware=middleware, exception_handlers=handlers, lifespan=lifespan)


def _asked_for(engines: Engines) -> list[Route]:
    """Return what a page asks with what is moved in it."""

    async def answer(request: Request) -> Response:
        asked = _asked(await _body(request))
        return _json(await run_in_threadpool(lambda: _encoded(engines.answered(asked))))

    async def curves(request: Request) -> Response:
        body = await _body(request)
        service, asked = _flag(body, "service"), _asked(body)
        return _json(await run_in_threadpool(lambda: _encoded(engines.curves(asked, service))))

    async def tightening(request: Request) -> Response:
        asked = _asked(await _body(request))
        return _json(await run_in_threadpool(lambda: _encoded(engines.tightening(asked))))

    async def warm_up(request: Request) -> Response:
        return JSONResponse(await run_in_threadpool(engines.warm_up, _asked(await _body(request))))

    async def warm_up_picture(request: Request) -> Response:
        body = await _body(request)
        frame = _whole(body, "frame")
        return _png(await run_in_threadpool(engines.warm_up_png, _asked(body), frame))

    async def units(request: Request) -> Response:
        body = await _body(request)
        to = _asked({"engine": "", "units": body.pop("to", None)}).units
        return JSONResponse({"changes": await run_in_threadpool(engines.in_units, _asked(body), to)})

    async def points(request: Request) -> Response:
        body = await _body(request)
        find = _flag(body, "find")
        return JSONResponse(await run_in_threadpool(engines.points, _asked(body), find))

    async def plan(request: Request) -> Response:
        return _png(await run_in_threadpool(engines.plan_png, _asked(await _body(request))))

    async def cancel(request: Request) -> Response:
        key = (await _body(request)).get("key")
        return JSONResponse({"cancelled": isinstance(key, str) and engines.cancelled(key)})

    async def moved_file(request: Request) -> Response:
        name, text = engines.file_text(_asked(await _body(request)))
        return JSONResponse({"name": name, "text": text})

    by_path = {
        "/answer": answer,
        "/curves": curves,
        "/tightening": tightening,
        "/points": points,
        "/warm-up": warm_up,
        "/warm-up-picture": warm_up_picture,
        "/units": units,
        "/plan": plan,
        "/cancel": cancel,
        "/file": moved_file,
    }
    return [Route(path, endpoint, methods=["POST"]) for path, endpoint in by_path.items()]


async def _said(request: Request, error: Exception) -> Response:
    return _refused(422, str(error))


async def _body(request: Request) -> dict[str, Any]:
    """Return the JSON of a request; InputError for what is none."""
    if request.headers.get("content-type", "").partition(";")[0] != "application/json":
        raise InputError("give JSON", field="content-type")
    try:
        found = json.loads(await request.body())
    except (ValueError, RecursionError):
        raise InputError("is no JSON", field="body") from None
    if not isinstance(found, dict):
        raise InputError("give an object", field="body")
    return found


def _flag(body: dict[str, Any], name: str) -> bool:
    """Take a yes or no out of a request's body; InputError for anything else."""
    flag = body.pop(name, False)
    if not isinstance(flag, bool):
        raise InputError("give true or false", field=name)
    return flag


def _whole(body: dict[str, Any], name: str) -> int:
    """Take a whole number out of a request's body; InputError for anything else."""
    number = body.pop(name, None)
    if isinstance(number, bool) or not isinstance(number, int):
        raise InputError("give a whole number", field=name)
    return number


def _encoded(found: dict[str, Any]) -> bytes:
    """Return what is found as JSON, numbers of arrays among them.

    Raises SolveError for a figure that is no number, TypeError for what has no words in JSON.
    """
    _check_figures("", found)
    return msgspec.json.encode(found, enc_hook=_plain)


def _check_figures(name: str, found: Any) -> None:
    """Raise SolveError where a figure is no number: encoded it would be null, as what has no figure."""
    if isinstance(found, dict):
        for key, one in found.items():
            _check_figures(f"{name}.{key}" if name else key, one)
    elif isinstance(found, (list, tuple)):
        if set(map(type, found)) == {float} and all(map(math.isfinite, found)):
            return  # most of all figures, at a tenth of the time
        for number, one in enumerate(found):
            _check_figures(f"{name}[{number}]", one)
    elif isinstance(found, (float, np.floating)) and not math.isfinite(found):
        raise SolveError(f"{name} came out as no number: nothing is shown of this answer")


def _plain(number: object) -> Any:
    """Return a number of an array as one of Python; TypeError for anything else."""
    if isinstance(number, np.generic):
        return number.item()
    raise TypeError(f"{type(number).__name__} has no words in JSON")


def _json(encoded: bytes) -> Response:
    return Response(encoded, media_type="application/json")


def _png(picture: bytes) -> Response:
    return Response(picture, media_type="image/png")


def _asked(found: dict[str, Any]) -> Asked:
    try:
        return msgspec.convert(found, Asked)
    except msgspec.ValidationError as error:
        raise InputError(str(error), field="request") from None


def _template(name: str) -> str:
    return (files("headjoint.postproc") / "templates" / name).read_text("utf-8")


def _page(engines: Engines, chosen: str, units: str) -> str:
    from jinja2 import Environment, PackageLoader

    environment = Environment(loader=PackageLoader("headjoint.postproc", "templates"), autoescape=True)
    start = {"engines": engines.names, "engine": chosen, "units": units, "colours": COLOURS, "fails": FAILS}
    return environment.get_template("live.html.j2").render(
        version=version("headjoint"), caution=CAUTION, start=start, engines=engines.names, chosen=chosen
    )


def serve(paths: dict[str, Path], chosen: str, units: str, host: str, port: int, ready: Callable[[str], None]) -> None:
    """Serve the page until interrupted. ready : hears its address once it can be asked; OSError where it cannot."""
    import uvicorn

    if host in EVERYWHERE:
        raise InputError(
            "name the one address by which others ask, so that all else is refused", field="--host", value=host
        )
    opened = socket.create_server((host, port), family=socket.AF_INET6 if ":" in host else socket.AF_INET)
    shown = f"[{host}]" if ":" in host else host
    hosts = LOOPBACK if shown in LOOPBACK else (*LOOPBACK, shown)
    app = app_of(Engines(paths, Beside()), chosen, units, hosts)
    server = uvicorn.Server(uvicorn.Config(app, log_level="warning", timeout_graceful_shutdown=2))
    ready(f"http://{shown}:{port}/")
    server.run(sockets=[opened])
