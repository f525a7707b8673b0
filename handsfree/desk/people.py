"""Accounts, passwords, sessions, upload keys.

Rules of this file:

- Passwords are argon2id (RFC 9106, the `argon2-cffi` package), never written anywhere else.
- A session is 256 random bits in a cookie; the database has its SHA-256. It ends after `IDLE` without use, after `LONGEST`
  in any case, when signed out, and when the password, the role, the team or the name in the records changes.
- A wrong name takes as much time as a wrong password. Failures are counted by name and by place, in the database, so that
  several servers count together. They slow down the place they come from, and lock nobody out of their own account.
"""

from __future__ import annotations

import secrets
import time
from dataclasses import dataclass
from typing import Any

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError
from sqlalchemy import Connection, Engine, bindparam, delete, func, insert, select, update
from zxcvbn import zxcvbn

from handsfree.desk import database, factor, security_log
from handsfree.desk.factor import CodeWanted
from handsfree.desk.guesses import forgive, of_name, place_of
from handsfree.desk.people_tables import (
    Attempt,
    DeviceSeen,
    Elsewhere,
    PendingSignIn,
    PeopleBase,
    SavedSearch,
    SecondFactor,
    SecurityKey,
    SessionRow,
    User,
)
from handsfree.desk.secret_hash import hash_of
from handsfree.errors import Trouble

ROLES = ("technician", "supervisor", "writer", "device")
#: Seconds. ASVS 4.0.3, 3.3.2 for level 2: 30 minutes idle, 12 hours at the longest (from memory).
IDLE, LONGEST = 30 * 60.0, 12 * 3600.0
#: Failures of one name from one place, and of all names from one place, in WINDOW seconds until that place must wait: the
#: guesser waits, and the person at another place does not. Of one name from everywhere OF_NAME_ANYWHERE; beyond that only
#: places where the person has signed in before are judged, for `REMEMBERED` seconds. ASVS 4.0.3, 2.2.1: no more than 100
#: failed attempts an hour on one account (from memory); this is 80.
OF_NAME, OF_ADDRESS, OF_NAME_ANYWHERE, WINDOW, REMEMBERED = 5, 20, 20, 15 * 60.0, 30 * 86_400.0
#: ASVS 4.0.3, 2.1.1 and 2.1.2 (from memory): at least 12 characters, at most 128, none cut off.
SHORTEST_PASSWORD, LONGEST_PASSWORD = 12, 128
#: Guesses, as a power of ten, under which a password is refused: the estimate of the `zxcvbn` package, which knows 30,000
#: breached passwords, names and words. Its own scale calls 10^10 and more very hard to guess where the hash is slow.
GUESSES = 10.0
#: Of a password, the characters at either end that are judged: the package takes no more at once.
JUDGED = 72
#: Argon2id of 46 MiB, one pass, one lane: one of the settings the OWASP Password Storage Cheat Sheet calls equal (from
#: memory). The package's own (64 MiB, three passes) took 3.5 times as long on two cores with a hundred at the door.
MEMORY, PASSES, LANES = 46 * 1024, 1, 1

_hasher = PasswordHasher(time_cost=PASSES, memory_cost=MEMORY, parallelism=LANES)
_NOBODY = _hasher.hash(secrets.token_urlsafe(16))


@dataclass(frozen=True)
class UserAccount:
    id: int
    name: str
    role: str
    team: str
    technician: str


#: Whoever came by the link printed at the start: the person at this machine, if there are no accounts.
LOCAL = UserAccount(0, "this machine", "supervisor", "*", "")


def make_tables(engine: Engine) -> None:
    """Trouble if the database does not answer."""
    with database.answering(engine):
        PeopleBase.metadata.create_all(engine)


def judge_password(password: str, name: str) -> None:
    """Trouble if it is too short, too long, or easy to guess."""
    if len(password) < SHORTEST_PASSWORD:
        raise Trouble(f"A password has at least {SHORTEST_PASSWORD} characters; several words with spaces make a good one.")
    if len(password) > LONGEST_PASSWORD:
        raise Trouble(f"A password has at most {LONGEST_PASSWORD} characters.")
    ends = {password[:JUDGED], password[-JUDGED:]}
    if max(zxcvbn(end, user_inputs=[name, "handsfree", "desk"])["guesses_log10"] for end in ends) < GUESSES:
        raise Trouble("That password is easy to guess; use several words that do not belong together.")


