"""Signing in elsewhere: OpenID Connect (Core 1.0, the authorization code flow with PKCE, RFC 7636), by Authlib.

Rules of this file:

- This desk decides who may sign in, not the provider: an account is made with the address that the provider must vouch for
  (`people-add --mail`). The first time the provider must have verified it; from then on only the provider's own identifier
  of the person counts (issuer and subject), not the address.
- A sign-in that was begun is kept in the database for a while, under its own cookie, which comes back with the provider's
  answer, to whichever process; it is not a session.
- The provider is reached over TLS, except for one on this machine.
"""

from __future__ import annotations

import json
import secrets
import time
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlsplit

from sqlalchemy import Engine, delete, func, insert, select
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from handsfree.desk.people_tables import BegunElsewhere
from handsfree.desk.secret_hash import hash_of
from handsfree.errors import Trouble

#: Seconds to wait for an answer, and how many may wait at once.
WAIT, MOST = 600.0, 10_000
WELL_KNOWN = "/.well-known/openid-configuration"
BACK = "/elsewhere/back"
LOOPBACK = ("127.0.0.1", "localhost", "::1")


@dataclass(frozen=True)
class Vouched:
    """What the provider says: `subject` identifies the person permanently; `mail` only if the provider calls it verified,
    else ''. `to`: where they were going."""

    issuer: str
    subject: str
    mail: str
    to: str


class SignOn:
    """One provider. `label`: what it is called on the page. Trouble for an issuer that cannot be one."""

    def __init__(self, issuer: str, client: str, secret: str, label: str = "") -> None:
        from authlib.integrations.starlette_client import OAuth

        parts = urlsplit(issuer)
        near = parts.scheme == "http" and parts.hostname in LOOPBACK
        if not parts.netloc or (parts.scheme != "https" and not near):
            raise Trouble("Give the sign-in provider as its https address, as on its own pages.")
        self.issuer, self.label = issuer.rstrip("/"), label or str(parts.hostname)
        oauth = OAuth()
        self._client = oauth.register(
            "elsewhere", client_id=client, client_secret=secret, server_metadata_url=self.issuer + WELL_KNOWN,
            client_kwargs={"scope": "openid email", "code_challenge_method": "S256", "timeout": 20},
        )  # fmt: skip

    async def begin(self, request: Request, engine: Engine, origin: str, to: str, cookie: str, secure: bool) -> Response:
        """To the provider's own page. Trouble if it does not answer."""
        name, kept = secrets.token_urlsafe(32), {"to": to}
        request.scope["session"] = kept
        try:
            answer: Response = await self._client.authorize_redirect(request, origin + BACK)
        except Exception as error:  # a network, a provider: whatever they do is told in one sentence
            said = f"{self.label} does not answer ({type(error).__name__}); sign in with a password, or later."
            raise Trouble(said) from None
        await run_in_threadpool(_keep, engine, name, kept)
        # Lax: the answer comes from the provider's page, and a Strict cookie would not come with it.
        answer.set_cookie(cookie, name, max_age=int(WAIT), httponly=True, samesite="lax", secure=secure, path="/")
        return answer

    async def back(self, request: Request, engine: Engine, cookie: str) -> Vouched:
        """What the provider says about the person. Trouble if it does not answer a sign-in begun here."""
        kept = await run_in_threadpool(_take, engine, cookie)
        if not kept:
            raise Trouble("That took too long, or began in another browser. Sign in again.")
        request.scope["session"] = kept
        try:
            token = await self._client.authorize_access_token(request)
            claims = token["userinfo"]
            found = Vouched(
                str(claims["iss"]), str(claims["sub"]),
                str(claims.get("email", "")) if claims.get("email_verified") is True else "", str(kept["to"]),
            )  # fmt: skip
        except Exception as error:  # refused there, forged, or broken: nobody comes in by it
            raise Trouble(f"{self.label} did not vouch for you ({type(error).__name__}). Nothing was changed.") from None
        if found.issuer.rstrip("/") != self.issuer or not found.subject:
            raise Trouble(f"{self.label} answered for somebody else. Nothing was changed.")
        return found


def _keep(engine: Engine, name: str, kept: dict[str, Any]) -> None:
    now = time.time()
    with engine.begin() as connection:
        connection.execute(delete(BegunElsewhere).where(BegunElsewhere.at < now - WAIT))
        if (connection.scalar(select(func.count()).select_from(BegunElsewhere)) or 0) >= MOST:
            raise Trouble("Too many people are signing in at this moment. Try again in a few minutes.")
        connection.execute(insert(BegunElsewhere), [{"digest": hash_of(name), "kept": json.dumps(kept), "at": now}])


def _take(engine: Engine, name: str) -> dict[str, Any]:
    """What was kept, once; {} for nothing."""
    this = (BegunElsewhere.digest == hash_of(name), BegunElsewhere.at > time.time() - WAIT)
    with engine.begin() as connection:
        found: dict[str, Any] = json.loads(connection.scalar(select(BegunElsewhere.kept).where(*this)) or "{}")
        return found if connection.execute(delete(BegunElsewhere).where(*this)).rowcount == 1 else {}
