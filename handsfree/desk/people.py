"""Accounts, passwords, sessions, upload keys.

Rules of this file:

- Passwords are argon2id (RFC 9106, the `argon2-cffi` package with its own defaults), never written anywhere else.
- A session is 256 random bits in a cookie; the database has its SHA-256. It ends after `IDLE` without use, after `LONGEST`
  in any case, when signed out, and when the password changes.
- A wrong name costs as much time as a wrong password. Failures are counted by name and by address, in the database, so that
  several servers count together.
"""

from __future__ import annotations

import hashlib
import secrets
import time
from dataclasses import dataclass

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError
from sqlalchemy import Engine, delete, func, insert, select, update

from handsfree.desk.people_tables import Attempt, PeopleBase, Person, SessionRow
from handsfree.errors import Trouble

ROLES = ("technician", "supervisor", "writer", "device")
#: Seconds. ASVS 4.0.3, 3.3.2 for level 2: 30 minutes idle, 12 hours at the longest (from memory).
IDLE, LONGEST = 30 * 60.0, 12 * 3600.0
#: Failures of one name, and from one address, in WINDOW seconds until it must wait. ASVS 4.0.3, 2.2.1: no more than 100
#: failed attempts an hour on one account (from memory); this is well under it.
OF_NAME, OF_ADDRESS, WINDOW = 5, 20, 15 * 60.0
#: ASVS 4.0.3, 2.1.1 and 2.1.2 (from memory): at least 12 characters, at most 128, none cut off.
SHORTEST_PASSWORD, LONGEST_PASSWORD = 12, 128
#: ASVS 4.0.3, 2.1.7 asks for a list of breached passwords; none is carried, only what is guessed first here.
OBVIOUS = ("handsfree", "password", "passwort", "supervisor", "technician", "123456", "qwerty")

_hasher = PasswordHasher()
_NOBODY = _hasher.hash(secrets.token_urlsafe(16))


@dataclass(frozen=True)
class Account:
    id: int
    name: str
    role: str
    team: str
    technician: str


#: Who came by the link that was printed at the start: the person at this machine, where there are no accounts.
LOCAL = Account(0, "this machine", "supervisor", "*", "")


def make_tables(engine: Engine) -> None:
    PeopleBase.metadata.create_all(engine)