def _judge_place(role: str, team: str) -> None:
    if role not in ROLES:
        raise Trouble(f"There is no role '{role}'; a person is a {', '.join(ROLES[:-1])} or a {ROLES[-1]}.")
    if role == "supervisor" and not team:
        raise Trouble("A supervisor has a team: give --team NAME, or --team '*' for everybody.")
    if role != "supervisor" and team == "*":
        raise Trouble("Only a supervisor's team can be '*' (everybody); give the name of one team.")


def add(engine: Engine, name: str, role: str, team: str, technician: str, password: str, mail: str = "") -> str:
    """A new account; the upload key of a device, shown once, '' for the others. `mail`: who has it signs in elsewhere, and
    needs no password. Trouble for what cannot be."""
    _judge_place(role, team)
    if not 1 <= len(name) <= 100 or not name.isprintable():
        raise Trouble("A name has 1 to 100 visible characters.")
    key = secrets.token_urlsafe(32) if role == "device" else ""
    if role == "device" and mail:
        raise Trouble("A device signs in with its key alone.")
    if mail and (mail.count("@") != 1 or len(mail) > 200 or not mail.isprintable()):
        raise Trouble("--mail is the person's address at the sign-in provider, such as name@example.org")
    by_password = role != "device" and not (mail and not password)
    if by_password:
        judge_password(password, name)
    row = {"name": name, "role": role, "team": team, "technician": technician or name,
           "password": _hasher.hash(password) if by_password else "", "upload_key": hash_of(key) if key else ""}
    with engine.begin() as connection:
        if connection.scalar(select(func.count()).select_from(User).where(User.name == name)):
            raise Trouble(f"Somebody is called '{name}' already; remove them first, or choose another name.")
        if mail and connection.scalar(select(Elsewhere.person_id).where(Elsewhere.mail == mail.casefold())) is not None:
            raise Trouble(f"Somebody has the address {mail} already.")
        made = connection.execute(insert(User).returning(User.id), [row]).scalar_one()
        if mail:
            values = {"person_id": made, "mail": mail.casefold(), "issuer": "", "subject": ""}
            connection.execute(insert(Elsewhere), [values])
    security_log.note("account made", name=name, role=role, team=team)
    return key


def _there(connection: Connection, name: str) -> Any:
    row = connection.execute(select(User).where(User.name == name)).first()
    if row is None:
        raise Trouble(f"There is nobody called '{name}'; 'handsfree desk people-list' lists everybody.")
    return row


def remove(engine: Engine, name: str) -> None:
    """All their sessions end. Trouble if there is nobody of that name."""
    with engine.begin() as connection:
        row = _there(connection, name)
        for table in (SessionRow, SavedSearch, DeviceSeen, SecondFactor, SecurityKey, PendingSignIn, Elsewhere):
            connection.execute(delete(table).where(table.person_id == row.id))
        connection.execute(delete(User).where(User.id == row.id))
    security_log.note("account removed", name=name)


def alter(
    engine: Engine, name: str, role: str | None = None, team: str | None = None, technician: str | None = None
) -> None:
    """Another role, team or name in the records, None for unchanged; all their sessions end. Trouble for impossible
    values."""
    with engine.begin() as connection:
        row = _there(connection, name)
        role, team = row.role if role is None else role, row.team if team is None else team
        _judge_place(role, team)
        if "device" in (role, row.role) and role != row.role:
            raise Trouble("A device has a key and a person a password: make a new account instead.")
        values = {"role": role, "team": team, "technician": row.technician if technician is None else technician or name}
        connection.execute(update(User).where(User.id == row.id).values(**values))
        connection.execute(delete(SessionRow).where(SessionRow.person_id == row.id))
    security_log.note("account changed", name=name, role=role, team=team)


def forget_codes(engine: Engine, name: str) -> None:
    """By the person who runs the desk, for somebody who lost their telephone or security key: the second factor is off, and
    all their sessions end."""
    with engine.begin() as connection:
        row = _there(connection, name)
        for table in (SecondFactor, SecurityKey):
            connection.execute(delete(table).where(table.person_id == row.id))
        connection.execute(delete(SessionRow).where(SessionRow.person_id == row.id))
    security_log.note("second factor taken away", name=name)


