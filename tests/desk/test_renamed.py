"""A site, a cabinet or a person that is called otherwise keeps its history: in lists, in figures, in what is due."""

from __future__ import annotations

import random
from collections import Counter

from sqlalchemy import Engine, select

from handsfree.desk import crews, measures, people, places, queries, registry, rolls
from handsfree.desk.configuration import Desk
from handsfree.desk.database import put_alone
from handsfree.desk.ingest import _take_out, ingest, put, refresh
from handsfree.desk.measures import Between
from handsfree.desk.queries import EVERYBODY, Scope
from handsfree.desk.tables import Visit
from tests.desk import made, many
from tests.desk.browsing import post, signed_in, token
from tests.desk.made import BRANDNER, HUBER, SUMMIT, VALLEY, Made

EVER = Between(0.0, 4e9)
NEW = "Gipfel platform (invented)"


def back(desk: Desk, scope: Scope = EVERYBODY) -> list[tuple[str, str, int, int]]:
    rows = measures.returns(desk.engine, scope, EVER)
    return [(row.site, row.cabinet, row.visits, row.returns) for row in rows]


def one_more(desk: Desk, site: str, cabinet: str, month: int, day: int, technician: str = BRANDNER) -> str:
    folder = made.visit(desk.visits, ("understood",), technician, site, cabinet, made.day(month, day))
    ingest(desk.engine, folder, one=desk.one)
    return folder.name


def test_a_renamed_site_keeps_the_history_of_its_cabinets(desk: Desk) -> None:
    """Known before the next visit comes, and made known after it came."""
    vera = signed_in(desk, "Vera")
    came = one_more(desk, NEW, "HK-4", 3, 1)
    assert back(desk) == [(SUMMIT, "HK-4", 2, 1)]
    assert came not in vera.get("/cabinet", params={"site": SUMMIT, "cabinet": "HK-4"}).text
    post(vera, "/registry", token=token(vera), kind="site", do="put", name=SUMMIT)
    (site,) = registry.all_of(desk.people, registry.SITE)
    assert post(vera, "/registry", token=token(vera), kind="site", do="also", name=NEW, id=site.label).status_code == 303
    assert back(desk) == [(NEW, "HK-4", 3, 2)], "under the name it had last"
    after = one_more(desk, NEW, "HK-4", 3, 9)
    assert back(desk) == [(NEW, "HK-4", 4, 3)]
    for site_name in (SUMMIT, NEW):
        page = vera.get("/cabinet", params={"site": site_name, "cabinet": "HK-4"}).text
        assert came in page
        assert after in page
        assert "In records also as" in page
    refresh(desk.engine, desk.visits, one=desk.one)
    assert back(desk) == [(NEW, "HK-4", 4, 3)]


def test_a_renamed_cabinet_is_found_by_its_new_name_and_by_its_id(desk: Desk) -> None:
    vera = signed_in(desk, "Vera")
    registry.put(desk.people, registry.CABINET, "HK-4", SUMMIT)
    (thing,) = registry.all_of(desk.people, registry.CABINET)
    assert post(vera, "/registry", token=token(vera), kind="cabinet", id=str(thing.id), name="Aurora").status_code == 303
    for part in ("Aurora", "aur", thing.label, thing.label.lower()):
        page = vera.get("/visits", params={"cabinet": part}).text
        assert page.count("HK-4</a>") == 2, part
    assert vera.get("/visits.csv", params={"cabinet": "Aurora"}).text.count("HK-4") == 2
    assert "There is no such visit" in vera.get("/visits", params={"cabinet": "Boreas"}).text


def test_what_was_to_be_continued_is_so_under_any_name(desk: Desk) -> None:
    assert [row.cabinet for row in queries.due(desk.engine, EVERYBODY)] == ["TK-2"]
    registry.put(desk.people, registry.CABINET, "TK-2", VALLEY)
    (thing,) = registry.all_of(desk.people, registry.CABINET)
    registry.also(desk.people, thing.id, "Kiosk 2", "Yard (invented)")
    one_more(desk, "Yard (invented)", "Kiosk 2", 3, 8)
    assert queries.due(desk.engine, EVERYBODY) == []


def test_a_person_who_is_called_otherwise_is_one_person(desk: Desk) -> None:
    new = "M. Huber-Lang (invented)"
    one_more(desk, VALLEY, "TK-1", 5, 2, new)
    registry.put(desk.people, registry.PERSON, HUBER)
    (thing,) = registry.all_of(desk.people, registry.PERSON)
    registry.also(desk.people, thing.id, new)
    registry.rename(desk.people, thing.id, new)
    people = crews.technicians(desk.engine, desk.people, EVERYBODY, EVER, 4e9)
    (huber,) = [one for one in people if "Huber" in one.technician]
    assert (huber.technician, huber.visits, huber.people) == (new, 3, 1)
    page = signed_in(desk, "Vera").get("/technician", params={"name": new}).text
    assert HUBER in page
    assert "HK-9" in page
    assert "HK-9" in signed_in(desk, "Max").get("/visits").text, "whose account has the old name"
    assert "TK-1" in signed_in(desk, "Max").get("/visits").text


