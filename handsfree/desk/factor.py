"""A second factor: codes that change every half minute (RFC 6238, the `pyotp` package), from a program on a telephone; or a
security key (`keyfobs`).

Rules of this file:

- It is asked for only after the right password, and each code is accepted once: a code seen over a shoulder is worth
  nothing.
- A sign-in that waits for its code has its own secret, ends after WAIT seconds or TRIES wrong codes, and is not a session.
- The secret of the codes must be stored readable, because codes are worked out from it: it is in the database of people,
  which only its owner can read.
"""

from __future__ import annotations

import secrets
import time
from collections.abc import Sequence
from dataclasses import dataclass

import pyotp
from sqlalchemy import Connection, Engine, delete, insert, select, update

from handsfree.desk import keyfobs
from handsfree.desk.people_tables import PendingSignIn, SecondFactor, SecurityKey
from handsfree.desk.secret_hash import hash_of
from handsfree.errors import Trouble

#: Seconds that a code is waited for, wrong codes until the password is asked again, and seconds a code is good for. A code
#: of the half minute before or after is taken, for clocks differ.
WAIT, TRIES, STEP = keyfobs.WAIT, 5, 30
TOO_LATE = "That took too long, or too many tries. Sign in again."


@dataclass(frozen=True)
class CodeWanted:
    """The password was right; `token` names the sign-in that waits for its code, or for the person's security key."""

    token: str
    person: int


@dataclass(frozen=True)
class FactorSecret:
    """A secret to be put into a telephone: as letters, and as an address that a camera reads off `qr` (SVG)."""

    secret: str
    qr: str


def wanted(engine: Engine, person: int) -> bool:
    with engine.connect() as connection:
        return bool(connection.scalar(select(SecondFactor.confirmed).where(SecondFactor.person_id == person)))


def there(engine: Engine, person: int) -> bool:
    """Whether the person has a second factor of any kind."""
    with engine.connect() as connection:
        return asked_of(connection, person)


def asked_of(connection: Connection, person: int) -> bool:
    """The same, in the middle of other work."""
    codes = connection.scalar(select(SecondFactor.confirmed).where(SecondFactor.person_id == person))
    key = select(SecurityKey.id).where(SecurityKey.person_id == person).limit(1)
    return bool(codes) or connection.scalar(key) is not None


def begin(engine: Engine, person: int, name: str) -> FactorSecret:
    """A new secret, which counts after a first right code. Trouble if there is already a second factor."""
    import segno

    if wanted(engine, person):
        raise Trouble("You already have a second factor; remove it first.")
    secret = pyotp.random_base32()
    with engine.begin() as connection:
        connection.execute(delete(SecondFactor).where(SecondFactor.person_id == person))
        connection.execute(insert(SecondFactor), [{"person_id": person, "secret": secret, "confirmed": 0, "used": 0}])
    address = pyotp.TOTP(secret).provisioning_uri(name=name, issuer_name="handsfree desk")
    return FactorSecret(secret, segno.make(address, error="m").svg_inline(scale=4, border=4))


def confirm(engine: Engine, person: int, code: str, now: float | None = None) -> None:
    """Trouble if the code is not from the secret shown last."""
    with engine.begin() as connection:
        if not _taken(connection, person, code, now, confirmed=0):
            raise Trouble("That code is wrong. Check the telephone's clock, and type the code that it shows now.")
        connection.execute(update(SecondFactor).where(SecondFactor.person_id == person).values(confirmed=1))


def remove(engine: Engine, person: int) -> None:
    with engine.begin() as connection:
        connection.execute(delete(SecondFactor).where(SecondFactor.person_id == person))


def wait_for(engine: Engine, person: int, now: float | None = None) -> CodeWanted:
    """A sign-in whose password was right."""
    now, token = time.time() if now is None else now, secrets.token_urlsafe(32)
    with engine.begin() as connection:
        connection.execute(delete(PendingSignIn).where(PendingSignIn.at < now - WAIT))
        connection.execute(insert(PendingSignIn), [{"digest": hash_of(token), "person_id": person, "at": now, "tries": 0}])
    return CodeWanted(token, person)


def judge(engine: Engine, token: str, code: str, now: float | None = None) -> int | None:
    """Whose sign-in it is, if the code is right; otherwise None. Trouble if the password must be asked for again."""
    with engine.begin() as connection:
        person = _waiting(connection, token, now)
        return _done(connection, token, person, _taken(connection, person, code, now, confirmed=1))


def judge_key(engine: Engine, token: str, answer: str, host: str, origins: Sequence[str]) -> int | None:
    """Like `judge`, for a security key's answer."""
    person = waits(engine, token)
    right = keyfobs.right(engine, person, token, answer, host, origins)
    with engine.begin() as connection:
        return _done(connection, token, person, right)


def waits(engine: Engine, token: str, now: float | None = None) -> int:
    """Whose sign-in is waiting. Trouble if the password must be asked for again."""
    with engine.connect() as connection:
        return _waiting(connection, token, now)


def _waiting(connection: Connection, token: str, now: float | None) -> int:
    now = time.time() if now is None else now
    asked = select(*PendingSignIn.__table__.columns).where(PendingSignIn.digest == hash_of(token))
    row = connection.execute(asked).first()
    if row is None or row.at < now - WAIT or row.tries >= TRIES:
        raise Trouble(TOO_LATE)
    return int(row.person_id)


def _done(connection: Connection, token: str, person: int, right: bool) -> int | None:
    """The sign-in is over, once, or one more failed attempt is counted."""
    this = PendingSignIn.digest == hash_of(token)
    if not right:
        connection.execute(update(PendingSignIn).where(this).values(tries=PendingSignIn.tries + 1))
        return None
    return person if connection.execute(delete(PendingSignIn).where(this)).rowcount == 1 else None


def _taken(connection: Connection, person: int, code: str, now: float | None, confirmed: int) -> bool:
    """Is it the present code, or next to it, and not used before? Then it is used up."""
    now = time.time() if now is None else now
    row = connection.execute(
        select(SecondFactor.secret, SecondFactor.used)
        .where(SecondFactor.person_id == person, SecondFactor.confirmed == confirmed)
    ).first()
    code = "".join(code.split())
    if row is None or len(code) != 6 or not (code.isascii() and code.isdigit()):
        return False
    codes, here = pyotp.TOTP(row.secret, interval=STEP), int(now) // STEP
    for step in (here, here - 1, here + 1):
        if step > row.used and secrets.compare_digest(codes.at(step * STEP), code):
            took = update(SecondFactor).where(SecondFactor.person_id == person, SecondFactor.used < step).values(used=step)
            return connection.execute(took).rowcount == 1
    return False
