"""Figures of technicians, teams and regions, rolled up; and who may see which."""

from __future__ import annotations

import csv
import io
import itertools
import random
import time
from datetime import datetime
from typing import Any

import pytest
from sqlalchemy import Engine, select, update

from handsfree.desk import crews, ingest, registry, rolls
from handsfree.desk.configuration import CHOICES_LAST, Desk
from handsfree.desk.queries import EVERYBODY, Scope
from handsfree.desk.tables import RollTechnician, Visit
from tests.desk import many
from tests.desk.browsing import post, signed_in, token
from tests.desk.made import BRANDNER, FESSLER, HUBER, Made
from tests.desk.test_finding_things import ALWAYS, exact


def test_teams_and_regions_roll_up(desk: Desk) -> None:
    vera = signed_in(desk, "Vera")
    asked = "since=2026-01-01&until=2026-12-31"
    for team, region in (("summit", "high alps"), ("valley", "low country")):
        assert post(vera, "/people/region", token=token(vera), team=team, region=region).status_code == 303
    rows = {row["team"]: row for row in csv.DictReader(io.StringIO(vera.get(f"/people.csv?{asked}").text))}
    assert (rows["summit"]["visits"], rows["summit"]["region"]) == ("2", "high alps")
    assert (rows["valley"]["visits"], rows["no team"]["visits"]) == ("2", "1")
    text = vera.get(f"/people?{asked}").text
    assert "high alps" in text
    toni = signed_in(desk, "Toni")
    assert "summit" not in toni.get(f"/people?{asked}").text.replace("Hochgrat summit", "")
    assert post(toni, "/people/region", token=token(toni), team="valley", region="mine").status_code == 403


def told_again(rows: Any, first: int, last: int, settled: int) -> dict[str, list[float]]:
    """What a technician did in those days, counted one visit after the other."""
    found: dict[str, list[float]] = {}
    for v in rows:
        if v.standing != "good" or not first <= v.day <= last:
            continue
        lone = v.cabinet != "" and (v.since_last is None or v.since_last > 30 * 86_400)
        again = v.until_next is not None and v.until_next <= 30 * 86_400
        is_first = lone and (v.outcome != "no fault found" or again) and v.day < settled
        mended = is_first and v.outcome in ("fixed", "done") and v.trips == 1 and not again
        back = v.since_last is not None and v.since_last <= 30 * 86_400
        one = found.setdefault(v.technician, [0, 0, 0, 0, 0, 0, 0.0, 0])
        for at, value in enumerate((1, is_first, mended, back, v.heard, v.again, v.on_site)):
            one[at] += value
        one[7] = max(one[7], v.day)
    return {name: [round(value, 3) for value in one] for name, one in found.items()}


def test_technicians_rolled_up_are_what_their_visits_say(engine: Engine, season: Made) -> None:
    """Put in, changed and taken out, against a count of the visits, for periods that begin and end anywhere."""
    lot = random.Random(5)

    def agree() -> None:
        with engine.connect() as connection:
            visits = connection.execute(select(*Visit.__table__.columns)).all()
            days = [visit.day for visit in visits]
            for _ in range(12):
                first, last = sorted(lot.randint(min(days) - 40, max(days) + 40) for _ in range(2))
                settled = rolls.settled_until(lot.randint(first, last + 60))
                expected = told_again(visits, first, last, settled)
                for which in ((), (Visit.technician.in_([BRANDNER, FESSLER, HUBER]),)):
                    rows = connection.execute(rolls.technicians_in(first, last, settled, *which))
                    got = {row.technician: [round(float(value), 3) for value in row[1:]] for row in rows if row.visits}
                    assert got == expected, (first, last, settled, which)

    ingest.refresh(engine, season.visits)
    agree()
    made = list(many.multiplied(many.outs_of(season), 60))
    ingest.put(engine, made)
    agree()
    for out in made[:9]:
        out.visit["outcome"], out.visit["began"] = "not fixed", out.visit["began"] - 47 * 86_400
        out.visit["day"] -= 47
    ingest.put(engine, made[:9])
    agree()
    ingest.refresh(engine, season.visits)  # the made ones have no folder: they go
    agree()
    with engine.connect() as connection:
        before = exact(connection.execute(select(*RollTechnician.__table__.columns)).all())
    rolls.rebuild(engine)
    with engine.connect() as connection:
        assert exact(connection.execute(select(*RollTechnician.__table__.columns)).all()) == before