def test_whoever_is_called_alike_today_sees_nothing_of_the_other(desk: Desk) -> None:
    registry.put(desk.people, registry.PERSON, HUBER)
    (thing,) = registry.all_of(desk.people, registry.PERSON)
    registry.rename(desk.people, thing.id, BRANDNER)
    asked = next(row for row in queries.findings(desk.engine, EVERYBODY) if row.technician == HUBER)
    vera, anna = signed_in(desk, "Vera"), signed_in(desk, "Anna")
    assert post(vera, f"/findings/{asked.key}", token=token(vera), what="asked", text="Why then?").status_code == 303
    for address in ("/", "/visits", "/me", f"/technician?name={BRANDNER}"):
        told = anna.get(address).text
        assert "HK-9" not in told, address
        assert "Why then?" not in told, address
    assert post(anna, f"/findings/{asked.key}", token=token(anna), what="answered", text="So.").status_code == 404
    assert "Why then?" in vera.get("/technician", params={"name": BRANDNER}).text, "who sees everybody sees both"


def test_two_that_were_taken_for_one_are_parted_by_nothing_else(desk: Desk) -> None:
    """Nobody's other cabinet of the same name comes along."""
    registry.put(desk.people, registry.SITE, SUMMIT)
    (thing,) = registry.all_of(desk.people, registry.SITE)
    registry.also(desk.people, thing.id, NEW)
    one_more(desk, VALLEY, "HK-4", 3, 1)
    places.bring_up_to_date(desk.engine, desk.one)
    assert back(desk) == [(SUMMIT, "HK-4", 2, 1)]


def test_returns_rolled_up_are_those_that_are_counted(engine: Engine, season: Made) -> None:
    """Any days of four years, against the visits asked one by one; some are put in again and some are gone."""
    chance, outs = random.Random(1), many.outs_of(season)
    made_ones = [
        many.copied(outs[n % len(outs)], n, chance.randrange(4 * 365), f"K-{chance.randrange(6)}") for n in range(120)
    ]
    put(engine, made_ones)
    put(engine, [many.copied(outs[n % len(outs)], n, chance.randrange(4 * 365), "K-1") for n in range(0, 120, 7)])
    put_alone(engine, lambda connection: _take_out(connection, [f"2025-made-{n}" for n in range(0, 120, 11)]))
    with engine.connect() as connection:
        visits = connection.execute(select(Visit.day, Visit.place, Visit.since_last, Visit.standing)).all()
    low, high = min(v.day for v in visits), max(v.day for v in visits)

    def held() -> None:
        for _ in range(30):
            first = chance.randint(low - 5, high)
            last = chance.randint(first, high + 5)
            back = [v.place for v in visits if v.standing == "good" and v.since_last is not None
                    and v.since_last <= rolls.REACH and first <= v.day <= last]  # fmt: skip
            with engine.connect() as connection:
                got = {row.place: row.returns for row in connection.execute(rolls.returns_in(first, last))}
            assert got == Counter(back), (first, last)

    held()
    rolls.rebuild(engine)
    held()


def test_the_registry_read_once_says_the_same_as_looked_up(desk: Desk) -> None:
    sites, names = ("A", "B", "C", ""), ("K-1", "K-2", "K-3")
    registry.put(desk.people, registry.SITE, "B")
    registry.put(desk.people, registry.CABINET, "K-1", "A")
    registry.put(desk.people, registry.CABINET, "K-1", "C")
    (site,), (first, other) = (registry.all_of(desk.people, kind) for kind in (registry.SITE, registry.CABINET))
    registry.also(desk.people, site.id, "A")
    registry.also(desk.people, other.id, "K-3", "B")
    looked_up, at_once = registry.one_of(desk.people), registry.one_of_all(desk.people)
    found = {(under, name): at_once(under, name) for under in sites for name in names}
    assert found == {pair: looked_up(*pair) for pair in found}
    assert all(at_once(*pair) == pair for pair in found.values()), "what it is called is called so"
    assert found["B", "K-2"] == ("B", "K-2") == found["A", "K-2"]
    assert first.names[0] in found.values()


def test_nobody_without_a_name_is_asked_anything(desk: Desk) -> None:
    assert registry.names_of_person(desk.people, "") == ("",)
    assert registry.called(desk.people, registry.SITE, " ") == []
    assert people.technicians_of(desk.people, "") == []
