"""The live page on this machine: what it serves, and what it refuses."""

from __future__ import annotations

import json
import logging
import math
import multiprocessing
import socket
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping
from contextlib import asynccontextmanager, suppress
from functools import cache
from importlib.metadata import version
from importlib.resources import files
from ipaddress import ip_address
from pathlib import Path
from types import FrameType
from typing import Any

import msgspec
import numpy as np
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.middleware import Middleware
from starlette.middleware.trustedhost import TrustedHostMiddleware
from starlette.requests import ClientDisconnect, Request
from starlette.responses import Response, StreamingResponse
from starlette.routing import Route
from starlette.types import ASGIApp, Receive, Scope, Send

from headjoint.cases.start import end
from headjoint.model.base.errors import InputError, JointError, SolveError
from headjoint.postproc.live.beside import Beside
from headjoint.postproc.live.engines import Asked, Engines
from headjoint.postproc.present.document import CAUTION
from headjoint.postproc.present.drawing import COLOURS, FAILS

LARGEST_BODY = 32_768  # bytes; every control of a file takes a tenth of that
PIECE = 65_536  # bytes of a large file at a time: who asks and does not read costs no more memory than that
FOR_THE_REST = 1  # seconds that answers under way have when it is told to end
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


def _refused(status: int, words: str) -> Response:
    return _json(_encoded({"refused": words}), status, HEADERS)


def app_of(engines: Engines, chosen: str, units: str, hosts: tuple[str, ...] = LOOPBACK) -> Starlette:
    """Return the application that serves the page of `engines`, the one named `chosen` first, in `units`."""

    async def page(request: Request) -> Response:
        return Response(_page(engines, chosen, units), media_type="text/html")

    async def asset(request: Request) -> Response:
        name = request.path_params["name"]
        if name == "plotly.js":
            whole = await run_in_threadpool(_library)
            kept = {"cache-control": "max-age=86400", "content-length": str(len(whole))}
            return StreamingResponse(_in_pieces(whole), media_type="text/javascript", headers=kept)
        if name not in KINDS:
            return _refused(404, "no such file")
        return Response(_template(name), media_type=KINDS[name])

    async def engine(request: Request) -> Response:
        query = request.query_params
        asked = _asked({name: query[name] for name in ("engine", "units", "model") if name in query})
        return await _found(lambda: engines.described(asked.engine, asked.units, asked.model))

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
        return await _found(lambda: engines.answered(asked))

    async def curves(request: Request) -> Response:
        body = await _body(request)
        service, asked = _flag(body, "service"), _asked(body)
        return await _found(lambda: engines.curves(asked, service))

    async def tightening(request: Request) -> Response:
        asked = _asked(await _body(request))
        return await _found(lambda: engines.tightening(asked))

    async def warm_up(request: Request) -> Response:
        asked = _asked(await _body(request))
        return await _found(lambda: engines.warm_up(asked))

    async def warm_up_picture(request: Request) -> Response:
        body = await _body(request)
        frame = _whole(body, "frame")
        return _png(await run_in_threadpool(engines.warm_up_png, _asked(body), frame))

    async def units(request: Request) -> Response:
        body = await _body(request)
        to, asked = _asked({"engine": "", "units": body.pop("to", None)}).units, _asked(body)
        return await _found(lambda: {"changes": engines.in_units(asked, to)})

    async def points(request: Request) -> Response:
        body = await _body(request)
        find, asked = _flag(body, "find"), _asked(body)
        return await _found(lambda: engines.points(asked, find))

    async def plan(request: Request) -> Response:
        return _png(await run_in_threadpool(engines.plan_png, _asked(await _body(request))))

    async def cancel(request: Request) -> Response:
        key = (await _body(request)).get("key")
        return await _found(lambda: {"cancelled": isinstance(key, str) and engines.cancelled(key)})

    async def moved_file(request: Request) -> Response:
        asked = _asked(await _body(request))
        return await _found(lambda: dict(zip(("name", "text"), engines.file_text(asked), strict=True)))

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
    except ClientDisconnect:  # nobody hears this
        raise InputError("ended in the midst of it", field="body") from None
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


async def _found(find: Callable[[], dict[str, Any]]) -> Response:
    """Return what is found, which may take its time, as JSON: the one way in which figures leave the server."""
    return _json(await run_in_threadpool(lambda: _encoded(find())))


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


def _json(encoded: bytes, status: int = 200, headers: Mapping[str, str] | None = None) -> Response:
    return Response(encoded, status, headers, "application/json")


def _png(picture: bytes) -> Response:
    return Response(picture, media_type="image/png")


def _asked(found: dict[str, Any]) -> Asked:
    try:
        return msgspec.convert(found, Asked)
    except msgspec.ValidationError as error:
        raise InputError(str(error), field="request") from None


@cache
def _library() -> bytes:
    from plotly.offline import get_plotlyjs  # bundled with the package: nothing comes from elsewhere

    return get_plotlyjs().encode()


async def _in_pieces(whole: bytes) -> AsyncIterator[bytes]:
    for start in range(0, len(whole), PIECE):
        yield whole[start : start + PIECE]


def _template(name: str) -> str:
    return (files("headjoint.postproc") / "templates" / name).read_text("utf-8")


def _page(engines: Engines, chosen: str, units: str) -> str:
    from jinja2 import Environment, PackageLoader

    environment = Environment(loader=PackageLoader("headjoint.postproc", "templates"), autoescape=True)
    start = {"engines": engines.names, "engine": chosen, "units": units, "colours": COLOURS, "fails": FAILS}
    return environment.get_template("live.html.j2").render(
        version=version("headjoint"), caution=CAUTION, start=start, engines=engines.names, chosen=chosen
    )


def listening(host: str, port: int) -> socket.socket:
    """Return a socket that listens at one address. OSError where it cannot; InputError for one that means them all."""
    opened = socket.create_server((host, port), family=socket.AF_INET6 if ":" in host else socket.AF_INET)
    at = ip_address(opened.getsockname()[0].partition("%")[0])
    if at.is_unspecified or (at.version == 6 and at.ipv4_mapped is not None and at.ipv4_mapped.is_unspecified):
        opened.close()  # "", "0" and others mean all addresses, too
        raise InputError(
            "name the one address by which others ask, so that all else is refused", field="--host", value=host
        )
    return opened


def serve(paths: dict[str, Path], chosen: str, units: str, host: str, port: int, ready: Callable[[str], None]) -> None:
    """Serve the page until interrupted, which ends the process.

    ready : hears its address once it can be asked; OSError where it cannot.
    """
    import uvicorn

    class Server(uvicorn.Server):
        def handle_exit(self, sig: int, frame: FrameType | None) -> None:
            # answers under way are for nobody now, and that they are given up is no error
            logging.getLogger("uvicorn.error").setLevel(logging.CRITICAL + 1)
            super().handle_exit(sig, frame)

    opened = listening(host, port)
    shown = f"[{host}]" if ":" in host else host
    hosts = LOOPBACK if shown in LOOPBACK else (*LOOPBACK, shown)
    app = app_of(Engines(paths, Beside()), chosen, units, hosts)
    server = Server(uvicorn.Config(app, log_level="error", ws="none", timeout_graceful_shutdown=FOR_THE_REST))
    ready(f"http://{shown}:{port}/")
    with suppress(KeyboardInterrupt):
        server.run(sockets=[opened])
    for child in multiprocessing.active_children():
        child.kill()
    end()  # threads that work would be waited for
