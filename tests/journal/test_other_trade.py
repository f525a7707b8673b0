"""The customer's report of a visit of another trade: nothing in it is of refrigeration."""

from __future__ import annotations

from pathlib import Path

from handsfree.journal.account import account
from handsfree.journal.service import service
from tests.journal import visited
from tests.trades import test_trades

POOL = test_trades.HERE / "procedures" / "multiport-valve.yaml"
LINES = (test_trades.HERE / "spoken" / "multiport-valve.txt").read_text(encoding="utf-8").splitlines()


def test_a_report_of_a_pool_asks_for_no_product_temperature(tmp_path: Path) -> None:
    report = service(account(visited.visit(tmp_path / "v", LINES, procedure=str(POOL))))
    assert dict(report.facts)["Result"] == "fixed"
    titles = [section.title for section in report.sections]
    assert "Product temperature" not in titles
    (isolation,) = [section.lines for section in report.sections if section.title == "Isolation"]
    assert [line.partition(":")[0] for line in isolation] == ["Pump", "Pool water", "Filter"]
