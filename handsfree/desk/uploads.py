"""The receiving end over HTTP: `protocol` in front, `incoming` behind."""

from __future__ import annotations

import time
from collections.abc import Callable
from functools import partial

from anyio import to_thread
from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from handsfree.desk import devices, people, registry, security_log, threads
from handsfree.desk.configuration import Desk
from handsfree.desk.incoming import Busy, Judge, UploadOutcome
from handsfree.desk.ingest import ingest
from handsfree.desk.people import UserAccount
from handsfree.desk.protocol import PATH, PIECE, QUESTIONS, UploadProblem, VisitStored, parse_range, to_json
from handsfree.desk.quarantine import folder_of
from handsfree.errors import Trouble
from handsfree.visit.desk_questions import questions_file

LARGEST_MANIFEST = 8 << 20


async def _device(request: Request) -> UserAccount | Response:
    """Whose key it is; or the answer to somebody without."""
    desk: Desk = request.app.state.desk
    scheme, _, key = request.headers.get("authorization", "").partition(" ")
    account = await run_in_threadpool(people.of_upload_key, desk.people, key) if scheme.lower() == "bearer" else None
    if account is None:
        security_log.note("refused: unknown upload key", address=request.client.host if request.client else "")
        return JSONResponse({"problem": "The key is not known here."}, 401, {"www-authenticate": "Bearer"})
    if wait := desk.buckets.take(f"device {account.id}", desk.rates.device):
        return JSONResponse({"problem": "Too fast."}, 429, {"retry-after": str(max(1, round(wait)))})
    return account


def _answer(outcome: UploadOutcome) -> Response:
    return Response(to_json(outcome.answer), outcome.status, media_type="application/json")


def _no(status: int, sentence: str, wait: float = 2.0) -> Response:
    headers = {"retry-after": str(max(1, round(wait)))} if status == 503 else None
    return Response(to_json(UploadProblem(sentence)), status, headers, "application/json")


async def _body(request: Request, most: int) -> tuple[list[bytes], bool, bool]:
    """(what arrived, too much, broken off): what arrived before the line broke counts."""
    chunks: list[bytes] = []
    size = 0
    try:
        async for chunk in request.stream():
            size += len(chunk)
            if size > most:
                return [], True, False
            chunks.append(chunk)
    except ClientDisconnect:
        return chunks, False, True
    return chunks, False, False


async def offer(request: Request) -> Response:
    who = await _device(request)
    if isinstance(who, Response):
        return who
    chunks, too_much, _ = await _body(request, LARGEST_MANIFEST)
    if too_much:
        return _no(413, "The manifest is too large.")
    desk: Desk = request.app.state.desk
    waiting = request.headers.get("x-waiting", "")
    count = int(waiting) if waiting.isascii() and waiting.isdigit() and len(waiting) < 8 else -1

    def work(body: bytes) -> UploadOutcome:
        devices.heard_of(desk.people, who.id, count)
        return desk.incoming.offer(body, str(who.id))

    return await _do(request, work, b"".join(chunks))


async def state(request: Request) -> Response:
    who = await _device(request)
    if isinstance(who, Response):
        return who
    desk: Desk = request.app.state.desk
    return await _do(request, desk.incoming.state, request.path_params["upload"], who.name)


async def put(request: Request) -> Response:
    who = await _device(request)
    if isinstance(who, Response):
        return who
    try:
        begin, length, size = parse_range(request.headers.get("content-range", ""))
    except ValueError as error:
        return _no(400, f"{error}.")
    if length > PIECE:
        return _no(413, f"A piece is at most {PIECE} bytes.")
    chunks, too_much, _ = await _body(request, length)
    if too_much:
        return _no(400, "More came than Content-Range announced.")
    desk: Desk = request.app.state.desk
    names = request.path_params
    return await _do(request, desk.incoming.put, names["upload"], names["sha256"], begin, size, chunks, who.name)


async def commit(request: Request) -> Response:
    who = await _device(request)
    if isinstance(who, Response):
        return who
    desk: Desk = request.app.state.desk
    if wait := desk.buckets.wait(f"work {who.id}", desk.rates.work):
        return _no(503, "The desk has worked long on this device's visits; send the next one later.", wait)

    def work(upload: str) -> UploadOutcome:
        began = time.thread_time()
        try:
            return judged(upload)
        finally:
            desk.buckets.spend(f"work {who.id}", desk.rates.work, time.thread_time() - began)

    def judged(upload: str) -> UploadOutcome:
        desk.look_at_keys()
        judge: Judge = lambda opened: people.not_theirs(desk.people, who, opened.technician)  # noqa: E731
        outcome = desk.incoming.commit(upload, who.name, judge)
        if isinstance(outcome.answer, VisitStored):
            devices.stored(desk.people, who.id)
            what = "visit quarantined" if outcome.answer.quarantined else "visit stored"
            security_log.note(what, device=who.name, visit=outcome.answer.visit)
        elif isinstance(outcome.answer, UploadProblem):
            security_log.note("visit refused", device=who.name, upload=upload, why=outcome.answer.problem)
        if isinstance(outcome.answer, VisitStored) and outcome.status == 201:
            folder = folder_of(desk.visits, outcome.answer.visit)
            elsewhere = desk.files.elsewhere and not outcome.answer.quarantined
            ingest(desk.engine, folder, desk.known, sound_elsewhere=elsewhere, rights=desk.rights, heads=desk.heads,
                   one_in=desk.one_in, one=desk.one, names_of=desk.names_of)
        return outcome

    return await _do(request, work, request.path_params["upload"])


async def _do(request: Request, work: Callable[..., UploadOutcome], *arguments: object) -> Response:
    try:
        return _answer(await to_thread.run_sync(partial(work, *arguments), limiter=request.app.state.storing))
    except Busy:
        return _no(503, "Somebody else is sending the same visit; try again.")
    except Trouble as trouble:
        return _no(503, trouble.sentence)
    except OSError as error:
        return _no(503, f"The desk's disk failed ({error.strerror}); try again later.")


async def questions(request: Request) -> Response:
    """What is asked of the technicians whom this device may speak for."""
    who = await _device(request)
    if isinstance(who, Response):
        return who
    desk: Desk = request.app.state.desk

    def find() -> bytes:
        team = people.technicians_of(desk.people, who.team) if who.team else None
        names = None if team is None else registry.names_of_people(desk.people, team)
        return questions_file(threads.asked_of(desk.engine, names, desk.names_of))

    return Response(await to_thread.run_sync(find, limiter=request.app.state.storing), media_type="application/json")


ROUTES = [
    Route(PATH, offer, methods=["POST"]),
    Route(QUESTIONS, questions, methods=["GET"]),
    Route(f"{PATH}/{{upload}}", state, methods=["GET"]),
    Route(f"{PATH}/{{upload}}/commit", commit, methods=["POST"]),
    Route(f"{PATH}/{{upload}}/{{sha256}}", put, methods=["PUT"]),
]