def test_files_of_teams_and_regions_and_who_may_have_them(desk: Desk) -> None:
    vera, asked = signed_in(desk, "Vera"), "since=2026-01-01&until=2026-12-31"
    for team in ("summit", "valley"):
        post(vera, "/people/region", token=token(vera), team=team, region="high alps")

    def file(who: Any, more: str) -> list[dict[str, str]]:
        return list(csv.DictReader(io.StringIO(who.get(f"/people.csv?{asked}{more}").text)))

    teams, regions = file(vera, "&by=team"), file(vera, "&by=region")
    assert [(row["region"], row["team"], row["technicians"], row["visits"]) for row in teams] == [
        ("high alps", "summit", "1", "2"), ("high alps", "valley", "1", "2"), ("no region", "no team", "1", "1"),
    ]  # fmt: skip
    assert [(row["region"], row["technicians"], row["visits"]) for row in regions] == [
        ("high alps", "2", "4"), ("no region", "1", "1"),
    ]  # fmt: skip
    assert "technician" not in teams[0], "nobody is named in it"
    assert "team" not in regions[0]
    assert {row["technician"] for row in file(vera, "&region=high+alps")} == {BRANDNER, HUBER}
    text = vera.get(f"/people?{asked}&region=high+alps").text
    assert "summit" in text
    assert "no team" not in text
    toni = signed_in(desk, "Toni")
    assert [row["team"] for row in file(toni, "&by=team")] == ["valley"], "a supervisor of one team sees that"
    assert file(toni, "&team=summit") == []
    for path in ("/people.csv?by=region", "/people?region=high+alps", "/people.parquet?by=region"):
        assert toni.get(path).status_code == 403, path
    assert signed_in(desk, "Anna").get("/people.csv?by=team").status_code == 403


def test_first_visits_of_teams_count_when_it_is_known_what_came_of_them(desk: Desk) -> None:
    """A whole block of the rolls is waited for: 20,490 days after 1970-01-01 are 683 of 30."""

    def firsts(month: int, day: int) -> tuple[str, int]:
        at = datetime(2026, month, day).timestamp()
        people = crews.technicians(desk.engine, desk.people, EVERYBODY, ALWAYS, at)
        return crews.day(crews.firsts_until(at)), sum(one.firsts for one in people)

    ago = datetime(2026, 4, 1).timestamp()
    with desk.engine.connect() as connection:
        visits = connection.execute(select(*Visit.__table__.columns)).all()
    told = {settled: told_again(visits, 0, 40_000, settled).values() for settled in (20_490, 20_520)}
    counted = {settled: sum(one[1] for one in some) for settled, some in told.items()}
    assert firsts(4, 1) == ("2026-02-06", counted[20_490]) == ("2026-02-06", 0), "the season begins on 11 February"
    assert firsts(4, 15) == ("2026-03-08", counted[20_520])
    later = crews.technicians(desk.engine, desk.people, EVERYBODY, ALWAYS, ago + 90 * 86_400)
    assert 0 < counted[20_520] < sum(one.firsts for one in later)
    whole = told_again(visits, 0, 40_000, 40_000)
    for one in later:
        found = (one.visits, one.firsts, one.fixed, one.returns, one.heard, one.asked_again,
                 round(one.seconds, 3), one.last_day)  # fmt: skip
        assert list(found) == whole[one.technician]
    (every,) = crews.regions_of(later)
    assert every.people == len(later) == 3
    assert [every.visits, every.heard, every.again] == [
        sum(one.visits for one in later), sum(one.heard for one in later),
        sum(one.asked_again for one in later) / sum(one.heard for one in later),
    ]  # fmt: skip


def test_a_person_of_two_names_in_two_teams_is_of_the_first_names(desk: Desk) -> None:
    """Whatever order the database gives them in."""
    registry.put(desk.people, registry.PERSON, HUBER)
    (thing,) = registry.all_of(desk.people, registry.PERSON)
    registry.also(desk.people, thing.id, BRANDNER)
    row = crews.technicians(desk.engine, desk.people, EVERYBODY, ALWAYS, 2e9)[-1]
    assert (row.technician, row.team) == (HUBER, "summit")
    teams = (("b", "x"), ("a", "y"), ("0", "no team"))
    each = [crews.Crew(name, team, "", 1, 0, 0, 0, 0, 0, 0.0, 0, 1) for name, team in teams]
    assert {crews._person("b", list(some)).team for some in itertools.permutations(each)} == {"y"}


def test_what_a_form_offers_is_for_whom_it_is_made_and_for_a_minute(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    toni = Scope((HUBER,))
    assert HUBER in str(desk.choices(EVERYBODY))
    assert BRANDNER in str(desk.choices(EVERYBODY))
    assert BRANDNER not in str(desk.choices(toni)), "one of a team, after one who sees everybody"
    with desk.engine.begin() as connection:
        connection.execute(update(Visit).where(Visit.technician == HUBER).values(outcome="new here"))
    assert "new here" not in str(desk.choices(toni)), "kept a minute"
    late = time.monotonic() + CHOICES_LAST + 1
    monkeypatch.setattr(time, "monotonic", lambda: late)
    assert "new here" in str(desk.choices(toni))
    assert BRANDNER not in str(desk.choices(toni))