def reset_password(engine: Engine, name: str, password: str) -> None:
    """By the person who runs the desk, for somebody who forgot theirs; all their sessions end, and failures count from
    zero."""
    judge_password(password, name)
    with engine.begin() as connection:
        row = _there(connection, name)
        if row.role == "device":
            raise Trouble("A device has a key, not a password: for a new key, remove it and add it again.")
        counted = (Attempt.of == of_name(name)) | Attempt.of.startswith(f"{of_name(name)}|", autoescape=True)
        connection.execute(delete(Attempt).where(counted))
        _put_password(connection, row.id, password)
    security_log.note("password reset", name=name)


def _put_password(connection: Connection, person: int, password: str) -> None:
    connection.execute(update(User).where(User.id == person).values(password=_hasher.hash(password)))
    for table in (SessionRow, PendingSignIn):  # a sign-in that waits for its code came by the old one
        connection.execute(delete(table).where(table.person_id == person))


def everybody(engine: Engine) -> list[UserAccount]:
    with engine.connect() as connection:
        rows = connection.execute(select(User).order_by(User.name))
        return [UserAccount(r.id, r.name, r.role, r.team, r.technician) for r in rows]


def persons(engine: Engine) -> int:
    """How many people sign in; devices do not."""
    return sum(account.role != "device" for account in everybody(engine))


def lacks_factor(engine: Engine, account: UserAccount, roles: frozenset[str]) -> bool:
    """Does the account's role need a second factor that it does not have? For an account without a password the sign-in
    provider answers, and for a desk without accounts the machine itself."""
    if account.role not in roles or not account.id or factor.there(engine, account.id):
        return False
    with engine.connect() as connection:
        return bool(connection.scalar(select(User.password).where(User.id == account.id)))


def supervisors(engine: Engine) -> list[str]:
    """Their names."""
    return [row.name for row in database.look_up(engine, _SUPERVISORS)]


def technicians_of(engine: Engine, team: str) -> list[str]:
    """The names in the records of a team's technicians."""
    return sorted({row.technician for row in database.look_up(engine, _TEAM, {"of": team})}) if team else []


_SUPERVISORS = select(User.name).where(User.role == "supervisor").order_by(User.name)
_TEAM = select(User.technician).where(User.team == bindparam("of"), User.role == "technician")


def not_theirs(engine: Engine, device: UserAccount, technician: str) -> str:
    """The objection to a device of one team sending a visit in the name of another team's technician, as a sentence; '' if
    it has no team, or the name is unknown here."""
    if not device.team:
        return ""
    with engine.connect() as connection:
        asked = select(User.team).where(User.technician == technician, User.role != "device", User.team != "*")
        teams = sorted(set(connection.scalars(asked)))
    if not teams or device.team in teams:
        return ""
    return f"{device.name} is a device of team {device.team}, and {technician} works in team {' and '.join(teams)}."


def sign_in(
    engine: Engine, name: str, password: str, address: str, now: float | None = None
) -> str | CodeWanted | None:
    """The secret of a new session, or a request for a code first; None if name or password is wrong. Trouble after too many
    failures."""
    now = time.time() if now is None else now
    person = judged(engine, name, password, address, now)
    if person is None:
        return None
    return factor.wait_for(engine, person, now) if factor.there(engine, person) else begin_session(engine, person, now)


def judged(engine: Engine, name: str, password: str, address: str, now: float) -> int | None:
    """Whose name and password these are, None for nobody's. Trouble after too many failures."""
    place = place_of(address)
    named, of_address, here = of_name(name), f"from:{place}", f"{of_name(name)}|{place}"
    seen = f"seen:{hash_of(here)}"
    with engine.begin() as connection:
        old = Attempt.at < now - WINDOW
        connection.execute(delete(Attempt).where(old, Attempt.of.not_like("seen:%")))
        connection.execute(delete(Attempt).where(Attempt.at < now - REMEMBERED))
        # Of a name before it is judged, so that many at once are no way round the limit; from an address only failures, for
        # a whole office may come in by one in the same minute.
        connection.execute(insert(Attempt), [{"of": named, "at": now}, {"of": here, "at": now}])
        row = connection.execute(select(User).where(User.name == name)).first()
        who = name if row is not None else "(nobody of that name)"

        def count(of: str) -> int:
            return connection.scalar(select(func.count()).select_from(Attempt).where(Attempt.of == of)) or 0

        known_here = count(seen) > 0
        if count(here) > OF_NAME or count(of_address) >= OF_ADDRESS or (
            count(named) > OF_NAME_ANYWHERE and not known_here
        ):
            security_log.note("sign-in not tried, too many failures", name=who, address=address)
            raise Trouble("Too many failed sign-ins from here. Wait a quarter of an hour.")
    right = _right(row.password if row is not None and row.password else _NOBODY, password)
    security_log.note("password right" if right else "password wrong", name=who, address=address)
    with engine.begin() as connection:
        if not right or row is None or not row.password:
            connection.execute(insert(Attempt), [{"of": of_address, "at": now}])
            return None
        if not factor.asked_of(connection, row.id):
            forgive(connection, here, now)
        if _hasher.check_needs_rehash(row.password):
            connection.execute(update(User).where(User.id == row.id).values(password=_hasher.hash(password)))
    return int(row.id)


