"""Visits in Spanish: whole, through the command line; and that nothing of English is said in any corner of one."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from handsfree.dialogue.hearing import typed, utterance_of
from handsfree.dialogue.listening import listening_of
from handsfree.errors import Trouble
from handsfree.journal import reader
from handsfree.journal.events import (
    ClockMoved,
    Decided,
    FindingMade,
    Gate,
    ListenFor,
    NoteKept,
    Opened,
    ReadingTaken,
    Resumed,
    Say,
    SoundBack,
    SoundDropped,
    SoundLost,
    Stamped,
    StopAsked,
    TimerRang,
    Utterance,
)
from handsfree.language import base, prompts
from handsfree.language.meaning import ALWAYS, Listening, Sense, Verdict
from handsfree.procedure import load
from handsfree.procedure.model import Book
from handsfree.resources import shipped_folder
from handsfree.speech.recogniser import build_recogniser
from handsfree.visit.machine import advance, start
from handsfree.visit.state import State

SPANISH = base.load("es")
WORD = re.compile(r"[^\W\d_]+")


def _words(texts: Iterator[str] | list[str]) -> set[str]:
    return {word.lower() for text in texts for word in WORD.findall(re.sub(r"{\w+}", " ", text))}


@cache
def _sentences(code: str) -> dict[str, str]:
    return dict(prompts.load(shipped_folder("grammar") / f"{code}.prompts.yaml").sentences)


#: Every word of the English prompts and phrases that is no word of Spanish here.
ENGLISH_WORDS = (
    _words([*_sentences("en").values(), *(way for ways in base.load("en").commands.values() for way in ways)])
    | {"over", "range", "unsteady", "microphone", "fahrenheit", "volts", "degrees"}
) - _words([*_sentences("es").values(), "use", *(way for ways in SPANISH.commands.values() for way in ways)])
ENGLISH_PROMPTS = [
    re.compile(re.sub(r"\\{\w+\\}", ".*", re.escape(text)))
    for key, text in _sentences("en").items()
    if text != _sentences("es")[key] and len(re.sub(r"\{\w+\}", "", text)) > 4
]


def assert_spanish(text: str) -> None:
    """Neither a prompt of the English file, nor a word of it."""
    assert not [pattern.pattern for pattern in ENGLISH_PROMPTS if pattern.fullmatch(text)], text
    assert not _words([text]) & ENGLISH_WORDS, text


def test_the_comparison_would_find_english() -> None:
    assert {"isolated", "lock", "say", "unsteady"} <= ENGLISH_WORDS
    for text in ("Not past isolation.", "Say again.", "Anotado: over range."):
        with pytest.raises(AssertionError):
            assert_spanish(text)


# ---- through the command line ---------------------------------------------------------------------------------------

#: A typed line, and what the program must say right after it.
LINES = (
    ("siguiente paso", "Diga entendido."),
    ("entendido", "Ponga su termómetro"),
    ("qué puedo decir", "siguiente paso"),
    ("dónde estoy", "Revisión de andén, paso 2."),
    ("siguiente paso", "¿Cómo se siente el aire?"),
    ("calor", "¿Fresco, caliente o en calma?"),
    ("no caliente", "Puede decir no lo sé, no lo lleva o repita"),
    ("está caliente", "Caliente."),
    ("corrección", "Corregido."),
    ("Caliente.", "Lea su termómetro"),
    ("doce voltios", "He oído voltios, y este paso pide grados Celsius"),
    ("noventa", "Noventa grados Celsius apenas es posible aquí. ¿Es así? ¿Afirmo o negativo?"),
    ("negativo", "Dé la lectura otra vez."),
    ("12,5 °C", "Uno dos coma cinco. Es alto."),
    ("cuatro dos", "¿Cuatro dos?"),
    ("afirmo", "Guardado."),
    ("afirmo", "Apague el mueble"),
    ("siguiente paso", "No se pasa sin aislar."),
    ("¿está aislado?", "Eso era una pregunta"),
    ("no está aislado, candado 42", "Ha dicho que no."),
    ("aislado, candado 43", "Ese no es su número"),
    ("creo que está aislado", "No parece seguro"),
    ("todavía hay tensión", "Hay tensión. El paso sigue cerrado."),
    ("isolated, lock 42", "He oído las cifras, no la palabra."),
    ("aislado, candado cuatro dos", "Ahora compruebe"),
    ("nada funciona", "Apáguelo otra vez."),
    ("afirmo", "Aislado."),
    ("entendido", "Cepille el condensador"),
    ("cuánto tiempo", "Aislado desde hace"),
    ("siguiente paso", "Saque todas las herramientas"),
    ("siguiente paso", "rejilla inferior"),
    ("siguiente paso", "todas las manos"),
    ("siguiente paso", "su interruptor esté apagado"),
    ("siguiente paso", "despejado, candado, y su número"),
    ("aislado, candado 42", "He oído las cifras, no la palabra."),
    ("Despejado, candado 42.", "Despejado."),
    ("hay tensión", "Hay tensión otra vez."),
    ("siguiente paso", "¿Acortar la espera?"),
    ("afirmo", "Después dé la temperatura"),
    ("dos bajo cero", "La visita está cerrada."),
)


@pytest.fixture(scope="module")
def visited(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, list[Stamped]]:
    visits = tmp_path_factory.mktemp("visits")
    lines = "".join(f"{line}\n" for line, _ in LINES)
    done = subprocess.run(
        [sys.executable, "-m", "handsfree", "visit", "revision-de-anden", "--typed", "--visits", str(visits), "--json"],
        input=lines, capture_output=True, text=True, timeout=120, check=False, encoding="utf-8",
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    result = json.loads(done.stdout.splitlines()[-1])
    assert result["finished"] is True
    assert result["outcome"] == "done"
    return done.stdout, list(reader.read(Path(result["visit"])))


def test_each_line_is_answered_in_spanish(visited: tuple[str, list[Stamped]]) -> None:
    turns: list[list[str]] = [[]]
    for entry in visited[1]:
        if isinstance(entry.event, Utterance):
            turns.append([])
        elif isinstance(entry.event, Say):
            assert_spanish(entry.event.text)
            turns[-1].append(entry.event.text)
    assert turns[0][0].startswith("Visita abierta. Revisión de andén.")
    assert len(turns) == len(LINES) + 1
    for (line, answer), said in zip(LINES, turns[1:], strict=True):
        assert any(answer in text for text in said), f"{line}: {said}"


def test_the_gate_kept_shut_until_the_phrase_and_the_number_was_never_spoken(visited: tuple[str, list[Stamped]]) -> None:
    gates = [entry.event for entry in visited[1] if isinstance(entry.event, Gate)]
    opened = [gate for gate in gates if gate.how == "phrase"]
    assert [gate.why for gate in opened] == ["la frase de la primera persona"] * 2
    first = gates.index(opened[0])
    assert sum(gate.how in ("denied", "refused") for gate in gates[:first]) == 7
    kept = next(i for i, e in enumerate(visited[1]) if isinstance(e.event, Say) and "Guardado." in e.event.text)
    for entry in visited[1][kept:]:
        assert not isinstance(entry.event, Say) or "cuatro dos" not in entry.event.text


def test_what_was_measured_and_found_is_recorded(visited: tuple[str, list[Stamped]]) -> None:
    readings = [entry.event for entry in visited[1] if isinstance(entry.event, ReadingTaken)]
    assert [(reading.value, reading.affirmed) for reading in readings] == [(12.5, False), (-2, False)]
    assert {reading.unit for reading in readings} == {"degC"}
    assert [e.event.finding for e in visited[1] if isinstance(e.event, FindingMade)] == ["delivery-air-cold-after-cleaning"]
    assert sum(isinstance(entry.event, Decided) for entry in visited[1]) == 2


def test_lines_that_end_stop_the_visit_in_spanish(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "handsfree", "visit", "revision-de-anden", "--typed", "--visits", str(tmp_path)],
        input="cuatro dos\nafirmo\n", capture_output=True, text=True, timeout=120, check=False, encoding="utf-8",
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "Una parada desde fuera: no hay nada más que oír." in done.stdout
    assert "La visita está detenida." in done.stdout


# ---- every corner, by the machine -----------------------------------------------------------------------------------

CORNERS = """
procedure: rincones
title: Rincones
language: es
steps:
  - {id: parte, kind: call, procedure: otra, say: Primero otra parte.}
  - {id: pregunta, kind: ask, say: "¿Qué se ve?", answers: {encendido: , apagado: }}
  - id: lectura
    kind: read
    say: Dé la tensión.
    quantity: tensión
    unit: volt
    plausible: [0, 400]
    expected: [200, 240]
    over_range: segunda
  - {id: segunda, kind: read, say: Dé la temperatura., quantity: temperatura, unit: degC, plausible: [-30, 50]}
  - {id: foto, kind: evidence, what: photo, say: Tome una foto de la placa.}
  - {id: aislar, kind: isolate, say: Ahora se aísla., do: [Saque la clavija.], sources: [red]}
  - {id: medir, kind: prove, method: meter, unit: volt, points: [los bornes], say: Mida ahí.}
  - {id: tocar, kind: instruct, hazards: [mains], say: Toque el borne.}
  - id: volver
    kind: restore
    say: Vuelve la alimentación.
    checks: [Herramientas fuera., Tapas puestas.]
    power: Ponga la clavija.
  - {id: reposo, kind: wait, lasts: 2 min, firm: true, because: se protege, say: El compresor reposa.}
  - {id: hallado, kind: finding, finding: x, say: Algo se ha hallado., evidence: [pregunta]}
  - {id: pasar, kind: handover, to: la mesa de asistencia, say: No se arregla., summary: [parte, pregunta, lectura, segunda]}
  - {id: deshielo, kind: wait, lasts: 24 h, because: el hielo tarda, say: Deje fundir el hielo.}
  - {id: fin, kind: end, outcome: handed over, say: Se acabó.}
