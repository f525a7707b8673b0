"""What a Spanish writer reads or hears has no English word: recorded, checked, charted, printed, compared and rehearsed."""

from __future__ import annotations

import io
import re
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest

from handsfree.authoring.asked import RecordOptions, Rehearse
from handsfree.authoring.commands import record, rehearse
from handsfree.authoring.words import load_words
from handsfree.journal.events import Stamped, Utterance
from handsfree.language.meaning import TOO_LOUD, Denial, Verdict
from handsfree.procedure import commands as procedures
from handsfree.procedure import phrasing
from handsfree.procedure.hazards import usual
from handsfree.procedure.load import load_book
from handsfree.procedure.paper import card, pdf
from handsfree.speech import judge
from handsfree.visit.telling import line
from tests.authoring.scenes import MIRAR

NAME = "revision-de-anden"
#: Small words of English that are none of Spanish. Whatever is English has some of them, or one of the words below.
_WORDS = """
about after again all and are at been before but by can could did do does each else for from given had have heard here
his how if in into is it its just may more most must neither nothing of only or other our out over sees she should so
some than that the their them then there these they this those through to too under until up was we were what when
where which while who will with without would yes you your accepted answer asked board check closed danger done ended
expected fixed half hears isolated isolation kept line loud near notes paths passed pages question quiet read recorded
reason resume restoring says sayings seconds sentence sound step steps stopped sure taken tone typed understood unsure
walked walks written warning alike look negation
"""
FUNCTION = frozenset(_WORDS.split())
#: Words of the file format and of the commands, which are names, and of a path.
NAMES = frozenset({"handsfree", "record", "procedures"})
SAID = "entendido\nsiguiente paso\nno sé qué\ncaliente\nonce grados\nafirmo\nparar\nafirmo\n"
#: To the gate, past what does not open it, an alarm, the proof and its loss, the proof again, the restore, and a stop.
ISOLATED = """\
entendido
siguiente paso
caliente
once grados
cuatro dos
afirmo
afirmo
siguiente paso
no está aislado
¿está aislado?
creo que está aislado
aislado
aislado candado cuatro tres
estoy herido
adelante
aislado candado cuatro dos
nada funciona
afirmo
hay tensión
afirmo
aislado candado cuatro dos
nada funciona
afirmo
entendido
huele a gas
adelante
siguiente paso
siguiente paso
siguiente paso
siguiente paso
siguiente paso
siguiente paso
despejado candado cuatro tres
parar la visita
afirmo
afirmo
"""


def english(text: str) -> set[str]:
    plain = re.sub(r"--?[a-z-]+|`[^`]*`|/\S+|<style>.*?</style>|<script>.*?</script>|<[^>]*>", " ", text, flags=re.S)
    return {word for word in re.findall(r"[^\W\d_]+(?:'[a-z]+)?", plain.casefold()) if word in FUNCTION - NAMES}


def test_the_list_finds_english() -> None:
    for sentence in ("Written: x.yaml", "3 paths; 3 walked.", "asked again", "no fault was found", "The rehearsal ended"):
        assert english(sentence), sentence


def test_every_hazard_and_proof_has_its_name_and_its_word_to_say() -> None:
    words = load_words("es")
    for what, names in (("hazard", usual().hazards), ("method", usual().methods)):
        assert [name for name in names if not phrasing.has("es", f"{what}-{name.replace(' ', '-')}")] == []
        assert set(names) <= {tag for _, tag in words.pairs(what)}


def test_recorded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO(MIRAR))
    record(RecordOptions("ventilador", tmp_path, typed=True, language="es"))
    whole = capsys.readouterr().out
    assert "El procedimiento está grabado." in whole
    assert english(whole) == set()
    monkeypatch.setattr("sys.stdin", io.StringIO("Mirar la puerta\nnuevo paso\nparar la grabación\n"))
    record(RecordOptions("puerta", tmp_path, typed=True, language="es"))
    assert english(capsys.readouterr().out) == set()


def test_checked(capsys: pytest.CaptureFixture[str]) -> None:
    procedures.check(Path("procedures") / f"{NAME}.yaml")
    assert english(capsys.readouterr().out) == set()


def test_charted(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for name in ("c.svg", "c.html"):
        procedures.chart(NAME, tmp_path / name)
        assert english((tmp_path / name).read_text(encoding="utf-8")) == set()
        assert 'lang="es"' in (tmp_path / name).read_text(encoding="utf-8")


@pytest.mark.parametrize("made", [pdf, card])
def test_printed(made: Any, tmp_path: Path) -> None:
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext is not installed")
    data = made(load_book(NAME))
    assert re.search(rb"/Lang\s*\(es", data)
    (tmp_path / "x.pdf").write_bytes(data)
    text = subprocess.run(["pdftotext", tmp_path / "x.pdf", "-"], capture_output=True, check=True, text=True).stdout
    assert english(text) == set()


def test_compared(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    old = Path("procedures") / f"{NAME}.yaml"
    new = tmp_path / old.name
    changes = (
        ("least_seconds: 10", "least_seconds: 20"), ("expected: [4, 8]", "expected: [3, 8]"),
        ("Use guantes.", "Use dos guantes."), ("minutes: 8", "minutes: 9"), ("lasts: 3 min", "lasts: 4 min"),
    )  # fmt: skip
    text = old.read_text(encoding="utf-8")
    for was, now in changes:
        assert was in text, was
        text = text.replace(was, now, 1)
    new.write_text(text, encoding="utf-8")
    procedures.compare(load_book(str(old)), load_book(str(new)))
    whole = capsys.readouterr().out
    assert whole.count("\n  - ") == len(changes)
    assert english(whole) == set()


@pytest.mark.parametrize(("said", "told"), [(SAID, ("Ponga",)), (ISOLATED, ("de AISLADO a CON TENSIÓN", "RESTABLECIENDO"))])
def test_rehearsed(
    said: str, told: tuple[str, ...], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO(said))
    rehearse(Rehearse(procedure=NAME, typed=True))
    whole = capsys.readouterr().out
    assert [one for one in told if one not in whole] == []
    assert english(whole) == set()


def test_why_an_utterance_is_asked_again_is_told_in_spanish() -> None:
    """Each reason that the program gives, in the words of the record."""
    for denial in Denial:
        assert english(_told(f"a look-alike: {denial}")) == set()
    reasons = (
        judge.DENIED, judge.WHICH, judge.UNSURE, judge.UNLIKE, judge.OTHER_UNIT, judge.UNFOUND, judge.OTHERWISE, judge.ONE,
        judge.BEFORE,
        f"{TOO_LOUD}: its sound is cut off", "sound was lost in the middle of it", "said while the program was speaking",
    )  # fmt: skip
    for reason in reasons:
        assert _told(reason) != _told("x").replace("x", reason), reason
        assert english(_told(reason)) == set(), reason


def _told(reason: str) -> str:
    heard = Utterance(Verdict.ASKED_AGAIN, words="sí", reason=reason)
    found = line(Stamped(1, "2026-01-01T00:00:00+00:00", 1.0, heard), "es")
    assert found is not None
    return found.aside
