"""The pages put together and given to Sphinx.

Rules of this file:

- `pages/*.md` are written by hand. A line `%% NAME` in one is replaced by what GENERATED makes of the program.
- A warning of Sphinx is an error: a page that does not hold is not built.
- Nothing is fetched: the pages and what they need are in the folder, and open without a network.
"""

from __future__ import annotations

import io
import re
import tempfile
from collections.abc import Callable
from pathlib import Path

from sphinx.application import Sphinx
from sphinx.util.docutils import docutils_namespace

from handsfree import __version__
from handsfree.errors import Trouble
from handsfree.handbook import decisions, drawings, expressions, grammar, hazards, journal, procedures, states, verbs

PAGES = Path(__file__).parent / "pages"
PICTURES = Path(__file__).parent / "pictures"
#: What a line `%% NAME` of a page stands for: Markdown.
GENERATED: dict[str, Callable[[], str]] = {
    "procedure": procedures.reference,
    "grammar": grammar.reference,
    "events": journal.reference,
    "interlock picture": states.picture,
    "interlock ways": states.ways,
    "happenings": states.happenings,
    "awaited": states.awaited,
    "interlock rules": decisions.interlock_rules,
    "engines": decisions.engines,
    "thresholds": decisions.thresholds,
    "denials": decisions.denials,
    "branching rules": decisions.branching_rules,
    "functions": expressions.functions,
    "kinds of energy": hazards.kinds,
    "hazards": hazards.hazards,
    "proofs": hazards.proofs,
    "units": hazards.units,
    "findings": decisions.findings,
    "verbs": verbs.reference,
}
_STANDS = re.compile(r"^%% (.+)$", re.M)
SETTINGS = {
    "project": "handsfree",
    "author": "handsfree",
    "release": __version__,
    "extensions": ["myst_parser"],
    "myst_heading_anchors": 3,
    "html_theme": "furo",
    "html_title": f"handsfree {__version__}",
    "smartquotes": False,  # `--host` in a help text would become a dash and a word
    "html_copy_source": False,
    "html_show_copyright": False,
}


def filled(text: str) -> str:
    """A page with what is generated in its place. KeyError for a name that nothing makes."""
    return _STANDS.sub(lambda found: GENERATED[found[1]](), text)


def build_handbook(out: Path) -> None:
    """Trouble (status 1) where a page does not hold, with each warning; (2) where `out` cannot be written."""
    if out.exists() and not out.is_dir():
        raise Trouble(f"{out} is not a folder; give the folder to write the handbook to.")
    with tempfile.TemporaryDirectory(prefix="handsfree-handbook-") as place:
        source = Path(place) / "pages"
        source.mkdir()
        for page in sorted(PAGES.glob("*.md")):
            text = page.read_text(encoding="utf-8")
            (source / page.name).write_text(filled(text), encoding="utf-8")
            for name, drawing in drawings.charts(text):
                (source / name).write_text(drawing, encoding="utf-8")
        for picture in PICTURES.glob("*.png"):
            (source / picture.name).write_bytes(picture.read_bytes())
        warnings = io.StringIO()
        try:
            with docutils_namespace():
                app = Sphinx(
                    source, None, out, Path(place) / "trees", "html", confoverrides=SETTINGS, status=None, warning=warnings,
                    freshenv=True, warningiserror=True,
                )  # fmt: skip
                app.build()
        except OSError as error:
            raise Trouble(f"The handbook cannot be written to {out} ({error.strerror}); choose another folder.") from None
    if warnings.getvalue().strip() or app.statuscode:
        raise Trouble(f"The handbook has faults:\n{warnings.getvalue().strip()}", 1)
