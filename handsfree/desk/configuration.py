"""The parts of a desk: where its visits are, its databases, its sound store, its limits."""

from __future__ import annotations

import secrets
import threading
import time
from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sqlalchemy import Engine

from handsfree.desk import people, queries, registry, security_log
from handsfree.desk.files import Files
from handsfree.desk.heads import Heads
from handsfree.desk.incoming import Intake
from handsfree.desk.people import LOCAL, UserAccount
from handsfree.desk.places import One
from handsfree.desk.queries import EVERYBODY, Scope
from handsfree.desk.quota import Quota
from handsfree.desk.secret_hash import hash_of
from handsfree.desk.signon import SignOn
from handsfree.journal import keys
from handsfree.journal.keys import DeviceKey
from handsfree.journal.rights import NO_RIGHTS, Rights

#: Seconds. It takes longer than the page it is for, and is only for choosing from.
CHOICES_LAST = 60.0


@dataclass(frozen=True)
class Rate:
    """Requests a second, and how many may come at once."""

    a_second: float
    at_once: float


@dataclass(frozen=True)
class Rates:
    address: Rate = Rate(50, 400)
    account: Rate = Rate(20, 300)
    device: Rate = Rate(50, 200)
    #: Seconds of a core that judging a device's visits may take: an honest one takes about a tenth.
    work: Rate = Rate(0.2, 60)


class Buckets:
    """Token buckets by name, in this process. `take` gives 0.0, or the seconds to wait."""

    def __init__(self) -> None:
        self._left: dict[str, tuple[float, float]] = {}
        self._lock = threading.Lock()

    def spend(self, name: str, rate: Rate, cost: float, now: float | None = None) -> None:
        """A cost that was not known beforehand: `wait` then makes the next request wait for it."""
        now = time.monotonic() if now is None else now
        with self._alone():
            self._put(name, self._filled(name, rate, now) - cost, now)

    def wait(self, name: str, rate: Rate, now: float | None = None) -> float:
        """Seconds until what was spent is refilled, 0.0 if it is; takes nothing."""
        now = time.monotonic() if now is None else now
        with self._alone():
            return max(0.0, -self._filled(name, rate, now) / rate.a_second)

    def take(self, name: str, rate: Rate, now: float | None = None) -> float:
        now = time.monotonic() if now is None else now
        with self._alone():
            left = self._filled(name, rate, now)
            wait = 0.0 if left >= 1 else (1 - left) / rate.a_second
            self._put(name, left - 1 if wait == 0 else left, now)
            return wait

    def _filled(self, name: str, rate: Rate, now: float) -> float:
        left, since = self._get(name) or (rate.at_once, now)
        return rate.at_once if since > now else min(rate.at_once, left + (now - since) * rate.a_second)

    # ---- where they are kept ---------------------------------------------------------------------------------------

    def _alone(self) -> AbstractContextManager[Any]:
        return self._lock

    def _get(self, name: str) -> tuple[float, float] | None:
        return self._left.get(name)

    def _put(self, name: str, left: float, since: float) -> None:
        self._left[name] = left, since
        if len(self._left) > 50_000:  # full buckets need not be remembered
            self._left = {n: v for n, v in self._left.items() if since - v[1] < 600}


