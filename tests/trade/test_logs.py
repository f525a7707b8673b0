"""Loggers' and clamp meters' files: what they are taken for, and that nothing is guessed. Formats written here by hand."""

from __future__ import annotations

import contextlib
import math
from datetime import datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.errors import Trouble
from handsfree.trade import logs

COMMA = "Serial,4711\nDate/Time,Temperature (°C),Humidity (%RH)\n" + "".join(
    f"2026-03-02 {h:02}:{m:02}:00,{4 + h / 10:.1f},50\n" for h in range(6) for m in (0, 20, 40)
)
SEMI = "Nr;Datum;Zeit;Temp °C\n" + "".join(f"{n};31.03.2026;{n // 60:02}:{n % 60:02};{n / 10:.1f}\n".replace(".0\n", ",0\n")
                                           .replace(";0.", ";0,") for n in range(90))  # fmt: skip
AMERICAN = "Time,Probe (F)\n" + "".join(f"03/{d}/2026 11:30 PM,{40 + d}\n" for d in range(12, 16))
ELAPSED = "Elapsed (min)\tCurrent (A)\n" + "".join(f"{n}\t{1.62 if n % 30 < 12 else 0.21}\n" for n in range(240))


def test_a_log_with_commas() -> None:
    log = logs.parse(COMMA)
    assert log.start == datetime(2026, 3, 2)
    assert [(c.kind, c.unit) for c in log.columns] == [("temperature", "degC"), ("humidity", "percent")]
    assert log.minutes[:3] == (0.0, 20.0, 40.0)
    assert log.columns[0].values[-1] == pytest.approx(4.5)


def test_a_log_with_semicolons_decimal_commas_and_the_hour_in_a_column_of_its_own() -> None:
    log = logs.parse(SEMI)
    assert log.start == datetime(2026, 3, 31)
    assert log.of("temperature") is not None
    assert log.minutes[-1] == 89.0


def test_fahrenheit_and_the_month_first() -> None:
    log = logs.parse(AMERICAN)
    assert log.start == datetime(2026, 3, 12, 23, 30)
    assert log.columns[0].values[0] == pytest.approx((52 - 32) / 1.8)


def test_duty_of_a_clamp() -> None:
    found = logs.duty(logs.parse(ELAPSED))
    assert found.share == pytest.approx(12 / 30, abs=0.01)
    assert found.starts == 7
    assert found.level == pytest.approx(1.62)
    assert found.longest == pytest.approx(12.0)


def test_energy_a_day() -> None:
    """Mean of 12 minutes of 1.62 A and 18 of 0.21 A at 230 V: Ohm and the clock."""
    mean = (12 * 1.62 + 18 * 0.21) / 30
    assert logs.kilowatt_hours_a_day(logs.parse(ELAPSED), 230.0) == pytest.approx(mean * 230 * 24 / 1000, rel=0.01)
    watts = logs.parse("Elapsed (h),Power (W)\n0,100\n1,100\n2,100\n")
    assert logs.kilowatt_hours_a_day(watts, 0.0) == pytest.approx(2.4)


@pytest.mark.parametrize(("text", "says"), [
    ("", "empty"), ("hello\nworld\n", "time and a number"), ("a,b\n1,2\n3,4\n5,6\n", "time column"),
    ("Time,Temp\n2026-03-02 00:00,4\n2026-03-02 00:10,5\n2026-03-02 00:20,5\n", "has no unit"),
    ("Time,x\n2026-03-02 00:00,4\n2026-03-02 00:10,5\n2026-03-02 00:20,5\n", "has no known unit"),
    ("Time,T (°C)\n2026-03-02 00:00,4\n", "samples"),
    ("Time,T (°C)\n" + "2026-03-02 00:00,4\n" * 4, "same time"),
    ("Time,T (°C)\n01/02/2026 00:00,4\n02/03/2026 00:10,5\n03/04/2026 00:20,5\n", "told apart"),
])  # fmt: skip
def test_what_is_no_log_gets_a_sentence(text: str, says: str) -> None:
    with pytest.raises(Trouble, match=says):
        logs.parse(text)


def test_files_that_are_none(tmp_path: Path) -> None:
    with pytest.raises(Trouble, match="cannot be read"):
        logs.read(tmp_path / "none.csv")
    picture = tmp_path / "photo.csv"
    picture.write_bytes(b"\x89PNG\r\n\0\0\0\0")
    with pytest.raises(Trouble, match="not a text file"):
        logs.read(picture)
    wide = tmp_path / "wide.csv"
    wide.write_text(COMMA, encoding="utf-16")
    assert logs.read(wide).columns


def test_one_level_of_current_is_no_duty() -> None:
    with pytest.raises(Trouble, match="one level"):
        logs.duty(logs.parse("Elapsed (min),Current (A)\n" + "".join(f"{n},1.6{n % 3}\n" for n in range(60))))
    with pytest.raises(Trouble, match="no current"):
        logs.duty(logs.parse(COMMA))


@given(st.text(alphabet="0123456789,;.:-/ \tTA°C()\nxé", max_size=400))
def test_any_text_is_a_log_or_a_sentence(text: str) -> None:
    try:
        log = logs.parse(text)
    except Trouble:
        return
    assert all(a <= b for a, b in zip(log.minutes, log.minutes[1:], strict=False))


@given(st.lists(st.floats(-30, 60), min_size=4, max_size=400))
def test_thinning_keeps_the_warmest(values: list[float]) -> None:
    column = logs.Column("t", "temperature", "degC", tuple(values))
    log = logs.Log("x", None, tuple(map(float, range(len(values)))), (column,))
    kept = logs.thinned(log, 20)
    assert len(kept) <= 20
    assert max(value for _, value in kept) == max(values)
    assert not math.isnan(kept[0][0])


def test_what_is_said_and_drawn_of_a_log(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from xml.etree import ElementTree

    from handsfree.cli import main

    def run(arguments: list[str]) -> None:
        with contextlib.suppress(SystemExit):
            main(arguments)

    clamp, out = tmp_path / "clamp.csv", tmp_path / "clamp.svg"
    clamp.write_text(ELAPSED, encoding="utf-8")
    run(["log", str(clamp), "--volts", "230", "--price", "0.25", "--out", str(out)])
    told = capsys.readouterr().out
    assert "40 percent" in told
    assert "kilowatt-hours at most" in told
    root = ElementTree.fromstring(out.read_text(encoding="utf-8"))
    assert "Current (A)" in "".join(root.itertext())
    warm = tmp_path / "warm.csv"
    warm.write_text(COMMA.replace(",4.5,", ",9.0,"), encoding="utf-8")
    run(["log", str(warm), "--json"])
    assert '"highest": 9.0' in capsys.readouterr().out
    with pytest.raises(SystemExit) as stopped:
        main(["log", str(tmp_path / "none.csv")])
    assert stopped.value.code == 2
