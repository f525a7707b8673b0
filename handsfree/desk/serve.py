"""A desk opened from the command line's words, judged safe to start, and served."""

from __future__ import annotations

import contextlib
import ipaddress
import os
import secrets
import socket
import sys
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from handsfree.desk import database, people, places, registry, threads
from handsfree.desk.configuration import Desk
from handsfree.desk.files import Files
from handsfree.desk.ingest import Refreshed
from handsfree.desk.refreshing import refreshed
from handsfree.desk.signon import SignOn
from handsfree.errors import Trouble
from handsfree.journal import keys

#: Addresses that mean every address of the machine: served on only if the person asks for it.
EVERY_ADDRESS = ("0.0.0.0", "::")
#: What several processes let in together.
RATES = "rates"


@dataclass(frozen=True)
class DeskOptions:
    """What the command line asked for. `origin`: the address browsers use, where a proxy in front does the TLS, or where
    browsers could not ask for `host`. `sign_on`: issuer of a provider of OpenID Connect, '' for none; `sign_on_client`: what
    it knows this desk by; `sign_on_secret`: file with the secret that it gave. `processes`: how many answer."""

    visits: Path
    database: str | None = None
    people: str | None = None
    sound: str | None = None
    host: str = "127.0.0.1"
    port: int = 8642
    certificate: Path | None = None
    key: Path | None = None
    origin: str | None = None
    signed_only: bool = False
    sign_on: str = ""
    sign_on_client: str = ""
    sign_on_secret: Path | None = None
    one_in: int = 0
    two_factors: tuple[str, ...] = ()
    options: dict[str, Any] | None = None
    processes: int = 1

    @property
    def people_url(self) -> str:
        return self.people or database.sqlite_url(self.visits / database.OWN / "people.sqlite3")

    @property
    def database_url(self) -> str:
        return self.database or database.sqlite_url(self.visits / database.OWN / "desk.sqlite3")


def loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def judge(asked: DeskOptions, accounts: int) -> None:
    """May it start? Trouble if others could reach it without TLS or without accounts."""
    if (asked.certificate is None) != (asked.key is None):
        raise Trouble("TLS needs both a certificate and its key; give --certificate and --key.")
    for path in (asked.certificate, asked.key):
        if path is not None and not path.is_file():
            raise Trouble(f"There is no file {path}; give the certificate and its key as PEM files.")
    if asked.origin is not None:
        parts = urlsplit(asked.origin)
        if parts.scheme != "https" or not parts.netloc or parts.path not in ("", "/"):
            raise Trouble("--origin is the address that browsers use, with TLS and without a path: https://desk.example.org")
        if not loopback(asked.host) and asked.certificate is None:
            raise Trouble("With --origin alone a proxy on this machine does the TLS: leave --host on loopback, or give "
                          "--certificate and --key.")
    if asked.processes > 1 and accounts == 0:
        raise Trouble("Several processes need accounts: the printed link opens one of them alone. Make one with 'handsfree "
                      "desk people-add NAME --role supervisor --team \"*\"' first, or leave --processes out.")
    if asked.processes > 1 and not (asked.database or "").startswith("postgresql"):
        raise Trouble("Several processes need PostgreSQL: give --database postgresql://HOST/NAME, or leave --processes out.")
    if asked.processes > 1 and os.name == "nt":
        raise Trouble("On Windows the desk has one process; leave --processes out.")
    open_to_others = not loopback(asked.host) or asked.origin is not None
    if open_to_others and accounts == 0:
        raise Trouble("Others could reach this desk and it has no accounts. Make one with 'handsfree desk people-add NAME "
                      "--role supervisor --team \"*\"' first.")
    if not loopback(asked.host) and asked.certificate is None:
        raise Trouble(f"On {asked.host} others could reach this desk, and without TLS they could read along. Give "
                      "--certificate and --key, or stay on 127.0.0.1 behind a proxy with --origin.")
    if asked.host in EVERY_ADDRESS and asked.origin is None:
        raise Trouble(f"{asked.host} means every address of this machine, and no browser asks for that; name the one people "
                      f"use with --origin https://NAME:{asked.port}, or give that name with --host.")


def origins(asked: DeskOptions) -> tuple[str, ...]:
    if asked.origin is not None:
        return (asked.origin.rstrip("/"),)
    scheme, usual = ("https", 443) if asked.certificate is not None else ("http", 80)
    port = "" if asked.port == usual else f":{asked.port}"
    names = ["127.0.0.1", "localhost"] if loopback(asked.host) else [asked.host]
    if asked.host not in names and asked.host != "::1":
        names.append(asked.host)
    if asked.host == "::1":
        names.append("[::1]")
    return tuple(f"{scheme}://{name}{port}" for name in names)


def sign_on_of(asked: DeskOptions) -> SignOn | None:
    """Trouble if one of the three is missing, or the file cannot be read."""
    if not asked.sign_on:
        return None
    if not asked.sign_on_client or asked.sign_on_secret is None:
        raise Trouble("To sign in elsewhere give --sign-on, --sign-on-client and --sign-on-secret together.")
    try:
        secret = asked.sign_on_secret.read_text(encoding="utf-8").strip()
    except (OSError, ValueError) as error:
        sentence = f"The secret in {asked.sign_on_secret} cannot be read ({error}); keep it in a file of its own."
        raise Trouble(sentence) from None
    return SignOn(asked.sign_on, asked.sign_on_client, secret)


def _roles(names: tuple[str, ...]) -> frozenset[str]:
    """Trouble for one that nobody signs in as."""
    for name in names:
        if name not in people.ROLES or name == "device":
            raise Trouble(f"--second-factor is for a role: technician, supervisor or writer; nobody signs in as '{name}'.")
    return frozenset(names)