def _right(hashed: str, password: str) -> bool:
    try:
        return _hasher.verify(hashed, password[: LONGEST_PASSWORD + 1])
    except (VerificationError, InvalidHashError):
        return False


def begin_session(engine: Engine, person: int, now: float | None = None) -> str:
    now = time.time() if now is None else now
    secret = secrets.token_urlsafe(32)
    with engine.begin() as connection:
        connection.execute(delete(SessionRow).where((SessionRow.seen < now - IDLE) | (SessionRow.made < now - LONGEST)))
        connection.execute(insert(SessionRow), [{"digest": hash_of(secret), "person_id": person, "made": now, "seen": now}])
    return secret


def of_session(engine: Engine, secret: str, now: float | None = None) -> UserAccount | None:
    """Whose session it is, None for one that is unknown or over."""
    now = time.time() if now is None else now
    row = next(iter(database.look_up(engine, _SESSION, {"of": hash_of(secret)})), None)
    if row is None or row.seen < now - IDLE or row.made < now - LONGEST:
        return None
    if row.seen < now - 60:  # to the minute is enough, and spares a write with every request
        with engine.begin() as connection:
            connection.execute(update(SessionRow).where(SessionRow.digest == hash_of(secret)).values(seen=now))
    return UserAccount(row.id, row.name, row.role, row.team, row.technician)


_SESSION = (
    select(User.id, User.name, User.role, User.team, User.technician, SessionRow.seen, SessionRow.made)
    .join(SessionRow, SessionRow.person_id == User.id)
    .where(SessionRow.digest == bindparam("of"))
)


def end_session(engine: Engine, secret: str) -> None:
    with engine.begin() as connection:
        connection.execute(delete(SessionRow).where(SessionRow.digest == hash_of(secret)))


@dataclass(frozen=True)
class BrowserSession:
    """`made`, `seen`: seconds of the epoch, `seen` to the minute."""

    made: float
    seen: float


def sessions_of(engine: Engine, person: int, now: float | None = None) -> list[BrowserSession]:
    """Those that are open, the newest first."""
    now = time.time() if now is None else now
    with engine.connect() as connection:
        rows = connection.execute(
            select(SessionRow.made, SessionRow.seen)
            .where(SessionRow.person_id == person, SessionRow.seen >= now - IDLE, SessionRow.made >= now - LONGEST)
            .order_by(SessionRow.made.desc())
        )
        return [BrowserSession(row.made, row.seen) for row in rows]


def end_all(engine: Engine, account: UserAccount, password: str, address: str) -> None:
    """All sessions of the account end. Trouble if the password is wrong."""
    owns(engine, account, password, address)
    with engine.begin() as connection:
        connection.execute(delete(SessionRow).where(SessionRow.person_id == account.id))
    security_log.note("every session ended", name=account.name)


def owns(engine: Engine, account: UserAccount, password: str, address: str) -> None:
    """Trouble if that is not the account's password."""
    if judged(engine, account.name, password, address, time.time()) is None:
        raise Trouble("That is not your present password.")


def change_password(engine: Engine, account: UserAccount, old: str, new: str, address: str) -> None:
    """All sessions of the account end. Trouble if the old one is wrong or the new one is not acceptable."""
    owns(engine, account, old, address)
    judge_password(new, account.name)
    with engine.begin() as connection:
        _put_password(connection, account.id, new)
    security_log.note("password changed", name=account.name)


def of_upload_key(engine: Engine, key: str) -> UserAccount | None:
    """The device a key belongs to."""
    with engine.connect() as connection:
        row = connection.execute(select(User).where(User.upload_key == hash_of(key), User.role == "device")).first()
    return None if row is None or not key else UserAccount(row.id, row.name, row.role, row.team, row.technician)