@dataclass
class Desk:
    """`origins`: scheme and host by which browsers may reach it. `secure`: over TLS. `door`: the secret in the link printed
    at the start where there are no accounts, '' where there are; it opens once, and when that session is over `tell` is
    given the next one. `sign_on`: where people may sign in elsewhere, None for nowhere. `one_in`: of so many visits in
    which nothing needs a look one is drawn for review, 0 for none. `two_factors`: roles that must have a
    second factor. `stamp`: marks the sentences that this desk shows on a page (`web.then`). `processes`: how many this desk
    is: what one of them must know of another is in the databases or in files. `keys_folder`: where `known` and
    `rights` are from; None for nowhere, and they stay as they are. `seen_last`: accounts of the visits looked at last, see
    `visit_screen`."""

    visits: Path
    engine: Engine
    people: Engine
    files: Files
    origins: tuple[str, ...]
    key: DeviceKey | None = None
    known: dict[str, str] = field(default_factory=dict)
    signed_only: bool = False
    secure: bool = False
    door: str = ""
    rates: Rates = field(default_factory=Rates)
    buckets: Buckets = field(default_factory=Buckets)
    local: dict[str, tuple[float, float]] = field(default_factory=dict)
    quota: Quota = field(default_factory=Quota)
    stamp: bytes = field(default_factory=lambda: secrets.token_bytes(32), repr=False)
    tell: Callable[[str], None] = print
    rights: Rights = NO_RIGHTS
    sign_on: SignOn | None = None
    one_in: int = 0
    two_factors: frozenset[str] = frozenset()
    processes: int = 1
    keys_folder: Path | None = None
    _keys_as: object = field(default=None, repr=False)
    _choices: dict[Scope, tuple[float, dict[str, list[str]]]] = field(default_factory=dict, repr=False)
    _heads: Heads | None = field(default=None, repr=False)
    seen_last: dict[Any, Any] = field(default_factory=dict, repr=False)

    @property
    def heads(self) -> Heads:
        """The head ledger in the desk's own folder."""
        if self._heads is None:
            self._heads = Heads(self.own, self.key)
        return self._heads

    @property
    def one(self) -> One:
        """Which names of cabinets mean the same one, according to the registry."""
        return registry.one_of(self.people)

    def names_of(self, person: str) -> tuple[str, ...]:
        """Every name that records have for them, according to the registry."""
        return registry.names_of_person(self.people, person)

    def look_at_keys(self) -> None:
        """A key that was withdrawn since the last look no longer counts, and a new one does. Trouble if one cannot be
        read."""
        if self.keys_folder is not None and (mark := keys.mark_of(self.keys_folder)) != self._keys_as:
            self.known, self.rights = keys.known(self.keys_folder), keys.rights(self.keys_folder)
            self._keys_as = mark

    @property
    def own(self) -> Path:
        return self.visits / ".desk"

    @property
    def incoming(self) -> Intake:
        return Intake(self.visits, self.files, self.known, self.signed_only, self.quota, self.rights, self.heads)

    @property
    def hosts(self) -> frozenset[str]:
        return frozenset(origin.split("://", 1)[1] for origin in self.origins)

    @property
    def by_door(self) -> bool:
        """There are no accounts; the printed link is the way in."""
        return bool(self.door or self.local)

    def cookie(self) -> str:
        """The prefix binds it to this host over TLS."""
        return "__Host-desk" if self.secure else "desk"

    def enter(self, door: str) -> str | None:
        """A session for the person at this machine; the link works once."""
        if not self.door or not secrets.compare_digest(door.encode(), self.door.encode()):
            return None
        self.door = ""
        secret, at = secrets.token_urlsafe(32), time.time()
        self.local[hash_of(secret)] = at, at
        security_log.note("came in by the printed link")
        return secret

    def who(self, secret: str, now: float | None = None) -> UserAccount | None:
        digest, now = hash_of(secret), time.time() if now is None else now
        if (local := self.local.get(digest)) is None:
            return people.of_session(self.people, secret)
        began, seen = local
        if now - seen < people.IDLE and now - began < people.LONGEST:
            self.local[digest] = began, now
            return LOCAL
        self._next_door(digest)
        return None

    def leave(self, secret: str) -> None:
        if self.local.get(hash_of(secret)) is not None:
            self._next_door(hash_of(secret))
        people.end_session(self.people, secret)

    def _next_door(self, digest: str) -> None:
        if self.local.pop(digest, None) is not None:
            self.door = secrets.token_urlsafe(32)
            self.tell(f"The session is over. The desk is at {self.origins[0]}/enter/{self.door}  (this link works once)")

    def scope(self, account: UserAccount) -> Scope:
        """Whose visits an account may see: technicians their own, a supervisor their team's, '*' everybody's."""
        if account.role == "supervisor":
            if account.team == "*":
                return EVERYBODY
            return self._scope(*people.technicians_of(self.people, account.team), account.technician)
        if account.role == "technician":
            return self._scope(account.technician)
        return Scope(())

    def choices(self, scope: Scope) -> dict[str, list[str]]:
        """What the fields of a form offer to this viewer; worked out again after CHOICES_LAST seconds."""
        made, found = self._choices.get(scope, (0.0, None))
        if found is None or time.monotonic() - made > CHOICES_LAST:
            found = queries.choices(self.engine, scope)
            if len(self._choices) > 1000:
                self._choices.clear()
            self._choices[scope] = time.monotonic(), found
        return found

    def _scope(self, *names: str) -> Scope:
        """Under every name that records have for each of them."""
        return Scope(registry.names_of_people(self.people, names))
