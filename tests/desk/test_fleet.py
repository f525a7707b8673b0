"""What a fleet needs: devices that fell silent, queues that grow old, good visits drawn for review."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest

from handsfree.desk import devices, people, queries, threads
from handsfree.desk.configuration import Desk
from handsfree.desk.devices import NEVER, SILENT, STALE, WELL
from handsfree.desk.ingest import refresh
from handsfree.desk.queries import EVERYBODY, FindingQuery
from handsfree.desk.review import drawn
from handsfree.journal.findings import DRAWN
from tests.desk import many
from tests.desk.browsing import post, signed_in, token
from tests.desk.made import Made
from tests.desk.test_uploads import Device, empty

__all__ = ["empty"]
DAY = 86_400.0


@pytest.mark.parametrize(
    ("seen", "stored", "waits", "standing"),
    [
        (None, None, 0, NEVER), (0.5, 0.5, 0, WELL), (6.9, 6.9, 0, WELL), (7.1, 7.1, 0, SILENT), (7.1, 7.1, 5, SILENT),
        (0.1, 1.9, 3, WELL), (0.1, 2.1, 3, STALE), (0.1, None, 1, STALE), (0.1, 30.0, 0, WELL),
    ],
)  # fmt: skip
def test_a_device_that_fell_silent_or_whose_queue_grows_old(
    seen: float | None, stored: float | None, waits: int, standing: str
) -> None:
    """Days ago."""
    now = 1e9
    ago = [None if days is None else now - days * DAY for days in (seen, stored)]
    assert devices._standing(*ago, waits, now) == standing


def test_what_is_quiet_is_counted_as_the_list_has_it(desk: Desk) -> None:
    from sqlalchemy import insert

    from handsfree.desk.people_tables import DeviceSeen

    now = 1e9
    days = [(None, None, 0), (8, 8, 0), (8, 8, 5), (1, 3, 2), (1, None, 1), (1, 1, 9), (1, 9, 0)]
    for n, (seen, stored, waits) in enumerate(days):
        people.add(desk.people, f"van-{n}", "device", "valley" if n % 2 else "summit", "", "")
        if seen is not None:
            (who,) = [one.id for one in people.everybody(desk.people) if one.name == f"van-{n}"]
            row = {"person_id": who, "seen": now - seen * DAY, "stored": stored and now - stored * DAY, "waiting": waits}
            with desk.people.begin() as connection:
                connection.execute(insert(DeviceSeen), [row])
    for teams in (None, ("valley",), ("summit",), ("nobody",)):
        standings = [one.standing for one in devices.all_of(desk.people, Path("/nowhere"), teams, now)]
        expected = (standings.count(NEVER) + standings.count(SILENT), standings.count(STALE))
        assert devices.quiet(desk.people, teams, now) == expected
    assert "silent" in signed_in(desk, "Vera").get("/").text


def test_what_a_device_says_of_its_queue_is_shown(empty: Desk, season: Made) -> None:
    people.add(empty.people, "Vera", "supervisor", "*", "", "snow lamps over twelve sheds")
    device = Device(empty)
    (before,) = devices.all_of(empty.people, Path("/nowhere"))
    assert (before.standing, before.waiting) == (NEVER, -1)
    from handsfree.desk.protocol import manifest_of

    manifest = manifest_of(season.folders["once"])
    device.ask("POST", "/upload", manifest.to_json(), x_waiting="3")
    (begun,) = devices.all_of(empty.people, empty.incoming.place / "begun")
    assert (begun.waiting, begun.stored) == (3, None)
    for odd in ("-1", "many", "9" * 30, "3.0"):
        device.ask("POST", "/upload", manifest.to_json(), x_waiting=odd)
        assert devices.all_of(empty.people, Path("/nowhere"))[0].waiting == -1, odd
    device.ask("POST", "/upload", manifest.to_json(), x_waiting="3")
    device.send(season.folders["once"])
    (after,) = devices.all_of(empty.people, Path("/nowhere"))
    assert after.waiting <= 2
    assert after.stored is not None
    late = after.seen + 8 * DAY if after.seen is not None else 0.0
    assert devices.all_of(empty.people, Path("/nowhere"), now=late)[0].standing == SILENT
    assert "1 well" in signed_in(empty, "Vera").get("/devices").text


def test_one_in_so_many_is_drawn_and_none_that_needs_a_look(season: Made) -> None:
    """Two thousand made ones, of which a quarter is expected within four standard deviations."""
    outs = many.outs_of(season)
    count = 0
    for number in range(2000):
        out = outs[number % len(outs)]
        out.visit["head"] = hashlib.sha256(str(number).encode()).hexdigest()
        rules = [row["rule"] for row in drawn(out, 4).rows["findings"]]
        if any(row["level"] != "note" for row in out.rows["findings"]):
            assert DRAWN not in rules
        else:
            count += DRAWN in rules
    good = sum(not any(row["level"] != "note" for row in out.rows["findings"]) for out in outs)
    expected = 2000 * good / len(outs) / 4
    assert abs(count - expected) < 4 * (expected * 0.75) ** 0.5
    assert drawn(outs[0], 0) is outs[0]


def test_what_was_drawn_stands_last_and_stays_signed_off(desk: Desk) -> None:
    from sqlalchemy import update

    from handsfree.desk.tables import Visit

    desk.one_in = 1
    with desk.engine.begin() as connection:
        connection.execute(update(Visit).values(reading=0))
    refresh(desk.engine, desk.visits, one_in=1)
    found = queries.findings(desk.engine, EVERYBODY)
    rules = [row.rule for row in found]
    assert DRAWN in rules
    assert rules[0] != DRAWN
    key = next(row.key for row in found if row.rule == DRAWN)
    vera = signed_in(desk, "Vera")
    done = post(vera, f"/findings/{key}", token=token(vera), what="signed off", text="Listened: well done.")
    assert done.status_code == 303
    with desk.engine.begin() as connection:
        connection.execute(update(Visit).values(reading=0))
    refresh(desk.engine, desk.visits, one_in=1)
    threads.rebuild(desk.engine, desk.own)
    assert key in {row.key for row in queries.findings(desk.engine, EVERYBODY, FindingQuery(closed=True))}
