"""What every request passes first: who asks, from where, how often; and what goes with every answer.

Rules of this file:

- A request for a host name that is not the desk's is refused: a foreign page would use one to reach a desk on loopback.
- A request from another origin changes nothing. Browsers send `Origin` with every POST; a POST without it is refused, except
  from devices, which send a key and no cookie.
- Every answer carries a content-security policy under which only the desk's own files run, and no cache keeps it.
"""

from __future__ import annotations

from functools import partial

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import cookie_parser
from starlette.responses import PlainTextResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from handsfree.desk import people, security_log
from handsfree.desk.configuration import Desk
from handsfree.desk.guesses import place_of

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; media-src 'self'; connect-src 'self'; "
    "form-action 'self'; frame-ancestors 'none'; base-uri 'none'"
)
HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "same-origin",  # under 'no-referrer' browsers send 'Origin: null' with a form
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=(), payment=()",
}
READS = ("GET", "HEAD")


class Guard:
    def __init__(self, app: ASGIApp, desk: Desk) -> None:
        self.app = app
        self.desk = desk

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                self._dress(MutableHeaders(scope=message), scope["path"])
            await send(message)

        refused = await self._refused(scope)
        await (refused or self.app)(scope, receive, with_headers)

    async def _refused(self, scope: Scope) -> Response | None:
        desk, headers = self.desk, Headers(scope=scope)
        address = scope["client"][0] if scope.get("client") else ""
        if wait := desk.buckets.take(f"address {place_of(address)}", desk.rates.address):
            return _slower(wait)
        if headers.get("host", "") not in desk.hosts:
            security_log.note("refused: another host name", address=address, host=headers.get("host", ""))
            return PlainTextResponse("This desk does not have that name.", 400)
        state = scope.setdefault("state", {})
        state["account"], state["secret"], state["lacks_factor"] = None, "", False
        if scope["path"].startswith("/upload"):
            return None  # by key, not by cookie: see `uploads`
        secret = cookie_parser(headers.get("cookie", "")).get(desk.cookie(), "")
        if secret and not scope["path"].startswith("/static/"):
            account = await run_in_threadpool(desk.who, secret)
            if account is not None:
                state["account"], state["secret"] = account, secret
                if account.role in desk.two_factors:
                    lacks = partial(people.lacks_factor, desk.people, account, desk.two_factors)
                    state["lacks_factor"] = await run_in_threadpool(lacks)
                if wait := desk.buckets.take(f"account {account.id}", desk.rates.account):
                    return _slower(wait)
        if scope["method"] not in READS and headers.get("origin") not in desk.origins:
            origin = headers.get("origin", "")
            security_log.note("refused: from another page", address=address, origin=origin, path=scope["path"])
            return PlainTextResponse("This did not come from one of the desk's own pages; nothing was changed.", 403)
        return None

    def _dress(self, headers: MutableHeaders, path: str) -> None:
        for name, value in HEADERS.items():
            headers[name] = value
        headers["cache-control"] = "max-age=3600" if path.startswith("/static/") else "no-store"
        if self.desk.secure:
            headers["strict-transport-security"] = "max-age=31536000"
        if "server" in headers:
            del headers["server"]


def _slower(wait: float) -> Response:
    return PlainTextResponse("Too many requests; slower, please.", 429, {"retry-after": str(max(1, round(wait)))})