def _pool(asked: DeskOptions) -> int:
    """All processes together have no more connections than one would."""
    return max(2, database.KEPT // asked.processes)


def open_people(asked: DeskOptions) -> Any:
    database.own_folder(asked.visits)
    engine = database.open_engine(asked.people_url, pool=_pool(asked))
    people.make_tables(engine)
    return engine


def open_desk(asked: DeskOptions, tell: Any = None) -> tuple[Desk, Refreshed]:
    """Checked, migrated, read from the folders. `tell`: (done, of how many) while it reads."""
    desk = _opened(asked)
    database.migrate(desk.engine)
    desk.files.try_out()
    done = refreshed(desk, tell)
    places.bring_up_to_date(desk.engine, registry.one_of_all(desk.people))
    threads.rebuild(desk.engine, desk.own, desk.known, desk.names_of)
    return desk, done


def _opened(asked: DeskOptions) -> Desk:
    accounts = open_people(asked)
    count = people.persons(accounts)
    judge(asked, count)
    engine = database.open_engine(asked.database_url, pool=_pool(asked))
    files = Files(asked.visits, asked.sound, asked.options)
    return Desk(
        asked.visits, engine, accounts, files, origins(asked), keys.load(), keys.known(), asked.signed_only,
        secure=asked.certificate is not None or asked.origin is not None,
        door="" if count else secrets.token_urlsafe(32), rights=keys.rights(),
        sign_on=sign_on_of(asked), one_in=asked.one_in, two_factors=_roles(asked.two_factors),
        processes=asked.processes,
        keys_folder=keys.default_folder(),
    )  # fmt: skip


def one_of_several(asked: DeskOptions, stamp: bytes) -> Any:
    """The application of one process of a desk that has been opened. `stamp`: the same in all of them."""
    from uvicorn.config import STARTUP_FAILURE

    from handsfree.desk.app import build
    from handsfree.desk.shared_buckets import SharedBuckets

    try:
        return build(replace(_opened(asked), stamp=stamp, buckets=SharedBuckets(asked.visits / database.OWN / RATES)))
    except (Trouble, OSError) as error:  # it would fail again: the whole desk ends, and says why
        print(f"One process of the desk cannot start: {error}", file=sys.stderr, flush=True)
        raise SystemExit(STARTUP_FAILURE) from None


def serve(asked: DeskOptions) -> None:
    """Until it is interrupted."""
    import uvicorn
    from uvicorn.supervisors import Multiprocess

    from handsfree.desk.app import build

    out = sys.stderr

    def tell(done: int, of: int) -> None:
        print(f"\rReading visits: {done} of {of}", end="" if done < of else "\n", file=out, flush=True)

    desk, done = open_desk(asked, tell)
    print(f"{done.read} visit{'' if done.read == 1 else 's'} read, {done.same} unchanged, {done.gone} removed.", file=out)
    which = f" {asked.visits / database.OWN / 'desk.sqlite3'}" if asked.database is None else ""
    print(f"The database{which} is worked out from the visit folders: it can be deleted at any time and is built again "
          "from them.", file=out)
    for name in done.problems:
        print(f"Nothing of {name} can be read; run 'handsfree verify {asked.visits / name}'.", file=out)
    if not loopback(asked.host):
        print(f"Warning: on {asked.host} others reach this desk. Let in only the network that needs it.", file=out)
    configured = partial(
        uvicorn.Config, host=asked.host, port=asked.port, log_level="warning", access_log=False, server_header=False,
        ssl_certfile=str(asked.certificate) if asked.certificate else None,
        ssl_keyfile=str(asked.key) if asked.key else None,
        proxy_headers=asked.origin is not None and asked.certificate is None, forwarded_allow_ips="127.0.0.1",
        limit_concurrency=max(100, 2000 // asked.processes), timeout_keep_alive=10,
    )  # fmt: skip
    settings = configured(build(desk))
    desk.tell = lambda sentence: print(sentence, file=out, flush=True)
    listening = door_of(asked, settings)
    where = desk.origins[0] + (f"/enter/{desk.door}" if desk.door else "/")
    print(f"The desk is at {where}" + ("  (this link works once)" if desk.door else ""), file=out, flush=True)
    with listening, contextlib.suppress(KeyboardInterrupt):
        if asked.processes == 1:
            uvicorn.Server(settings).run(sockets=[listening])
            return
        (desk.own / RATES).unlink(missing_ok=True)
        desk.engine.dispose()
        desk.people.dispose()
        each = configured(partial(one_of_several, asked, desk.stamp), factory=True, workers=asked.processes)
        Multiprocess(each, [listening]).run()


def door_of(asked: DeskOptions, settings: Any) -> socket.socket:
    """The socket the desk listens on, before anybody is told its address. Trouble if another program has it, if there is no
    such address here, or if the certificate and its key are not valid."""
    try:
        settings.load()
    except OSError as error:  # ssl.SSLError is one
        raise Trouble(f"TLS does not work with {asked.certificate} and {asked.key} ({error.strerror or error}); give a "
                      "certificate and its own key, as PEM files.") from None
    family = socket.AF_INET6 if ":" in asked.host else socket.AF_INET
    try:
        return socket.create_server((asked.host, asked.port), family=family, backlog=2048)
    except OSError as error:
        code = error.errno or 0
        why = os.strerror(code) if code > 0 else error.strerror or error  # the library's own sentence says it twice
        raise Trouble(f"The desk cannot listen on port {asked.port} of {asked.host} ({why}); choose "
                      "another with --port, or stop what listens there.") from None