def digest(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()


def judge_password(password: str, name: str) -> None:
    """Trouble where it is too short, too long, or what would be tried first."""
    if len(password) < SHORTEST_PASSWORD:
        raise Trouble(f"A password has at least {SHORTEST_PASSWORD} characters; several words with spaces make a good one.")
    if len(password) > LONGEST_PASSWORD:
        raise Trouble(f"A password has at most {LONGEST_PASSWORD} characters.")
    plain = password.lower()
    left = plain
    for word in (*OBVIOUS, name.lower()):
        left = left.replace(word, "") if word else left
    if len(set(left)) < 4:
        raise Trouble("That password would be guessed; take several words that do not belong together.")


def add(engine: Engine, name: str, role: str, team: str, technician: str, password: str) -> str:
    """A new account; the upload key of a device, shown once, '' for the others. Trouble for what cannot be."""
    if role not in ROLES:
        raise Trouble(f"There is no role '{role}'; a person is a {', '.join(ROLES[:-1])} or a {ROLES[-1]}.")
    if not 1 <= len(name) <= 100 or not name.isprintable():
        raise Trouble("A name has 1 to 100 characters that can be seen.")
    key = secrets.token_urlsafe(32) if role == "device" else ""
    if role != "device":
        judge_password(password, name)
    row = {"name": name, "role": role, "team": team, "technician": technician or name,
           "password": _hasher.hash(password) if role != "device" else "", "upload_key": digest(key) if key else ""}
    with engine.begin() as connection:
        if connection.scalar(select(func.count()).select_from(Person).where(Person.name == name)):
            raise Trouble(f"There is somebody called '{name}' already; take them away first, or choose another name.")
        connection.execute(insert(Person), [row])
    return key


def remove(engine: Engine, name: str) -> None:
    with engine.begin() as connection:
        of = select(Person.id).where(Person.name == name)
        connection.execute(delete(SessionRow).where(SessionRow.person_id.in_(of)))
        if connection.execute(delete(Person).where(Person.name == name)).rowcount == 0:
            raise Trouble(f"There is nobody called '{name}'; 'handsfree desk people-list' shows who there is.")


def everybody(engine: Engine) -> list[Account]:
    with engine.connect() as connection:
        rows = connection.execute(select(Person).order_by(Person.name))
        return [Account(r.id, r.name, r.role, r.team, r.technician) for r in rows]


def technicians_of(engine: Engine, team: str) -> list[str]:
    """The names in the records of a team's technicians."""
    with engine.connect() as connection:
        rows = connection.scalars(select(Person.technician).where(Person.team == team, Person.role == "technician"))
        return sorted(set(rows))


def sign_in(engine: Engine, name: str, password: str, address: str, now: float | None = None) -> str | None:
    """The secret of a new session; None where name or password is wrong. Trouble where there were too many failures."""
    now = time.time() if now is None else now
    of_name, of_address = f"name:{name[:100]}", f"from:{address[:50]}"
    with engine.begin() as connection:
        connection.execute(delete(Attempt).where(Attempt.at < now - WINDOW))
        # Of a name before it is judged, so that many at once are no way round the limit; from an address only failures, for
        # a whole office may come in by one in the same minute.
        connection.execute(insert(Attempt), [{"of": of_name, "at": now}])
        for of, most in ((of_name, OF_NAME), (of_address, OF_ADDRESS - 1)):
            if (connection.scalar(select(func.count()).select_from(Attempt).where(Attempt.of == of)) or 0) > most:
                raise Trouble("Too many failures to sign in. Wait a quarter of an hour.")
        row = connection.execute(select(Person).where(Person.name == name)).first()
    right = _right(row.password if row is not None and row.password else _NOBODY, password)
    with engine.begin() as connection:
        if not right or row is None or not row.password:
            connection.execute(insert(Attempt), [{"of": of_address, "at": now}])
            return None
        connection.execute(delete(Attempt).where(Attempt.of == of_name))
        if _hasher.check_needs_rehash(row.password):
            connection.execute(update(Person).where(Person.id == row.id).values(password=_hasher.hash(password)))
    return begin_session(engine, row.id, now)


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
        connection.execute(insert(SessionRow), [{"digest": digest(secret), "person_id": person, "made": now, "seen": now}])
    return secret


def of_session(engine: Engine, secret: str, now: float | None = None) -> Account | None:
    """Who it is, None for a session that is none or over."""
    now = time.time() if now is None else now
    with engine.connect() as connection:
        row = connection.execute(
            select(Person, SessionRow.seen, SessionRow.made)
            .join(SessionRow, SessionRow.person_id == Person.id)
            .where(SessionRow.digest == digest(secret))
        ).first()
    if row is None or row.seen < now - IDLE or row.made < now - LONGEST:
        return None
    if row.seen < now - 60:  # to the minute is enough, and spares a write with every request
        with engine.begin() as connection:
            connection.execute(update(SessionRow).where(SessionRow.digest == digest(secret)).values(seen=now))
    return Account(row.id, row.name, row.role, row.team, row.technician)


def end_session(engine: Engine, secret: str) -> None:
    with engine.begin() as connection:
        connection.execute(delete(SessionRow).where(SessionRow.digest == digest(secret)))


def change_password(engine: Engine, account: Account, old: str, new: str, address: str) -> None:
    """All sessions of the account end. Trouble where the old one is wrong or the new one will not do."""
    secret = sign_in(engine, account.name, old, address)
    if secret is None:
        raise Trouble("The password you have now was not that.")
    end_session(engine, secret)
    judge_password(new, account.name)
    with engine.begin() as connection:
        connection.execute(update(Person).where(Person.id == account.id).values(password=_hasher.hash(new)))
        connection.execute(delete(SessionRow).where(SessionRow.person_id == account.id))


def of_upload_key(engine: Engine, key: str) -> Account | None:
    """The device a key belongs to."""
    with engine.connect() as connection:
        row = connection.execute(select(Person).where(Person.upload_key == digest(key), Person.role == "device")).first()
    return None if row is None or not key else Account(row.id, row.name, row.role, row.team, row.technician)
