"""The pages as one application: which path is which page, and how its answer goes out.

The one place, with `loomproof.web.server`, that imports what the extra ``web`` brings.
"""

from __future__ import annotations

import gzip
import json
import time
from collections.abc import AsyncIterator, Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import parse_qsl

from loomproof.errors import LoomproofError, UsageError
from loomproof.web import (
    bringing,
    fitting,
    going_on,
    keeping,
    kept,
    lan,
    live,
    look,
    mending,
    merge,
    start,
    touch,
    trace,
    wiggle,
)
from loomproof.web.answers import Answer, Asked, Data, File, Go, Handler, House, Page
from loomproof.web.doors import Seat
from loomproof.web.guard import SEAT, Application, Guard
from loomproof.web.sent import Sent, parts
from loomproof.web.session import told
from loomproof.web.states import WORDS

if TYPE_CHECKING:
    from jinja2 import Environment
    from starlette.requests import Request
    from starlette.responses import Response

GETS: dict[str, Handler] = {
    "/": start.looms,
    "/brought/{key}": bringing.show,
    "/looms/{loom}": start.prepare,
    "/looms/{loom}/look": look.look,
    "/prove": live.proving,
    "/touch": touch.looking,
    "/touch/{loom}": touch.prepare,
    "/trace": trace.prepare,
    "/merge": merge.prepare,
    "/wiggle": wiggle.looking,
    "/wiggle/picture": wiggle.picture,
    "/wiggle/figures": wiggle.figures,
    "/wiggle/{loom}": wiggle.prepare,
    "/runs": keeping.shelf,
    "/verify": keeping.shelf,
    "/kept": keeping.found,
    "/kept/loom": keeping.loom,
    "/kept/trend": keeping.trend,
    "/runs/{run}": kept.run,
    "/runs/{run}/retested": mending.retested,
    "/runs/{run}/label": keeping.label,
    "/runs/{run}/go-on": going_on.asked_for,
    "/runs/{run}/certificate": kept.certificate,
    "/fit": fitting.looms,
    "/fit/{loom}": fitting.sheet,
    "/fit/{loom}/ticks": fitting.ticked,
    "/fit/{loom}/sheet.pdf": fitting.paper,
}
POSTS: dict[str, Handler] = {
    "/brought": bringing.bring,
    "/brought/{key}/read": bringing.read,
    "/brought/{key}/keep": bringing.take,
    "/brought/{key}/drop": bringing.drop,
    "/looms/{loom}/check": start.check,
    "/looms/{loom}/prove": start.prove,
    "/prove/stop": live.stop,
    "/prove/answer": live.answer,
    "/prove/life": live.life,
    "/prove/say": touch.said,
    "/touch/{loom}/say": touch.say,
    "/touch/{loom}/learn": touch.learn,
    "/touch/{loom}/name": touch.name,
    "/trace": trace.begin,
    "/trace/leads": trace.leads,
    "/merge": merge.merge,
    "/wiggle/{loom}/watch": wiggle.begin,
    "/watchers": lan.invite,
    "/watchers/away": lan.send_away,
    "/runs/{run}/looked": mending.tick,
    "/runs/{run}/saw": kept.saw,
    "/runs/{run}/mended": kept.mended,
    "/runs/{run}/retest": kept.retest,
    "/mend": kept.mend_simulated,
    "/verify": keeping.verify,
    "/fit/{loom}/ticks": fitting.ticks,
    "/fit/{loom}/choices": fitting.choices,
}
EVENTS = "/prove/events"

WORTH_PACKING = 4_096
"""Pages of so many bytes go out packed (RFC 1952): a fitting sheet on a phone is a tenth then."""

LOOKS_S, LIFE_S = 0.05, 1.0
"""How often the stream of a page looks for what is new, and after how much quiet it says that it lives, s."""


def application(
    house: House, hosts: frozenset[str], ending: Callable[[], bool] = lambda: False
) -> Application:
    """Return the application behind its guard; ``ending`` says that the server ends, and streams with it.

    When the server ends the job is stopped, and its bench released before the process goes.
    """
    import contextlib

    from starlette.applications import Starlette
    from starlette.routing import Mount, Route
    from starlette.staticfiles import StaticFiles

    @contextlib.asynccontextmanager
    async def lifespan(_: Starlette) -> AsyncIterator[None]:
        from starlette.concurrency import run_in_threadpool

        yield
        await run_in_threadpool(house.session.close)

    pages = templates(house)

    async def events(request: Request) -> Response:
        return _stream(house, request, ending)

    routes = [
        *(Route(path, _endpoint(house, pages, handler), methods=["GET"]) for path, handler in GETS.items()),
        *(Route(path, _endpoint(house, pages, handler), methods=["POST"]) for path, handler in POSTS.items()),
        Route(EVENTS, events, methods=["GET"]),
        Mount("/static", StaticFiles(directory=Path(__file__).parent / "static")),
    ]

    async def not_found(request: Request, _: Exception) -> Response:
        error = UsageError("there is no such page", cure="Go back to the start.")
        return _sent(_refused(error, house, 404), pages, request)

    return Guard(
        Starlette(routes=routes, lifespan=lifespan, exception_handlers={404: not_found}), house.doors, hosts
    )


