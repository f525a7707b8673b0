"""The desk as an ASGI application: its addresses, all in one place."""

from __future__ import annotations

import contextlib
import logging
import multiprocessing
import os
import signal
import threading
import time
from collections.abc import AsyncIterator

from anyio import CapacityLimiter
from sqlalchemy.exc import OperationalError
from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from handsfree.desk import account_pages, cabinets, figures, finding_acts, pages, registry_pages, security_log, uploads
from handsfree.desk.configuration import Desk
from handsfree.desk.database import gone, without_tables
from handsfree.desk.guard import HEADERS, Guard
from handsfree.desk.refreshing import FolderReader, read_folders
from handsfree.desk.web import HERE, sorry
from handsfree.errors import Trouble

log = logging.getLogger("handsfree.desk")
#: Seconds between looks for abandoned uploads.
SWEEP_EVERY = 3600.0

ROUTES = [
    Route("/", pages.home),
    Route("/sign-in", account_pages.sign_in_page, methods=["GET"]),
    Route("/sign-in", account_pages.sign_in, methods=["POST"]),
    Route("/sign-in/code", account_pages.code, methods=["POST"]),
    Route("/elsewhere", account_pages.elsewhere, methods=["GET"]),
    Route("/elsewhere/back", account_pages.came_back, methods=["GET"]),
    Route("/enter/{door}", account_pages.enter, methods=["GET"]),
    Route("/sign-out", account_pages.sign_out, methods=["POST"]),
    Route("/account", account_pages.account_page, methods=["GET"]),
    Route("/account", account_pages.change_password, methods=["POST"]),
    Route("/account/factor", account_pages.second_factor, methods=["POST"]),
    Route("/account/sessions", account_pages.end_sessions, methods=["POST"]),
    Route("/visits", pages.visits),
    Route("/visits.{kind}", pages.visits),
    Route("/visits/{name}", pages.visit),
    Route("/visits/{name}/file/{n:int}", pages.sound),
    Route("/visits/{name}/proof", pages.proof),
    Route("/saved", registry_pages.saved_search, methods=["POST"]),
    Route("/search", pages.search),
    Route("/search.{kind}", pages.search),
    Route("/due", pages.due),
    Route("/due.{kind}", pages.due),
    Route("/cabinet", cabinets.cabinet),
    Route("/cabinet.{kind}", cabinets.cabinet),
    Route("/findings", pages.findings, methods=["GET"]),
    Route("/findings.{kind}", pages.findings, methods=["GET"]),
    Route("/findings", finding_acts.act_on_many, methods=["POST"]),
    Route("/findings/{key}", finding_acts.act, methods=["POST"]),
    Route("/measures", figures.figures),
    Route("/measures.{kind}", figures.figures),
    Route("/writer", figures.writer),
    Route("/writer.{kind}", figures.writer),
    Route("/digest", figures.digest_page),
    Route("/digest.md", figures.digest_page),
    Route("/people", figures.crew),
    Route("/people.{kind}", figures.crew),
    Route("/people/region", figures.put_region, methods=["POST"]),
    Route("/technician", figures.technician),
    Route("/me", figures.me),
    Route("/devices", figures.device_list),
    Route("/devices.{kind}", figures.device_list),
    Route("/registry", registry_pages.registry_page, methods=["GET"]),
    Route("/registry.{kind}", registry_pages.registry_page, methods=["GET"]),
    Route("/registry", registry_pages.change_registry, methods=["POST"]),
    Route("/refresh", account_pages.read_again, methods=["POST"]),
    *uploads.ROUTES,
    Route("/static/screen.css", pages.screen_css),
    Mount("/static", StaticFiles(directory=HERE / "static")),
]


async def _http(request: Request, error: Exception) -> Response:
    status = error.status_code if isinstance(error, HTTPException) else 500
    if "account" not in request.scope.get("state", {}) or request.url.path.startswith("/upload"):
        return PlainTextResponse("", status)
    return sorry(request, status, "There is no such page." if status == 404 else "That cannot be done here.")


async def _failed(request: Request, error: Exception) -> Response:
    """No detail of the fault goes to the browser; it is in the log. The guard never sees this answer: its headers are added
    here."""
    headers = {**HEADERS, "cache-control": "no-store"}
    return PlainTextResponse("The desk failed at this; it is in its log. Try again.", 500, headers)


async def _no_database(request: Request, error: Exception) -> Response:
    """The database may be deleted at any time: then it is built again at once, not only at the next look at the folders."""
    if not (gone(request.app.state.desk.engine) or without_tables(error)):
        raise error
    request.app.state.wake.set()
    said = "The database was deleted and is built again from the visits. Try again in a moment."
    return PlainTextResponse(said, 503, {"retry-after": "5"})


def _end_with_parent() -> None:
    """One of several processes ends when the one that began them is killed: nobody would replace or end it."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os.kill(os.getpid(), signal.SIGTERM)


def build(desk: Desk, *, read_every: float | None = 60.0) -> Starlette:
    """`read_every`: seconds between looks at the folders, None for none but at the start."""
    over, wake, mine = threading.Event(), threading.Event(), FolderReader(desk)

    def keep_reading() -> None:
        wait, swept = read_every, 0.0
        while True:
            wake.wait(wait)
            if over.is_set():
                return
            wake.clear()
            began = time.monotonic()
            if not mine():
                continue
            try:
                read_folders(desk)
                if began - swept > SWEEP_EVERY:
                    desk.incoming.sweep()
                    swept = began
            except (Trouble, OSError) as trouble:
                log.warning("the folders were not read: %s", trouble)
            except Exception:  # the next look may do; a desk that stopped looking would be silently stale
                log.exception("the folders were not read")
            # A fleet's folders take long to look through: never more than a twentieth of the time goes into it.
            wait = max(read_every or 0.0, 20 * (time.monotonic() - began))

    @contextlib.asynccontextmanager
    async def life(app: Starlette) -> AsyncIterator[None]:
        if desk.processes > 1:
            threading.Thread(target=_end_with_parent, daemon=True, name="the parent").start()
        if read_every is not None:
            threading.Thread(target=keep_reading, daemon=True, name="reading folders").start()
        with security_log.kept_in(desk.own):
            yield
        over.set()
        wake.set()
        mine.close()

    app = Starlette(
        routes=ROUTES, middleware=[Middleware(Guard, desk=desk)], lifespan=life,
        exception_handlers={HTTPException: _http, OperationalError: _no_database, Exception: _failed},
    )
    app.state.desk, app.state.wake = desk, wake
    # Threads of their own: argon2 takes memory and a core each, an upload waits for a disk; neither keeps pages waiting.
    app.state.hashing = CapacityLimiter(max(1, (os.cpu_count() or 2) // desk.processes))
    app.state.storing = CapacityLimiter(max(2, 8 // desk.processes))
    return app
