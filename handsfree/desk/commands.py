"""The commands `desk` and `desk people-add`, as plain functions; the command line registers them."""

from __future__ import annotations

import getpass
import sys
from contextlib import AbstractContextManager
from pathlib import Path

from handsfree.errors import Trouble


def _needed() -> None:
    """Trouble if the extra is not installed."""
    try:
        import alembic  # noqa: F401
        import argon2  # noqa: F401
        import fido2  # noqa: F401
        import fsspec  # noqa: F401
        import jinja2  # noqa: F401
        import sqlalchemy  # noqa: F401
        import starlette  # noqa: F401
        import uvicorn  # noqa: F401
        import zxcvbn  # noqa: F401
    except ImportError as error:
        raise Trouble(f"The desk needs the package {error.name}; install it with: pip install 'handsfree[desk]'") from None


_needed()  # before the first import that fails without it
from handsfree.desk.configuration import Desk  # noqa: E402
from handsfree.desk.serve import DeskOptions, open_people  # noqa: E402


def desk(asked: DeskOptions) -> None:
    """`handsfree desk`: serve until interrupted. Trouble for anything that keeps it from starting."""
    from handsfree.desk.serve import serve

    serve(asked)


def people_add(
    visits: Path, name: str, role: str, team: str, technician: str, database: str | None = None, mail: str = ""
) -> None:
    """`handsfree desk people-add NAME --role ROLE [--team TEAM] [--technician NAME] [--mail MAIL]`: asks for the password
    twice, or reads one line if the input is not a terminal; for people who sign in elsewhere it asks for none. A device's
    upload key is printed once."""
    from handsfree.desk import people

    engine = open_people(DeskOptions(visits, people=database))
    password = "" if role == "device" or mail else _password()
    with _noted(visits):
        key = people.add(engine, name, role, team, technician, password, mail)
    if key:
        print(f"The upload key of {name}; it is shown only now:\n{key}")
    else:
        print(f"{name} is a {role} now.")
        if people.persons(engine) == 1:
            print("That is the first account: restart a desk that is already running, so that it asks for accounts.")


def people_remove(visits: Path, name: str, database: str | None = None) -> None:
    """`handsfree desk people-remove NAME`: all their sessions end."""
    from handsfree.desk import people

    engine = open_people(DeskOptions(visits, people=database))
    with _noted(visits):
        people.remove(engine, name)
    print(f"{name} is removed.")


def people_change(
    visits: Path, name: str, role: str | None, team: str | None, technician: str | None, password: bool,
    database: str | None = None, forget_codes: bool = False,
) -> None:
    """`handsfree desk people-change NAME [--role ROLE] [--team TEAM] [--technician NAME] [--password] [--forget-codes]`:
    all their sessions end. It asks for a password as `people_add` does."""
    from handsfree.desk import people

    if not password and not forget_codes and (role, team, technician) == (None, None, None):
        raise Trouble("Say what is to change: --role, --team, --technician, --password or --forget-codes.")
    engine = open_people(DeskOptions(visits, people=database))
    with _noted(visits):
        if (role, team, technician) != (None, None, None):
            people.alter(engine, name, role, team, technician)
        if forget_codes:
            people.forget_codes(engine, name)
        if password:
            people.reset_password(engine, name, _password())
    print(f"{name} is changed. Whoever was signed in as {name} must sign in again.")


def _noted(visits: Path) -> AbstractContextManager[None]:
    """Changes of accounts are noted where the desk notes who signed in."""
    from handsfree.desk import security_log
    from handsfree.desk.database import own_folder

    return security_log.kept_in(own_folder(visits))


def people_list(visits: Path, database: str | None = None) -> None:
    """`handsfree desk people-list`."""
    from handsfree.desk import people

    for one in people.everybody(open_people(DeskOptions(visits, people=database))):
        parts = [one.name, one.role, f"team {one.team}" if one.team else ""]
        parts.append(f"in records as {one.technician}" if one.technician not in ("", one.name) else "")
        print(", ".join(part for part in parts if part))


def digest(asked: DeskOptions, days: int, out: Path | None, origin: str) -> None:
    """`handsfree desk digest [--days N] [--out FILE]`: for everybody's visits, as Markdown."""
    from handsfree.desk.digest import digest_for, markdown
    from handsfree.desk.queries import EVERYBODY
    from handsfree.outputs import kind_of, save

    if out is not None:
        kind_of(out, (".md",), "A digest")
    text = markdown(digest_for(_as_the_desk(asked).engine, EVERYBODY, days), origin.rstrip("/"))
    if out is None:
        print(text)
    else:
        save(out, text.encode)
        print(f"Written: {out}")


def check(asked: DeskOptions, kept: Path | None = None) -> None:
    """`handsfree desk check [--kept FILE]`: the journal of acts, the head ledger, and every sound and attachment, compared
    with its hash. `kept`: a tree head kept elsewhere, with which the ledger must begin. Trouble (status 3) if one does not
    match."""
    from handsfree.desk import acts, queries
    from handsfree.desk import database as databases
    from handsfree.desk.heads import TREE
    from handsfree.journal import keys
    from handsfree.journal.tree_heads import tree_head_in

    count = sum(1 for _ in acts.read(databases.own_folder(asked.visits), keys.known()))
    desk = _as_the_desk(asked)
    heads = len(desk.heads.all())
    if kept is not None:
        try:
            before = tree_head_in(kept.read_bytes())
        except (OSError, ValueError):
            raise Trouble(f"{kept} holds no tree head. Keep a copy of {desk.own / TREE}, and give that.") from None
        if not desk.heads.holds_since(before):
            raise Trouble(f"The head ledger does not begin with the {before.size} heads that {kept} records: it was rolled "
                          "back or rewritten since.", 3)
    named = queries.all_files(desk.engine)
    bad = desk.files.check(named, lambda sentence: print(sentence, file=sys.stderr))
    if bad:
        raise Trouble(f"{bad} of {len(named)} files are not intact.", 3)
    print(f"{count} acts, {heads} noted heads and {len(named)} files are intact.")
    if heads:
        print(f"Keep a copy of {desk.own / TREE} elsewhere: 'handsfree desk check --kept FILE' then finds a ledger that was "
              "rolled back together with it.")


def _as_the_desk(asked: DeskOptions) -> Desk:
    """The desk's data, read as the desk reads it: a command that knew less of people, heads or sound would write wrong data
    there. Trouble if people are kept elsewhere and nobody says where."""
    from sqlalchemy import select

    from handsfree.desk import database as databases
    from handsfree.desk.serve import open_desk
    from handsfree.desk.tables import Visit

    if asked.people is None and not (databases.own_folder(asked.visits) / "people.sqlite3").exists():
        engine = databases.open_engine(asked.database_url)
        databases.migrate(engine)
        with engine.connect() as connection:
            if connection.scalar(select(Visit.id).limit(1)) is not None:
                raise Trouble("A desk has read these visits, and its people are not beside them. Say where they are with "
                              "--people, as when the desk was started.")
    desk, _ = open_desk(asked)
    return desk


def _password() -> str:
    if not sys.stdin.isatty():
        return sys.stdin.readline().rstrip("\r\n")
    first = getpass.getpass("Password (12 to 128 characters): ")
    if first != getpass.getpass("Again: "):
        raise Trouble("The two passwords are not the same; nothing was added.")
    return first