"""
CALLED = """
procedure: otra
title: Otra
language: es
steps:
  - {id: mirar, kind: instruct, say: Mire el mueble.}
  - {id: fin-otra, kind: end, outcome: no fault found, say: Esta parte está bien.}
"""


@dataclass
class Scene:
    book: Book
    state: State
    now: float = 0.0
    said: list[str] = field(default_factory=list)

    def tell(self, *happenings: Any, after: float = 1.0) -> str:
        """Everything said to these; each sentence is Spanish."""
        fresh: list[str] = []
        for happening in happenings:
            self.now += after
            self.state, effects = advance(self.state, Stamped(0, "2026-03-02T08:00:00+00:00", self.now, happening))
            fresh += [effect.text for effect in effects if isinstance(effect, Say)]
        for text in fresh:
            assert_spanish(text)
            assert_spanish(SPANISH.speakable(text))
        self.said += fresh
        return " ".join(fresh)

    def words(self, *lines: str) -> str:
        told = ""
        for line in lines:
            listening = listening_of(self.state.listening or ListenFor())
            told = self.tell(utterance_of(typed(SPANISH, line, listening, self.now), typed=True))
        return told


@pytest.fixture
def scene() -> Scene:
    book = load.book_of(load.parse_procedure(CORNERS, "rincones.yaml"), load.parse_procedure(CALLED, "otra.yaml"))
    made = Scene(book, start(book, SPANISH))
    made.tell(Opened("v", "rincones", "es", "", "", "", "t", "typed"))
    return made


def unsure(*rivals: tuple[str, str, float | None]) -> Utterance:
    return Utterance(Verdict.ASKED_AGAIN, "", "", None, None, spoken="", sure=0.3, words="", rivals=rivals)


def test_all_that_always_works_is_answered_in_spanish(scene: Scene) -> None:
    scene.words("siguiente paso")
    assert scene.state.frames[-1].step == "pregunta"
    for name in ALWAYS:
        for way in SPANISH.commands[name]:
            scene.words(way)
            scene.words("adelante", "negativo", "afirmo", "negativo")
            if scene.state.overlay == "note":
                scene.tell(NoteKept("", "", "una nota"))
    for event in (
        SoundLost("d", "microphone"), SoundBack("d", "microphone"), SoundLost("d", "loudspeaker"), SoundDropped(9, True),
        ClockMoved(3.0), TimerRang("quiet"), Resumed("interrupted"),
    ):  # fmt: skip
        scene.tell(event)
        scene.words("adelante")
    assert "Se ha perdido el micrófono." in " ".join(scene.said)
    assert "el altavoz" in " ".join(scene.said)


def test_near_ties_are_asked_in_spanish(scene: Scene) -> None:
    scene.words("siguiente paso")
    told = scene.tell(unsure((Sense.PHRASE, "encendido", None), (Sense.COMMAND, "next step", None)))
    assert "¿Encendido o apagado?" in told
    told = scene.tell(unsure((Sense.PHRASE, "encendido", None), (Sense.PHRASE, "apagado", None)))
    assert "¿Ha dicho encendido o apagado?" in told
    scene.words("encendido")
    told = scene.tell(unsure((Sense.NUMBER, "60", 60.0), (Sense.NUMBER, "70", 70.0)))
    assert "¿Ha dicho sesenta, seis cero o setenta, siete cero?" in told
    told = scene.tell(unsure((Sense.NUMBER, "60", None), (Sense.STATE, "over range", None)))
    assert "fuera de rango" in told


def test_a_visit_through_every_kind_of_step(scene: Scene) -> None:
    scene.words("siguiente paso", "encendido")
    assert "Anotado: fuera de rango." in scene.words("fuera de escala")
    assert "Menos cuatro." in scene.words("cuatro bajo cero")
    scene.words("siguiente paso", "4 2", "afirmo")
    assert "Ahora compruebe" in scene.words("aislado candado 42")
    scene.words("afirmo", "dos voltios", "afirmo", "afirmo")
    assert str(scene.state.interlock.power) == "ISOLATED"
    assert "El aislamiento se ha perdido: hay tensión." in scene.words("hay tensión")
    scene.words("aislado candado 42", "afirmo", "dos voltios", "afirmo", "afirmo")
    assert str(scene.state.interlock.power) == "ISOLATED"
    scene.words(*["siguiente paso"] * 4, "despejado candado 42", "siguiente paso")
    assert "Esta espera le protege." in scene.words("siguiente paso")
    told = scene.tell(TimerRang("wait"), after=200.0)
    assert "Parte: sin avería encontrada." in told
    assert "Tensión: fuera de rango." in told
    assert "Temperatura: menos cuatro grados Celsius." in told
    told = scene.words("siguiente paso")
    assert "martes a las" in told
    assert scene.state.outcome == "to be continued"
    scene.tell(Resumed("to be continued"), after=100.0)
    scene.tell(StopAsked(SPANISH.prompt("why-keyboard")))
    assert "La visita está detenida." in scene.said


# ---- by sound -------------------------------------------------------------------------------------------------------


def test_without_a_spanish_model_one_sentence_offers_the_keyboard(tmp_path: Path) -> None:
    with pytest.raises(Trouble) as trouble:
        build_recogniser(None, "es", tmp_path)
    assert "'es'" in trouble.value.sentence
    assert "--typed" in trouble.value.sentence
    assert trouble.value.sentence.count(". ") == 0


def test_the_language_of_the_procedure_is_listened_for_not_that_of_the_settings(tmp_path: Path) -> None:
    """The bundled English engine must not listen to a Spanish visit; the visit is not begun."""
    visits = tmp_path / "v"
    done = subprocess.run(
        [sys.executable, "-m", "handsfree", "visit", "revision-de-anden", "--visits", str(visits), "--sound-in", "-"],
        input="", capture_output=True, text=True, timeout=120, check=False,
        env={**os.environ, "HANDSFREE_LANGUAGE": "en", "HANDSFREE_MODELS": str(tmp_path)},
    )  # fmt: skip
    assert done.returncode == 2
    assert "--typed" in done.stderr
    assert "Traceback" not in done.stderr
    assert not visits.exists()


def test_the_spanish_voice_speaks(tmp_path: Path) -> None:
    """eSpeak NG's own Spanish voice, the real synthesiser."""
    from handsfree.sound.synth import Synthesiser

    with Synthesiser("es", cache=tmp_path) as voice:
        samples = voice.speak(SPANISH.speakable(SPANISH.prompt("isolate-need")))
        language = {name: tongue for name, _, tongue in voice.voices()}[voice.voice]
    assert language.startswith("es")
    assert 2.0 < len(samples) / 16_000 < 8.0


def test_what_is_offered_where_an_affirm_was_not_heard_is_taken() -> None:
    commands = SPANISH.commands
    offered = {"affirm": commands["affirm"][1], "yes": commands["yes"][0], "no": commands["no"][0]}
    for name, way in offered.items():
        heard = typed(SPANISH, way, Listening(also=("affirm", "negative", "yes", "no")), 0.0)
        assert heard.meaning is not None
        assert (heard.verdict, heard.meaning.text) == (Verdict.ACCEPTED, name)
