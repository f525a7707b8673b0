"""Security keys as a second factor: WebAuthn (W3C, level 2), the `fido2` package. A key signs a challenge of this desk for
this address alone, so that a page that only looks like the desk's gets nothing.

Rules of this file:

- As with codes: only after the right password. One challenge for each waiting sign-in, and each is used once.
- If a key has a counter, it never falls: a copy of the key would show (W3C WebAuthn 6.1.1, from memory).
- Attestation (which make of key it is) is not asked for. Nor is the person's finger or the key's own PIN, because the
  password was right.
- A key is bound to a host name, never to an IP address (WebAuthn 5.1.2, from memory): at 127.0.0.1 none can be used.
"""

from __future__ import annotations

import ipaddress
import json
import time
from collections.abc import Sequence
from typing import Any

from fido2.server import Fido2Server
from fido2.utils import websafe_decode, websafe_encode
from fido2.webauthn import (
    AttestedCredentialData,
    AuthenticationResponse,
    PublicKeyCredentialRpEntity,
    PublicKeyCredentialUserEntity,
    UserVerificationRequirement,
)
from sqlalchemy import Engine, delete, func, insert, select, update

from handsfree.desk.people_tables import KeyChallenge, SecurityKey
from handsfree.desk.secret_hash import hash_of
from handsfree.errors import Trouble

#: Seconds that a challenge is valid, keys per person, and characters of a key's name.
WAIT, MOST, LONGEST = 300.0, 10, 60


def name_of(host: str) -> str:
    """The host name that keys are bound to here, '' if there is none: at a number, not a name."""
    name = host.rsplit(":", 1)[0] if not host.startswith("[") else ""
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return name
    return ""


def keys_of(engine: Engine, person: int) -> list[tuple[int, str, float]]:
    """(id, name, when it was added), the oldest first."""
    asked = select(SecurityKey.id, SecurityKey.name, SecurityKey.made).where(SecurityKey.person_id == person)
    with engine.connect() as connection:
        return [(row.id, row.name, row.made) for row in connection.execute(asked.order_by(SecurityKey.id))]


def begin(engine: Engine, person: int, account: str, host: str) -> str:
    """What a browser needs to register a key (JSON). Trouble if there are too many, or none can be used here."""
    if not name_of(host):
        raise Trouble(f"A security key needs a host name, and {host} is a number. Open the desk by its host name.")
    there = _credentials(engine, person)
    if len(there) >= MOST:
        raise Trouble(f"You have {MOST} security keys already; remove one first.")
    user = PublicKeyCredentialUserEntity(id=f"desk-{person}".encode(), name=account, display_name=account)
    options, state = _server(host).register_begin(user, there, user_verification=UserVerificationRequirement.DISCOURAGED)
    _keep(engine, _of_account(person), state)
    return json.dumps(dict(options)["publicKey"], default=_plain)


def add(engine: Engine, person: int, name: str, answer: str, host: str, origins: Sequence[str]) -> None:
    """The key that answered. Trouble if the answer is wrong, or the name is invalid."""
    name = name.strip() or "key"
    if len(name) > LONGEST or not name.isprintable():
        raise Trouble(f"The name of a key has at most {LONGEST} visible characters. Nothing was changed.")
    state = _take(engine, _of_account(person))
    try:
        made = _server(host, origins).register_complete(state, json.loads(answer)).credential_data
        assert made is not None
    except Exception as error:  # whatever a browser sends: nothing is believed that does not hold
        raise Trouble(f"That did not come from a security key ({type(error).__name__}). Nothing was changed.") from None
    with engine.begin() as connection:
        connection.execute(insert(SecurityKey), [{
            "person_id": person, "name": name, "credential": websafe_encode(bytes(made)), "used": 0, "made": time.time(),
        }])  # fmt: skip


def remove(engine: Engine, person: int, key: int) -> None:
    with engine.begin() as connection:
        connection.execute(delete(SecurityKey).where(SecurityKey.person_id == person, SecurityKey.id == key))


def challenge(engine: Engine, person: int, token: str, host: str) -> str:
    """For a waiting sign-in: what a browser needs to ask the person's keys (JSON), '' if they have none, or none can be
    used here."""
    there = _credentials(engine, person) if name_of(host) else []
    if not there:
        return ""
    options, state = _server(host).authenticate_begin(there, user_verification=UserVerificationRequirement.DISCOURAGED)
    _keep(engine, hash_of(token), state)
    return json.dumps(dict(options)["publicKey"], default=_plain)


def right(engine: Engine, person: int, token: str, answer: str, host: str, origins: Sequence[str]) -> bool:
    """Is it the answer of one of the person's keys to the challenge of that sign-in?"""
    try:
        state = _take(engine, hash_of(token))
        given: dict[str, Any] = json.loads(answer)
        found = _server(host, origins).authenticate_complete(state, _credentials(engine, person), given)
        count = AuthenticationResponse.from_dict(given).response.authenticator_data.counter
    except Exception:  # whatever a browser sends
        return False
    with engine.begin() as connection:
        this = (SecurityKey.person_id == person, SecurityKey.credential == websafe_encode(bytes(found)))
        was = connection.scalar(select(SecurityKey.used).where(*this))
        if was is None or (count <= was and (count, was) != (0, 0)):
            return False
        connection.execute(update(SecurityKey).where(*this).values(used=count))
    return True


def _server(host: str, origins: Sequence[str] = ()) -> Fido2Server:
    desk = PublicKeyCredentialRpEntity(name="handsfree desk", id=name_of(host))
    return Fido2Server(desk, verify_origin=lambda origin: origin in origins)


def _credentials(engine: Engine, person: int) -> list[AttestedCredentialData]:
    asked = select(SecurityKey.credential).where(SecurityKey.person_id == person).order_by(SecurityKey.id)
    with engine.connect() as connection:
        return [AttestedCredentialData(websafe_decode(text)) for text in connection.scalars(asked)]


def _plain(value: Any) -> Any:
    """What `json` does not know: bytes as WebAuthn's JSON has them, and the package's own mappings."""
    return websafe_encode(value) if isinstance(value, bytes) else dict(value)


def _of_account(person: int) -> str:
    return f"account-{person}"


def _keep(engine: Engine, of: str, state: Any) -> None:
    now = time.time()
    with engine.begin() as connection:
        connection.execute(delete(KeyChallenge).where((KeyChallenge.of == of) | (KeyChallenge.at < now - WAIT)))
        connection.execute(insert(KeyChallenge), [{"of": of, "state": json.dumps(state), "at": now}])


def _take(engine: Engine, of: str) -> Any:
    """Once. Trouble if there is none."""
    with engine.begin() as connection:
        here = (KeyChallenge.of == of, KeyChallenge.at >= time.time() - WAIT)
        text = connection.scalar(select(KeyChallenge.state).where(*here))
        if text is None or connection.execute(delete(KeyChallenge).where(KeyChallenge.of == of)).rowcount != 1:
            raise Trouble("That took too long, or was answered already. Begin again.")
    return json.loads(text)


def count(engine: Engine, person: int) -> int:
    with engine.connect() as connection:
        return connection.scalar(select(func.count()).select_from(SecurityKey).where(SecurityKey.person_id == person)) or 0
