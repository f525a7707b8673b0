"""Puts visit folders into the database: only what has changed, and removes what is gone.

Rules of this file:

- A visit is put in completely or not at all: one transaction per batch.
- A folder that cannot be read is a row with its problem, never a reason to stop.
- Sayings are put in by the order of their digests, so that two writers wait for each other instead of deadlocking.
"""

from __future__ import annotations

import hashlib
import logging
import os
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from itertools import islice
from pathlib import Path
from typing import Any, TypeVar

from sqlalchemy import Connection, Engine, delete, insert, select, update
from sqlalchemy.dialects import postgresql, sqlite

from handsfree.desk import places, returns, rolls, threads
from handsfree.desk.database import put_alone
from handsfree.desk.heads import Head, Heads
from handsfree.desk.marks import judged_by
from handsfree.desk.protocol import LARGEST_JOURNAL
from handsfree.desk.quarantine import folder_of, quarantined_names
from handsfree.desk.readout import VERSION, ReadOut, machine, read_out, unreadable
from handsfree.desk.review import drawn
from handsfree.desk.tables import DEPARTING, GOOD, OF_VISIT, FindingRow, Saying, ThreadRow, Visit, folded
from handsfree.errors import Trouble
from handsfree.journal.reader import JOURNAL
from handsfree.journal.rights import NO_RIGHTS, Rights

T = TypeVar("T")
#: A visit's folder, and the notes on it.
Stale = tuple[Path, tuple[Head, ...]]
log = logging.getLogger("handsfree.desk")
BATCH = 50
#: From this many stale visits on, the cores read them side by side.
MANY = 200
#: Longer values of a column that has an index would not fit a page of it.
LONGEST = {"procedure", "technician", "site", "cabinet", "fault", "quantity", "outcome", "step", "rule"}


@dataclass(frozen=True)
class Refreshed:
    """How many visits were read, removed, left unchanged; `problems`: those of which nothing could be read."""

    read: int
    gone: int
    same: int
    problems: tuple[str, ...] = ()


def refresh(
    engine: Engine,
    visits: Path,
    known: dict[str, str] | None = None,
    tell: Callable[[int, int], None] | None = None,
    cores: int | None = None,
    sound_elsewhere: bool = False,
    heads: Heads | None = None,
    rights: Rights = NO_RIGHTS,
    one_in: int = 0,
    one: places.One = places.as_written,
    names_of: threads.NamesOf = threads.as_written,
) -> Refreshed:
    """The database as the folders are now. `tell` is given (done, of how many) after each batch. `heads`: each visit is held
    against what was noted of it, and those that hold are noted. `rights`: what the keys may
    do. `one_in`: so many are drawn for review, see `review`; `one`: which names are one cabinet; `names_of`: which are one
    person."""
    with engine.connect() as connection:
        there = {row.name: (row.size, row.changed, row.reading) for row in connection.execute(
            select(Visit.name, Visit.size, Visit.changed, Visit.reading))}
    stale, seen = [], set()
    for name, size, changed in folders(visits, known, rights):
        seen.add(name)
        if there.get(name) != (size, changed, VERSION):
            stale.append((folder_of(visits, name), heads.kept_of(name) if heads is not None else ()))
    gone = sorted(set(there) - seen)
    done, problems = 0, []
    reading = partial(_read, known=known, sound_elsewhere=sound_elsewhere, rights=rights)
    for batch in _batches(_read_all(stale, cores, reading), BATCH):
        put(engine, [drawn(out, one_in) for out in batch], one, names_of)
        if heads is not None:
            whole = [out.visit for out in batch if out.visit["standing"] in (GOOD, DEPARTING) and not out.visit["problem"]]
            heads.note(*((v["name"], v["events"], v["head"]) for v in whole), by="found here")
        problems += [out.visit["name"] for out in batch if out.visit["outcome"] == "not readable"]
        done += len(batch)
        if tell is not None:
            tell(done, len(stale))
    for names in _batches(gone, 500):
        put_alone(engine, partial(_take_out, names=names))
    return Refreshed(done, len(gone), len(seen) - len(stale), tuple(problems))


