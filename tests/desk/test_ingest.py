"""Folders into the database, on SQLite and on PostgreSQL."""

from __future__ import annotations

import os
import shutil
from pathlib import Path
from typing import Any

from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import Engine, func, select, update

from handsfree.desk import database, ingest, measures, queries, rolls
from handsfree.desk.measures import Between, FirstFix
from handsfree.desk.queries import EVERYBODY, Filter, Scope
from handsfree.desk.tables import OF_VISIT, Saying, Visit
from handsfree.journal import events as ev
from tests.desk.made import BRANDNER, HUBER, SUMMIT, VALLEY, Made, day
from tests.journal.made import read_list

ALWAYS = Between(0, 1e11)


def copy(season: Made, place: Path) -> Made:
    shutil.copytree(season.visits, place)
    return Made(place, {name: place / folder.name for name, folder in season.folders.items()})


def dump(engine: Engine) -> dict[str, list[tuple[Any, ...]]]:
    """Everything by names, not by ids, in an order of its own."""
    with engine.connect() as connection:
        names = {row.id: row.name for row in connection.execute(select(Visit.id, Visit.name))}
        texts = {row.id: row.text for row in connection.execute(select(Saying.id, Saying.text))}
        found = {}
        for table in (Visit, *OF_VISIT):
            rows = []
            for row in connection.execute(select(*table.__table__.columns)):
                values = {**row._mapping}
                values.pop("id", None)
                values["visit_id"] = names.get(values.get("visit_id", -1), "")
                values["saying_id"] = texts.get(values.get("saying_id", -1), "")
                rows.append(tuple(str(values[name]) for name in sorted(values)))
            found[table.__tablename__] = sorted(rows)
    return found


def test_the_migrations_make_the_tables_that_the_models_describe(engine: Engine) -> None:
    ours = {table.name for table in Visit.metadata.sorted_tables}

    def counts(thing: Any, name: str | None, kind: str, reflected: bool, other: Any) -> bool:
        if kind == "table":
            return name in ours
        return not (kind == "index" and name == "sayings_words")  # full-text search has no model

    from handsfree.desk.tables import Base

    with engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"include_object": counts, "compare_type": True})
        assert compare_metadata(context, Base.metadata) == []


def test_every_event_that_a_table_is_for_has_its_row(engine: Engine, season: Made) -> None:
    ingest.refresh(engine, season.visits)
    entries = [e.event for folder in season.folders.values() for e in read_list(folder)]

    def count(*kinds: type[Any]) -> int:
        return sum(isinstance(event, kinds) for event in entries)

    rows = {name: len(some) for name, some in dump(engine).items()}
    assert rows["visits"] == 5
    assert rows["lines"] == count(ev.Utterance, ev.Say, ev.NoteKept)
    assert rows["readings"] == count(ev.ReadingTaken) > 0
    assert rows["gates"] == count(ev.Gate) > 0
    assert rows["faults"] == count(ev.FindingMade) == 3
    assert rows["steps"] == count(ev.StepEntered)
    assert rows["files"] == sum(bool(getattr(e, "clip", "")) for e in entries) > 0


def test_a_refresh_reads_what_has_changed_and_forgets_what_is_gone(engine: Engine, season: Made, tmp_path: Path) -> None:
    mine = copy(season, tmp_path / "visits")
    assert ingest.refresh(engine, mine.visits) == ingest.Refreshed(5, 0, 0)
    assert ingest.refresh(engine, mine.visits) == ingest.Refreshed(0, 0, 5)
    shutil.rmtree(mine.folders["once"])
    os.utime(mine.folders["first"] / "journal.jsonl", ns=(1, 1))
    assert ingest.refresh(engine, mine.visits) == ingest.Refreshed(1, 1, 3)
    assert all(mine.folders["once"].name not in row for rows in dump(engine).values() for row in rows)


def test_the_database_deleted_and_rebuilt_is_the_same(engine: Engine, season: Made, tmp_path: Path) -> None:
    ingest.refresh(engine, season.visits)
    first = dump(engine)
    again = database.open_engine(database.sqlite_url(tmp_path / "again.sqlite3"))
    database.migrate(again)
    ingest.refresh(again, season.visits)
    assert dump(again) == first
    ingest.put(engine, [ingest.read_out(folder, None, ingest.machine()) for folder in season.folders.values()])
    assert dump(engine) == first, "put in the place of itself"


