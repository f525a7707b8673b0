"""Any visit is found by any of what one knows of it, and every list is a file, too."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from datetime import date
from itertools import pairwise
from typing import Any
from urllib.parse import quote

import pytest
from sqlalchemy import Engine, select

from handsfree.desk import cabinets, ingest, measures, queries, registry, rolls
from handsfree.desk.configuration import Desk
from handsfree.desk.drawing import HEIGHT, TOP, _apart
from handsfree.desk.measures import Between
from handsfree.desk.queries import EVERYBODY, Filter, Scope
from handsfree.desk.tables import RollDay, RollStep, Visit
from handsfree.errors import Trouble
from tests.desk import many
from tests.desk.browsing import post, signed_in, token
from tests.desk.made import BRANDNER, FESSLER, HUBER, SUMMIT, VALLEY, Made

ALWAYS = Between(0.0, 4e9)


@pytest.mark.parametrize(
    ("want", "names"),
    [
        (Filter(site="HOCHGRÁT"), {"first", "back", "stopped"}),
        (Filter(cabinet="tk"), {"once", "thaw"}),
        (Filter(technician="bränd"), {"first", "once"}),
        (Filter(words="gasket torn"), {"back"}),
        (Filter(words="gásket"), {"back"}),
        (Filter(words="torn gasket lower hin"), {"back"}),
        (Filter(words="gasket of gold"), set()),
        (Filter(words="?!"), set()),
        (Filter(outcome="stopped"), {"stopped"}),
        (Filter(procedure="days"), {"thaw"}),
        (Filter(level="look", open=True), {"first", "stopped"}),
        (Filter(since=1772400000.0, until=1772600000.0), {"once"}),
        (Filter(site="summit", technician="huber", level="look"), {"stopped"}),
    ],
)
def test_a_visit_is_found_by_what_one_knows(engine: Engine, season: Made, want: Filter, names: set[str]) -> None:
    ingest.refresh(engine, season.visits)
    of = {folder.name: name for name, folder in season.folders.items()}
    assert {of[row.name] for row in queries.visits(engine, EVERYBODY, want)} == names


def test_a_version_is_found_and_compared(engine: Engine, season: Made) -> None:
    ingest.refresh(engine, season.visits)
    versions = {row.name: row.version for row in queries.visits(engine, EVERYBODY, Filter())}
    one = versions[season.folders["first"].name]
    assert one
    assert {row.version for row in queries.visits(engine, EVERYBODY, Filter(version=one))} == {one}
    rows = measures.by_version(engine, EVERYBODY, ALWAYS)
    assert sum(row.visits for row in rows) == 5
    asked = measures.by_version(engine, Scope((BRANDNER, FESSLER, HUBER)), ALWAYS)
    assert rounded(rows) == rounded(asked), "rolled up and asked themselves"


def rounded(rows: list[Any]) -> list[Any]:
    """Sums of minutes in another order differ in the last digits."""
    return [replace(one, minutes=round(one.minutes or 0.0, 6)) for one in rows]


def test_what_is_rolled_up_is_what_the_visits_say(engine: Engine, season: Made) -> None:
    """After putting in, changing and taking out, against the same figures asked of the visits themselves."""
    outs = many.outs_of(season)
    everybody = Scope((BRANDNER, FESSLER, HUBER))

    def agree() -> None:
        assert measures.first_fix(engine, EVERYBODY, ALWAYS, 4e9) == measures.first_fix(engine, everybody, ALWAYS, 4e9)
        steps = [measures.steps(engine, scope, ALWAYS) for scope in (EVERYBODY, everybody)]
        assert exact(steps[0]) == exact(steps[1])
        versions = [measures.by_version(engine, scope, ALWAYS) for scope in (EVERYBODY, everybody)]
        assert rounded(versions[0]) == rounded(versions[1])

    ingest.refresh(engine, season.visits)
    agree()
    made = list(many.multiplied(outs, 40))
    ingest.put(engine, made)
    agree()
    for out in made[:7]:
        out.visit["outcome"], out.visit["began"] = "not fixed", out.visit["began"] + 3 * 86_400
        out.visit["day"] += 3
    ingest.put(engine, made[:7])
    agree()
    ingest.refresh(engine, season.visits)  # the made ones have no folder: they go
    agree()
    assert sum(row.visits for row in measures.by_version(engine, EVERYBODY, ALWAYS)) == 5
    with engine.connect() as connection:
        before = [connection.execute(select(*t.__table__.columns)).all() for t in (RollDay, RollStep)]
    rolls.rebuild(engine)
    with engine.connect() as connection:
        after = [connection.execute(select(*t.__table__.columns)).all() for t in (RollDay, RollStep)]
    assert [exact(rows) for rows in before] == [exact(rows) for rows in after]


def exact(rows: Any) -> list[tuple[Any, ...]]:
    """But for the last digits of sums of seconds, which were added and taken off in another order."""
    return sorted(tuple(round(value, 6) if isinstance(value, float) else value for value in row) for row in rows)


def test_a_date_that_is_none_is_told_on_every_page_that_asks_for_one(desk: Desk) -> None:
    browser = signed_in(desk, "Vera")
    for path in ("/visits", "/findings", "/measures", "/people", "/writer"):
        assert "not a date such as 2026-02-11" in browser.get(f"{path}?since=2026-02-31").text, path


def test_a_search_is_kept_under_a_name_and_is_a_link(desk: Desk) -> None:
    vera, toni = signed_in(desk, "Vera"), signed_in(desk, "Toni")
    address = f"/visits?site={quote('Hochgrat')}&outcome=stopped"
    assert post(vera, "/saved", token=token(vera), name="stopped up there", address=address).status_code == 303
    page = vera.get("/visits").text
    assert "stopped up there</a>" in page
    assert address.replace("&", "&amp;") in page
    assert "stopped up there" not in toni.get("/visits").text
    for bad in ("", "x" * 61):
        assert post(vera, "/saved", token=token(vera), name=bad, address="/visits").status_code == 409
    post(vera, "/saved", token=token(vera), name="away", address="https://example.org/")
    assert "example.org" not in vera.get("/visits").text
    post(vera, "/saved", token=token(vera), name="stopped up there", do="forget")
    assert "stopped up there</a>" not in vera.get("/visits").text


LISTS = {
    "/visits": 5, "/findings": 2, "/search?q=isolated": None, "/due": 1, "/due?what=follow-ups": 0,
    f"/cabinet?cabinet=HK-4&site={quote(SUMMIT)}": 4, f"/cabinet?cabinet=HK-4&site={quote(SUMMIT)}&what=visits": 2,
    "/measures": None, "/measures?what=versions": 2, "/writer": None, "/people": 3, "/devices": 0, "/registry": 0,
}  # fmt: skip


@pytest.mark.parametrize("path", LISTS)
def test_every_list_is_a_file_too(desk: Desk, path: str) -> None:
    """CSV and Parquet have the same rows, and say who, where and when where a row is of a visit."""
    import pyarrow.parquet as pq

    browser = signed_in(desk, "Vera")
    base, _, asked = path.partition("?")
    at = f"?since=2026-01-01&until=2026-12-31&{asked}"
    rows = list(csv.reader(io.StringIO(browser.get(f"{base}.csv{at}").text)))
    answer = browser.get(f"{base}.parquet{at}")
    assert answer.status_code == 200
    table = pq.read_table(io.BytesIO(answer.content))
    assert table.column_names == rows[0]
    assert table.num_rows == len(rows) - 1
    if LISTS[path] is not None:
        assert table.num_rows == LISTS[path]
    if "visit" in rows[0]:
        assert {"begun", "site", "cabinet", "technician"} <= set(rows[0])
    assert browser.get(f"{base}.xlsx").status_code in (200, 404), "no other kind is a fault"


def test_a_file_holds_what_the_page_was_asked_for(desk: Desk) -> None:
    browser = signed_in(desk, "Vera")
    rows = list(csv.DictReader(io.StringIO(browser.get("/visits.csv?words=gasket&sort=site").text)))
    assert [(row["cabinet"], row["technician"]) for row in rows] == [("HK-4", FESSLER)]
    assert signed_in(desk, "Toni").get("/visits.csv").text.count("\r\n") == 3, "a team's two, and the head"


# ---- a cabinet and a technician over the years -------------------------------------------------------------------------


def reading(days: float, value: float, visit: str, low: float = 2.0, high: float = 8.0) -> Any:
    from types import SimpleNamespace

    began = 1_700_000_000.0 + days * 86_400
    return SimpleNamespace(
        taken=began, began=began, began_text=str(date.fromtimestamp(began)), value=value, unit="degC", low=low, high=high,
        name=visit, where="in range", n=1, step="s", quantity="air",
    )


def test_a_reading_that_drifts_is_told_and_noise_is_not() -> None:
    """Against slopes put in by hand: one degree a year, and none at all."""
    rising = [reading(90 * n, 3.0 + 90 * n / 365.25 + (0.02 if n % 2 else -0.02), f"v{n}") for n in range(8)]
    found = cabinets.drift("air", rising)
    assert found is not None
    assert found.a_year == pytest.approx(1.0, abs=0.05)
    assert found.leaves == pytest.approx((8.0 - 3.0 - 630 / 365.25) / 1.0, abs=0.15)
    assert "Air rises by 1" in found.words
    level = [reading(90 * n, (4.2, 3.9, 4.4, 3.7)[n % 4], f"v{n}") for n in range(8)]
    assert cabinets.drift("air", level) is None
    assert cabinets.drift("air", rising[:3]) is None, "three visits are too few"
    soon = [reading(n, 3.0 + n, f"v{n}") for n in range(8)]
    assert cabinets.drift("air", soon) is None, "a week is too short"


def test_steep_is_what_scipy_calls_so() -> None:
    from scipy.stats import t

    for free, least in cabinets.STUDENT.items():
        assert t.ppf(0.995, free) == pytest.approx(least, abs=6e-4)
    for visits in (4, 5, 9, 12, 40):
        for along in (0.3, 0.75, 0.85, 0.9999, 1.0, -0.9):
            steep = cabinets.is_steep(along, visits)
            seen = abs(along) * ((visits - 2) / max(1 - along**2, 1e-12)) ** 0.5
            assert not steep or seen > t.ppf(0.995, visits - 2) - 1e-3, "never where it is none"


def test_the_curves_of_several_visits_lie_over_one_another() -> None:
    taken = [
        reading(90 * visit + minute / 1440, 20.0 - minute * (1 + visit) / 10, f"v{visit}")
        for visit in range(3)
        for minute in (0, 10, 20, 30)
    ]
    for row in taken:
        row.began = row.taken
    drawn = cabinets._pull_down([("air", taken)])
    assert drawn.count('class="run') == 3
    assert "from 20 to 11 °C in 30 min" in drawn
    assert cabinets._pull_down([("air", taken[:2])]) == ""


@pytest.mark.parametrize("heights", [[50.0] * 8, [180.0] * 8, [14.0] * 8, [20.0, 170.0, 21.0, 169.0, 90.0], [50.0]])
def test_labels_stand_apart_within_the_drawing(heights: list[float]) -> None:
    found = sorted(_apart(heights))
    assert all(b - a >= 13.9 for a, b in pairwise(found))
    assert found[0] >= TOP
    assert found[-1] <= HEIGHT - 10
    assert [h for _, h in sorted(zip(_apart(heights), heights, strict=True))] == sorted(heights), "in their own order"


def test_a_cabinets_page_has_visits_first_then_what_changed(desk: Desk) -> None:
    text = signed_in(desk, "Vera").get(f"/cabinet?cabinet=HK-4&site={quote(SUMMIT)}").text
    order = ["Visits and faults", "With a clean condenser", "<h2>Readings</h2>"]
    assert sorted(order, key=text.index) == order


def test_a_technicians_page(desk: Desk) -> None:
    vera = signed_in(desk, "Vera")
    text = vera.get(f"/technician?name={quote(BRANDNER)}&since=2026-01-01&until=2026-12-31").text
    for words in ("<dd>2</dd>", "Asked again", "everybody", "HK-4", "TK-1"):
        assert words in text
    assert signed_in(desk, "Toni").get(f"/technician?name={quote(BRANDNER)}").status_code == 404, "of another team"
    own = signed_in(desk, "Anna").get("/me?since=2026-01-01&until=2026-12-31").text
    assert BRANDNER in own
    assert "HK-9" not in own


# ---- the registry -------------------------------------------------------------------------------------------------------


def test_a_cabinet_that_was_renamed_is_one_cabinet(desk: Desk) -> None:
    vera = signed_in(desk, "Vera")
    assert "HK-9" in vera.get("/registry?kind=cabinet").text
    one = registry.put(desk.people, "cabinet", "HK-9", SUMMIT)
    assert post(vera, "/registry", token=token(vera), do="also", id=f"C-{one}", kind="cabinet", name="TK-1",
                under=VALLEY).status_code == 303  # fmt: skip
    called = "Kiosk by the ropeway"
    assert post(vera, "/registry", token=token(vera), do="rename", id=str(one), name=called).status_code == 303
    for site, cabinet in ((SUMMIT, "HK-9"), (VALLEY, "TK-1")):
        text = vera.get(f"/cabinet?cabinet={cabinet}&site={quote(site)}").text
        assert called in text
        assert "2026-03-09" in text, "its visits under either name"
        assert "2026-03-02" in text
    with pytest.raises(Trouble):
        registry.put(desk.people, "cabinet", "TK-1", VALLEY)
    with pytest.raises(Trouble):
        registry.rename(desk.people, 999, "x")
    assert post(signed_in(desk, "Toni"), "/registry", token="x", do="put").status_code == 403


def test_two_that_were_known_apart_become_one(desk: Desk) -> None:
    a, b = (registry.put(desk.people, "person", name) for name in ("A. Brandner", "Anna Brandner"))
    registry.also(desk.people, a, "Anna Brandner")
    (thing,) = registry.all_of(desk.people, "person")
    assert (thing.id, [name for _, name in thing.names]) == (a, ["A. Brandner", "Anna Brandner"])
    assert registry.find(desk.people, "person", "Anna Brandner") == thing
    assert b != a


def test_the_visits_of_a_day_that_nobody_begins_roll_up_to_nothing(engine: Engine, season: Made) -> None:
    ingest.refresh(engine, season.visits)
    with engine.connect() as connection:
        days = sorted(connection.scalars(select(Visit.day)))
    assert [date.fromordinal(day + 719_163) for day in days] == [
        date(2026, 2, 11), date(2026, 2, 20), date(2026, 3, 2), date(2026, 3, 5), date(2026, 3, 9),
    ]  # fmt: skip


def test_two_days_the_wrong_way_round_are_told(desk: Desk) -> None:
    """They find nothing, and nobody sees why."""
    vera = signed_in(desk, "Vera")
    for address in ("/visits", "/findings", "/measures"):
        assert "is after 2026-05-01" in vera.get(f"{address}?since=2026-06-10&until=2026-05-01").text, address
        assert "is after" not in vera.get(f"{address}?since=2026-05-01&until=2026-05-01").text
        assert "is after" not in vera.get(f"{address}?since=2026-9-1&until=2026-10-01").text


def test_a_digest_does_not_say_that_nothing_needs_you_while_older_findings_are_open(desk: Desk) -> None:
    """'What needs you: 0 grave' stood over an archive in which nobody had looked at anything for months."""
    vera = signed_in(desk, "Vera")
    open_now = len(queries.findings(desk.engine, EVERYBODY))
    assert open_now > 0
    page = vera.get("/digest?days=1").text
    assert "0 grave" not in page
    assert f"{open_now} finding" in page
    assert "Open from before" in vera.get("/digest.md?days=1").text
