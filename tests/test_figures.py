"""What README and the handbook say of figures is what was measured."""

from __future__ import annotations

import pytest

from tests.bench import figures


@pytest.mark.parametrize("page", [figures.README, figures.REACHES], ids=lambda page: page.name)
def test_a_page_shows_the_figures_of_the_results(page: object) -> None:
    """`python -m tests.bench.figures --write` puts them in."""
    assert figures.pages()[page] == page.read_text(encoding="utf-8")  # type: ignore[attr-defined,index]


def test_a_figure_that_changed_is_noticed() -> None:
    page = "<!-- figures -->\n\nold\n\n<!-- end of figures -->\nrest"
    assert figures.put_in(page, "figures", "new") == page.replace("old", "new")
    with pytest.raises(ValueError, match="no one place"):
        figures.put_in("nothing", "figures", "new")