def test_side_by_side_reads_the_same(engine: Engine, season: Made, monkeypatch: Any, tmp_path: Path) -> None:
    ingest.refresh(engine, season.visits)
    first = dump(engine)
    other = database.open_engine(database.sqlite_url(tmp_path / "again.sqlite3"))
    database.migrate(other)
    monkeypatch.setattr(ingest, "MANY", 1)
    ingest.refresh(other, season.visits, cores=2)
    assert dump(other) == first


def test_a_changed_record_and_an_unreadable_one_are_findings(engine: Engine, season: Made, tmp_path: Path) -> None:
    mine = copy(season, tmp_path / "visits")
    changed, unreadable = mine.folders["first"] / "journal.jsonl", mine.folders["once"] / "journal.jsonl"
    changed.write_bytes(changed.read_bytes().replace(b"fifty eight", b"forty eight", 1))
    unreadable.write_bytes(b"no journal at all\n")
    done = ingest.refresh(engine, mine.visits)
    assert done.problems == (mine.folders["once"].name,)
    found = {(row.name, row.rule) for row in queries.findings(engine, EVERYBODY)}
    assert {(mine.folders[name].name, "record does not hold") for name in ("first", "once")} <= found


def test_visits_by_site_cabinet_technician_fault_and_date(engine: Engine, season: Made) -> None:
    ingest.refresh(engine, season.visits)
    names = {folder.name: name for name, folder in season.folders.items()}

    def shown(want: Filter, scope: Scope = EVERYBODY) -> list[str]:
        return [names[row.name] for row in queries.visits(engine, scope, want)]

    assert shown(Filter()) == ["stopped", "thaw", "once", "back", "first"]
    assert shown(Filter(site=VALLEY)) == ["thaw", "once"]
    assert shown(Filter(cabinet="HK-4")) == ["back", "first"]
    assert shown(Filter(technician=BRANDNER)) == ["once", "first"]
    assert shown(Filter(fault="delivery-air-cold-after-cleaning", site=SUMMIT)) == ["back", "first"]
    assert shown(Filter(since=day(2, 20).timestamp(), until=day(3, 3).timestamp())) == ["once", "back"]
    assert shown(Filter(), Scope((HUBER,))) == ["stopped", "thaw"]
    assert shown(Filter(), Scope(())) == []


def test_pages_of_visits_follow_each_other_without_a_gap(engine: Engine, season: Made) -> None:
    ingest.refresh(engine, season.visits)
    seen: list[str] = []
    after = None
    while page := queries.visits(engine, EVERYBODY, Filter(), after, most=2)[:2]:
        seen += [row.name for row in page]
        after = (page[-1].began, page[-1].id)
    assert seen == [row.name for row in queries.visits(engine, EVERYBODY, Filter())]


def test_search_finds_what_was_said_and_noted_by_the_beginnings_of_words(engine: Engine, season: Made) -> None:
    ingest.refresh(engine, season.visits)
    noted = queries.search(engine, EVERYBODY, "gasket TOR")
    assert [(row.who, row.name) for row in noted] == [("note", season.folders["back"].name)]
    heard = queries.search(engine, EVERYBODY, "not isolated", "technician")
    assert {row.name for row in heard} == {season.folders[name].name for name in ("first", "back", "once")}
    assert all(row.verdict == "asked again" for row in heard)
    assert queries.search(engine, Scope((HUBER,)), "gasket") == []
    assert len(queries.search(engine, EVERYBODY, "thermometer", "program")) >= 5
    for odd in ('"', "' OR 1=1 --", "a* & | !", "\x00", "(", ":*", "NEAR(", "<script>"):
        queries.search(engine, EVERYBODY, odd)  # never a fault of the database


def test_to_be_continued_says_when(engine: Engine, season: Made) -> None:
    ingest.refresh(engine, season.visits)
    (row,) = queries.due(engine, EVERYBODY)
    assert row.name == season.folders["thaw"].name
    assert 24 * 3600 <= row.due - row.began < 24 * 3600 + 60, "the thaw lasts 24 h, from when it was begun"


