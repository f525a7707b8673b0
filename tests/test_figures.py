"""What README and the handbook say of figures is what was measured."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from handsfree.speech import expected
from tests.bench import figures, talk_page


@pytest.mark.parametrize("page", [figures.README, figures.REACHES, expected.PLACE], ids=lambda page: page.name)
def test_a_page_shows_the_figures_of_the_results(page: object) -> None:
    """`python -m tests.bench.figures --write` puts them in."""
    assert figures.pages()[page] == page.read_text(encoding="utf-8")  # type: ignore[attr-defined,index]  # a path by its page


def test_the_page_on_talk_is_made_from_the_results() -> None:
    """`python -m tests.bench.talk_page` writes it."""
    assert talk_page.page() == (figures.REACHES.parent / "talk.md").read_text(encoding="utf-8")


def test_a_figure_that_changed_is_noticed() -> None:
    page = "<!-- figures -->\n\nold\n\n<!-- end of figures -->\nrest"
    assert figures.put_in(page, "figures", "new") == page.replace("old", "new")
    with pytest.raises(ValueError, match="no one place"):
        figures.put_in("nothing", "figures", "new")


RESULTS = sorted((Path(__file__).parent / "bench/results").glob("*.json"))


@pytest.mark.parametrize("path", RESULTS, ids=lambda path: path.name)
def test_a_result_says_how_where_and_when_it_was_measured(path: Path) -> None:
    """`machine` of most has the date and the versions in it (`tests.bench.__main__.machine`)."""
    found = json.loads(path.read_text(encoding="utf-8"))
    for row in found if isinstance(found, list) else [found]:
        assert row.get("command") or row.get("commands") or row.get("by")
        assert row.get("date") or " UTC; Python " in row["machine"]
        assert row.get("machine") or path.name == "figures.json"  # of many benches, each told in the log
