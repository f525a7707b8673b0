"""What a failed sign-in counts against, and when it is forgiven; `people` has the limits."""

from __future__ import annotations

import ipaddress
import time

from sqlalchemy import Connection, Engine, delete, insert, select

from handsfree.desk.people_tables import Attempt, User
from handsfree.desk.secret_hash import hash_of


def of_name(name: str) -> str:
    return f"name:{name[:100]}"


def place_of(address: str) -> str:
    """The place that failures and requests count for: an IPv4 address, or the /64 of an IPv6 one, which is one place."""
    try:
        found = ipaddress.ip_address(address)
    except ValueError:
        return address[:50]
    if isinstance(found, ipaddress.IPv6Address) and found.ipv4_mapped is None:
        return str(ipaddress.ip_network((found, 64), strict=False))
    return str(getattr(found, "ipv4_mapped", None) or found)


def forgive(connection: Connection, here: str, now: float) -> None:
    """Somebody is who they say: failures of that name from that place count from zero, and the place is remembered."""
    seen = f"seen:{hash_of(here)}"
    connection.execute(delete(Attempt).where(Attempt.of.in_((here, seen))))
    connection.execute(insert(Attempt), [{"of": seen, "at": now}])


def factor_judged(engine: Engine, person: int, address: str, right: bool, now: float | None = None) -> None:
    """After a second factor: a wrong one counts as a wrong password does, so that signing in over and over is no way to more
    guesses."""
    now, place = time.time() if now is None else now, place_of(address)
    with engine.begin() as connection:
        named = of_name(connection.scalar(select(User.name).where(User.id == person)) or "")
        if right:
            forgive(connection, f"{named}|{place}", now)
            return
        failed = (named, f"{named}|{place}", f"from:{place}")
        connection.execute(insert(Attempt), [{"of": of, "at": now} for of in failed])