def test_readings_of_one_cabinet_by_time(engine: Engine, season: Made) -> None:
    ingest.refresh(engine, season.visits)
    taken = queries.readings(engine, EVERYBODY, [(SUMMIT, "HK-4")])
    assert [(r.value, r.where) for r in taken if "cabinet" in r.quantity] == [(58.0, "out of its expected range")] * 2
    assert [(row.quantity, row.taken) for row in taken] == sorted((row.quantity, row.taken) for row in taken)
    assert len(taken) == 4
    assert queries.readings(engine, EVERYBODY, [(VALLEY, "HK-4")]) == []


def _asked_again(folder: Path, step: str) -> int:
    here, count = "", 0
    for entry in read_list(folder):
        here = entry.event.step if isinstance(entry.event, ev.StepEntered) else here
        count += here == step and isinstance(entry.event, ev.Utterance) and entry.event.verdict == "asked again"
    return count


def test_the_figures_are_those_counted_by_hand(engine: Engine, season: Made) -> None:
    """HK-4 came back after nine days; of four first visits (HK-4, TK-1, TK-2, HK-9) TK-1's alone was done for good."""
    ingest.refresh(engine, season.visits)
    (back,) = measures.returns(engine, EVERYBODY, ALWAYS)
    assert (back.cabinet, back.visits, back.returns) == ("HK-4", 2, 1)
    assert measures.first_fix(engine, EVERYBODY, ALWAYS, now=1e11) == FirstFix(4, 1)
    assert measures.first_fix(engine, EVERYBODY, ALWAYS, now=day(3, 20).timestamp()) == FirstFix(1, 0), "others too young"
    assert measures.first_fix(engine, Scope((BRANDNER,)), ALWAYS, now=1e11) == FirstFix(2, 1)
    with engine.begin() as connection:  # nothing was to be fixed in either; to HK-4 somebody had to come again all the same
        names = [season.folders[name].name for name in ("first", "once")]
        connection.execute(update(Visit).where(Visit.name.in_(names)).values(outcome="no fault found"))
    rolls.rebuild(engine)
    assert measures.first_fix(engine, EVERYBODY, ALWAYS, now=1e11) == FirstFix(3, 0)
    with engine.begin() as connection:
        connection.execute(update(Visit).where(Visit.name.in_(names)).values(outcome="done"))
    rolls.rebuild(engine)
    worst = measures.misheard(measures.steps(engine, EVERYBODY, ALWAYS))[0]
    assert worst.step == "unplug", "'not isolated' and the wrong lock number, in three visits"
    assert worst.again == sum(_asked_again(folder, "unplug") for folder in season.folders.values()) >= 6
    (minutes,) = [row for row in measures.by_version(engine, EVERYBODY, ALWAYS) if row.procedure == "platform-check"]
    lasted = [row.on_site for row in queries.visits(engine, EVERYBODY, Filter()) if row.outcome == "done"]
    assert (minutes.visits, minutes.outcomes) == (4, (("done", 3), ("stopped", 1)))
    assert abs(minutes.minutes - sum(lasted) / 180) < 1e-9


def test_the_writer_sees_where_they_ask_again_go_back_or_stand_by(engine: Engine, season: Made) -> None:
    ingest.refresh(engine, season.visits)
    steps = {(row.procedure, row.step): row for row in measures.for_the_writer(engine, ALWAYS)}
    left = steps["platform-check", "delivery-air"]
    assert (left.repeated, left.back) == (1, 1)
    assert steps["platform-check", "place-thermometer"].stood_by == 1
    assert steps["platform-check", "clean-condenser"].repeated == 3
    assert not any("Huber" in str(value) for row in steps.values() for value in row)


def test_one_text_is_kept_once(engine: Engine, season: Made) -> None:
    ingest.refresh(engine, season.visits)
    with engine.connect() as connection:
        distinct = connection.scalar(select(func.count()).select_from(Saying))
        again = connection.scalar(select(func.count(func.distinct(Saying.text))))
    assert distinct == again
