"""What stood in the way of somebody who wrote a procedure of a new trade by the handbook alone (a pool's filter)."""

from __future__ import annotations

from pathlib import Path

from handsfree.procedure.check import check_file

ROOT = Path(__file__).resolve().parents[2]
POOL = (ROOT / "tests/trades/procedures/multiport-valve.yaml").read_text(encoding="utf-8")


def told(tmp_path: Path, text: str) -> list[str]:
    path = tmp_path / "multiport-valve.yaml"
    path.write_text(text, encoding="utf-8")
    return [f"{remark.why} {remark.do}" for remark in check_file(path).remarks]


def test_two_sources_that_are_tried_have_an_isolation_each_and_the_handbook_says_so(tmp_path: Path) -> None:
    """It said that one isolation may hold several sources with a lock, and the check refused it."""
    begin, end = POOL.index("  - id: close-suction"), POOL.index("  - id: water-off")
    both = (POOL[:begin] + POOL[end:]).replace("sources: [pump]", "sources: [pump, pool water]")
    assert any("several sources that are tried" in line for line in told(tmp_path, both))
    page = (ROOT / "handsfree/handbook/pages/thinking.md").read_text(encoding="utf-8")
    assert "At most one of them may be proved by trying it" in page


def test_a_word_that_no_dictionary_has_is_not_to_be_made_longer(tmp_path: Path) -> None:
    """'Use a longer word with other vowels' said nothing about why 'grooved' will not do."""
    (line,) = [one for one in told(tmp_path, POOL.replace("scratched", "grooved")) if "dictionary" in one]
    assert "one that everybody says" in line
    assert "longer" not in line