def _take_out(connection: Connection, names: Sequence[str]) -> None:
    ids = set(connection.scalars(select(Visit.id).where(Visit.name.in_(names))))
    cabinets = returns.cabinets_of(connection, ids)
    rolls.take_out(connection, ids)
    connection.execute(delete(Visit).where(Visit.id.in_(ids)))
    returns.note(connection, cabinets, (), rolls.take_out, rolls.put_in)


def folders(
    visits: Path, known: Mapping[str, str] | None = None, rights: Rights = NO_RIGHTS
) -> Iterator[tuple[str, int, int]]:
    """(name, size of the journal, `marks.judged_by`) of each visit. Folders that begin with a dot are the desk's own."""
    try:
        found = sorted(entry.name for entry in os.scandir(visits) if not entry.name.startswith(".") and entry.is_dir())
    except OSError as error:
        raise Trouble(f"The folder of visits {visits} cannot be read: {error.strerror}. Name it with --visits.") from None
    for name in (*found, *quarantined_names(visits)):
        folder = folder_of(visits, name)
        try:
            stat = (folder / JOURNAL).stat()
        except OSError:
            continue
        yield name, stat.st_size, judged_by(folder, known, rights)


def ingest(
    engine: Engine, folder: Path, known: dict[str, str] | None = None, *, sound_elsewhere: bool = False,
    rights: Rights = NO_RIGHTS, heads: Heads | None = None, one_in: int = 0, one: places.One = places.as_written,
    names_of: threads.NamesOf = threads.as_written,
) -> None:
    """One visit, now."""
    kept = heads.kept_of(folder.name) if heads is not None else ()
    put(engine, [drawn(_read((folder, kept), known, sound_elsewhere, rights), one_in)], one, names_of)


def _read(stale: Stale, known: dict[str, str] | None, sound_elsewhere: bool, rights: Rights) -> ReadOut:
    folder, kept = stale
    try:
        if (folder / JOURNAL).stat().st_size > LARGEST_JOURNAL:
            raise Trouble(f"Its journal is larger than {LARGEST_JOURNAL >> 20} MB, and the desk does not read it.")
        return read_out(folder, known, machine(), sound_elsewhere=sound_elsewhere, kept=kept, rights=rights)
    except Trouble as trouble:
        return unreadable(folder, trouble.sentence, known, rights)
    except Exception as error:  # one bad visit is one bad row, whatever is the matter with it
        log.exception("a visit could not be read: %s", folder.name)
        return unreadable(folder, f"The desk failed to read it ({type(error).__name__}); its log says where.", known, rights)


def _read_all(stale: Sequence[Stale], cores: int | None, reading: Callable[[Stale], ReadOut]) -> Iterator[ReadOut]:
    cores = cores if cores is not None else (os.cpu_count() or 1)
    if len(stale) < MANY or cores < 2:
        yield from map(reading, stale)
        return
    with ProcessPoolExecutor(cores) as pool:
        yield from pool.map(reading, stale, chunksize=20)


def _batches(items: Iterable[T], size: int) -> Iterator[list[T]]:
    iterator = iter(items)
    while batch := list(islice(iterator, size)):
        yield batch


def put(
    engine: Engine, outs: Sequence[ReadOut], one: places.One = places.as_written,
    names_of: threads.NamesOf = threads.as_written,
) -> None:
    """Visits into the database, replacing what was there under their names."""
    put_alone(engine, lambda connection: put_in(connection, outs, one, names_of))