def templates(house: House) -> Environment:
    """Return the templates; all that is put in is escaped, and a name that is not there is an error."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    made = Environment(
        loader=FileSystemLoader(Path(__file__).parent / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals |= {"session": house.session, "workplace": house.workplace, "words": WORDS}
    return made


def _endpoint(house: House, pages: Environment, handler: Handler) -> Callable[[Request], Any]:
    """Return what Starlette calls: the handler in a thread, an error of ours as a page of its own."""
    from starlette.concurrency import run_in_threadpool

    async def answered(request: Request) -> Response:
        try:
            asked = await _asked(request)
        except LoomproofError as error:
            return _sent(_refused(error, house, 400), pages, request)

        def called() -> Answer:
            if asked.seat is Seat.DRIVES:
                house.session.alive()
            try:
                return handler(house, asked)
            except LoomproofError as error:
                if asked.json is not None:
                    return Data(told(error, house.how), 409)
                return _refused(error, house, 400)

        return _sent(await run_in_threadpool(called), pages, request)

    return answered


def _refused(error: LoomproofError, house: House, status: int) -> Page:
    return Page("error.html", {"error": told(error, house.how)}, status)


async def _asked(request: Request) -> Asked:
    """Read a request; of what is no form and no JSON nothing is taken."""
    full = request.headers.get("content-type", "")
    kind = full.partition(";")[0]
    form: dict[str, str] = {}
    files: tuple[Sent, ...] = ()
    said: object = None
    body = await request.body()
    if kind == "application/json":
        try:
            said = json.loads(body)
        except (ValueError, RecursionError):
            said = {}
    elif kind == "application/x-www-form-urlencoded":
        form = dict(parse_qsl(body.decode("utf-8", "replace"), keep_blank_values=True, max_num_fields=2000))
    elif kind == "multipart/form-data" and body:
        form, files = parts(body, full)
    names = {name: str(text) for name, text in request.path_params.items()}
    return Asked(request.scope[SEAT], names, form, dict(request.query_params), said, files)


def _sent(answer: Answer, pages: Environment, request: Request) -> Response:
    """Return an answer as one of HTTP."""
    from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response

    if isinstance(answer, Go):
        return RedirectResponse(answer.to, 303)
    if isinstance(answer, Data):
        return JSONResponse(answer.value, answer.status)
    if isinstance(answer, File):
        shown = {"content-disposition": f'inline; filename="{answer.name}"'}
        return Response(answer.content, media_type=answer.kind, headers=shown)
    text = pages.get_template(answer.template).render(
        **answer.values, seat=request.scope[SEAT], path=request.url.path
    )
    data = text.encode("utf-8")
    if len(data) < WORTH_PACKING or "gzip" not in request.headers.get("accept-encoding", ""):
        return HTMLResponse(data, answer.status)
    # No page holds a secret beside what a stranger put in: what other sites ask comes without the cookie.
    packed = {"content-encoding": "gzip", "vary": "accept-encoding"}
    return HTMLResponse(gzip.compress(data, 5), answer.status, packed)


def _stream(house: House, request: Request, ending: Callable[[], bool]) -> Response:
    """Return the stream of a page: everything first, then what changes, as server-sent events."""
    import asyncio

    from starlette.responses import StreamingResponse

    async def told_on() -> AsyncIterator[str]:
        stamp, quiet_s = 0, LIFE_S
        while not ending() and not await request.is_disconnected():
            if house.session.stamp != stamp:
                found = house.session.since(stamp)
                stamp, quiet_s = found["stamp"], 0.0
                found["clock_s"] = time.monotonic()
                yield f"data: {json.dumps(found, ensure_ascii=False)}\n\n"
            elif quiet_s >= LIFE_S:
                quiet_s = 0.0
                yield "event: life\ndata: {}\n\n"
            await asyncio.sleep(LOOKS_S)
            quiet_s += LOOKS_S

    return StreamingResponse(told_on(), media_type="text/event-stream")