def put_in(connection: Connection, outs: Sequence[ReadOut], one: places.One, names_of: threads.NamesOf) -> None:
    before = set(connection.scalars(select(Visit.id).where(Visit.name.in_([out.visit["name"] for out in outs]))))
    cabinets = returns.cabinets_of(connection, before)
    rolls.take_out(connection, before)
    ids = _visit_rows(connection, outs, one)
    sayings = _sayings(connection, {line["text"] for out in outs for line in out.rows.get("lines", ())})
    closed = _closed(connection, [f["key"] for out in outs for f in out.rows.get("findings", ())])
    for table in OF_VISIT:
        values: list[dict[str, Any]] = []
        for out in outs:
            for row in out.rows.get(table.__tablename__, ()):
                filled = {**_clean(row), "visit_id": ids[out.visit["name"]]}
                if table.__tablename__ == "lines":
                    filled["saying_id"] = sayings[_digest(filled.pop("text"))]
                if table is FindingRow:
                    filled |= {"closed": row["key"] in closed, "technician": _text("technician", out.visit["technician"])}
                values.append(filled)
        if values:
            connection.execute(insert(table), values)
    cabinets += returns.cabinets_of(connection, ids.values())
    returns.note(connection, dict.fromkeys(cabinets), ids.values(), rolls.take_out, rolls.put_in)
    rolls.put_in(connection, ids.values())
    threads.hear_answers(connection, names_of)


def _visit_rows(connection: Connection, outs: Sequence[ReadOut], one: places.One) -> dict[str, int]:
    names = [out.visit["name"] for out in outs]
    rows = [_clean(out.visit) for out in outs]
    where = places.ids_of(connection, ((row["site"], row["cabinet"]) for row in rows), one)
    rows = [{**row, "place": where[row["site"], row["cabinet"]]} for row in rows]
    ids = {row.name: row.id for row in connection.execute(select(Visit.name, Visit.id).where(Visit.name.in_(names)))}
    for table in OF_VISIT if ids else ():
        connection.execute(delete(table).where(table.visit_id.in_(ids.values())))  # type: ignore[attr-defined]  # each table of OF_VISIT has it, Base not
    for row in rows:
        if row["name"] in ids:
            connection.execute(update(Visit).where(Visit.id == ids[row["name"]]).values(row))
    new = [row for row in rows if row["name"] not in ids]
    if new:
        made = connection.execute(insert(Visit).returning(Visit.name, Visit.id), new)
        ids |= {row.name: row.id for row in made}
    return ids


def _clean(values: Mapping[str, Any]) -> dict[str, Any]:
    """Without what a database cannot store: PostgreSQL accepts no NUL in a text."""
    return {name: _text(name, value) if isinstance(value, str) else value for name, value in values.items()}


def _text(name: str, value: str) -> str:
    value = value.replace("\x00", "\ufffd")
    return value[:300] if name in LONGEST else value


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8", "replace")).hexdigest()


def _sayings(connection: Connection, texts: set[str]) -> dict[str, int]:
    """digest -> id, of texts that were there or are put in now."""
    by_digest = {_digest(text): text.replace("\x00", "\ufffd") for text in texts}
    found = _ids_of(connection, list(by_digest))
    new = sorted(by_digest.keys() - found.keys())
    missing = [{"digest": digest, "text": by_digest[digest], "folded": folded(by_digest[digest])} for digest in new]
    if missing:
        build = postgresql.insert if connection.dialect.name == "postgresql" else sqlite.insert
        connection.execute(build(Saying).on_conflict_do_nothing(index_elements=["digest"]), missing)
        found |= _ids_of(connection, [row["digest"] for row in missing])
    return found


def _ids_of(connection: Connection, digests: list[str]) -> dict[str, int]:
    found: dict[str, int] = {}
    for some in _batches(digests, 500):
        rows = connection.execute(select(Saying.digest, Saying.id).where(Saying.digest.in_(some)))
        found |= {row.digest: row.id for row in rows}
    return found


def _closed(connection: Connection, keys: list[str]) -> set[str]:
    found: set[str] = set()
    for some in _batches(keys, 500):
        found |= set(connection.scalars(select(ThreadRow.key).where(ThreadRow.closed, ThreadRow.key.in_(some))))
    return found
