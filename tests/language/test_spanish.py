"""Spanish: its files beside the English ones, what is understood and what keeps a gate shut, what is spoken aloud."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.language import prompts
from handsfree.language.base import Language, load
from handsfree.language.english import LANGUAGE as ENGLISH
from handsfree.language.expand import expand
from handsfree.language.meaning import (
    ALWAYS,
    IN_OWN_WORDS,
    WHEN_ASKED,
    Denial,
    GateAsked,
    Listening,
    NumberAsked,
    Sense,
    gate_text,
)
from handsfree.language.spanish import LANGUAGE
from handsfree.language.spanish_sounds import distance, phonemes_of
from handsfree.language.spanish_speakable import SPELLING
from handsfree.language.spanish_words import WORDS
from handsfree.procedure.wording import word_lists
from handsfree.resources import shipped_folder

GATE = Listening(gate=GateAsked("isolated", ("cuatro", "dos")))
CLEAR = Listening(gate=GateAsked("clear", ("nueve", "nueve", "cero")))
READING = Listening(number=NumberAsked("degC", -40, 60))
CHOICE = Listening(phrases=("frío", "caliente", "LED encendido", "está parado"))
LOCK = Listening(digits=(2, 4))


def one(text: str, listening: Listening) -> tuple[Sense, str] | None:
    found = LANGUAGE.understand(text, listening)
    return (found[0].sense, found[0].text) if found else None


# ---- the files ------------------------------------------------------------------------------------------------------


def test_it_is_the_language_of_its_code() -> None:
    language: Language = load("es")
    assert language.code == "es"


def test_both_files_of_prompts_have_the_same_keys_and_places() -> None:
    english, spanish = (prompts.load(shipped_folder("grammar") / f"{code}.prompts.yaml").sentences for code in ("en", "es"))
    assert list(spanish) == list(english)
    for key, sentence in spanish.items():
        assert prompts.places(sentence) == prompts.places(english[key]), key
        spoken = re.search(r"[^\W\d_]", re.sub(r"{\w+}", "", sentence))
        assert not spoken or sentence != english[key], key


def test_both_grammars_name_the_same_things() -> None:
    for one_, other in ((LANGUAGE, ENGLISH),):
        assert set(one_.commands) == set(other.commands) == {*ALWAYS, *WHEN_ASKED, *IN_OWN_WORDS}
        assert set(one_.gates) == set(other.gates)
        assert set(one_.states) == set(other.states)
        assert set(one_.units) == set(other.units)
    for rule in ("denial_negated", "denial_question", "denial_doubt", "command_negated", "gate_negated", "gate_question",
                 "gate_doubt", "gate_live"):  # fmt: skip
        assert expand(LANGUAGE.grammar, rule, {"in_force.phrase": ("frío",)})


def test_no_two_phrases_of_the_grammar_are_the_same_or_sound_alike() -> None:
    """Phrases that always work, states and gates, by meaning: no two of different meanings nearer than a third."""
    ways = [(name, way) for table in (LANGUAGE.commands, LANGUAGE.states, LANGUAGE.gates) for name, all_ in table.items()
            for way in all_]  # fmt: skip
    near = [
        (a, b) for at, (one_, a) in enumerate(ways) for other, b in ways[at + 1:]
        if one_ != other and distance(a, b) < 0.3
    ]
    assert near == [("aislado candado", "despejado candado")] or near == []


def test_the_lists_of_wording_and_the_printed_copy_are_whole() -> None:
    english, spanish = word_lists("en"), word_lists("es")
    assert set(spanish.lists) == set(english.lists)
    assert set(spanish.printed) == set(english.printed)
    for key, text in spanish.printed.items():
        assert set(re.findall(r"{(\w+)}", text)) == set(re.findall(r"{(\w+)}", english.printed[key])), key
        spoken = re.search(r"[^\W\d_]", re.sub(r"{\w+}", "", text))
        assert not spoken or text != english.printed[key] or key == "no", key  # the same word in both
    assert all(len(group) > 1 for group in spanish.instead)


# ---- gates ----------------------------------------------------------------------------------------------------------

OPENS = [
    "aislado candado cuatro dos",
    "Aislado, candado 42.",
    "aislado candado 42",
    "AISLADO. ¡CANDADO 4 2!",
    "aislado, candado 4-2",
    "  aislado   candado  cuatro dos ",
]
STAYS_SHUT = {
    "no aislado": Denial.NEGATION,
    "no está aislado": Denial.NEGATION,
    "no está aislado candado cuatro dos": Denial.NEGATION,
    "aislado no candado cuatro dos": Denial.NEGATION,
    "aislado candado cuatro dos no": Denial.NEGATION,
    "la tensión no está aislada": Denial.NEGATION,
    "nunca aislado, candado 42": Denial.NEGATION,
    "sin aislar, candado 42": Denial.NEGATION,
    "aislado candado -42": Denial.NEGATION,
    "¿está aislado?": Denial.QUESTION,
    "¿Aislado, candado 42?": Denial.QUESTION,
    "¿aislado candado cuatro dos": Denial.QUESTION,
    "aislado candado cuatro dos?": Denial.QUESTION,
    "digo aislado candado cuatro dos": Denial.QUESTION,
    "debo decir aislado candado cuatro dos": Denial.QUESTION,
    "todavía hay tensión": Denial.STILL_ON,
    "sigue encendido": Denial.STILL_ON,
    "todavia encendido": Denial.STILL_ON,
    "aún aislado candado 42": Denial.STILL_ON,
    "aislado creo": Denial.UNSURE,
    "creo que está aislado": Denial.UNSURE,
    "quizás aislado candado cuatro dos": Denial.UNSURE,
    "aislado candado cuatro dos creo": Denial.UNSURE,
    "aislado candado cuatro dos pronto": Denial.UNSURE,
    "casi aislado candado cuatro dos": Denial.UNSURE,
    "aislado": Denial.HALF,
    "está aislado": Denial.HALF,
    "aislado candado": Denial.HALF,
    "aislado candado cuatro": Denial.HALF,
    "candado cuatro dos": Denial.HALF,
    "cuatro dos": Denial.HALF,
    "aislado cuatro dos": Denial.HALF,
    "aislado candado cuarenta y dos": Denial.NEAR,
    "aislado candado 4,2": Denial.HALF,
    "aislado candado cuatro tres": Denial.NUMBER,
    "aislado candado cuatro doce": Denial.HALF,
    "aislado candado 43": Denial.NUMBER,
    "aislado candado 422": Denial.NUMBER,
    "aislado candado dos cuatro": Denial.NUMBER,
    "aislado candado 42 42": Denial.NUMBER,
    "cuatro tres": Denial.NUMBER,
    "despejado candado cuatro dos": Denial.NEAR,
    "bueno aislado candado cuatro dos": Denial.NEAR,
    "aislado candado cuatro dos por favor": Denial.NEAR,
}


@pytest.mark.parametrize("text", OPENS)
def test_the_whole_phrase_opens(text: str) -> None:
    assert one(text, GATE) == (Sense.GATE, gate_text("isolated", ("cuatro", "dos")))


def test_other_ways_to_say_the_digits_open() -> None:
    for text in ("despejado candado nueve nueve cero", "Despejado, candado 990.", "despejado candado doble nueve cero"):
        assert one(text, CLEAR) == (Sense.GATE, gate_text("clear", ("nueve", "nueve", "cero")))


@pytest.mark.parametrize(("text", "kind"), STAYS_SHUT.items())
def test_denials_keep_it_shut_and_say_why(text: str, kind: Denial) -> None:
    assert one(text, GATE) == (Sense.DENIAL, kind)


@pytest.mark.parametrize(
    "text", ["hace buen tiempo", "me pasas la linterna", "", "sí", "vale", "sí ya lo he hecho", "isolated lock four two"]
)
def test_what_resembles_nothing_has_no_meaning(text: str) -> None:
    assert one(text, GATE) is None


_BITS = st.sampled_from(
    [*WORDS.digits, "aislado", "candado", "despejado", "no", "está", "creo", "doble", "y", "cuarenta", "por favor", "?", "¿",
     "42"]
)
_GATES = st.builds(
    GateAsked,
    st.sampled_from(["isolated", "clear"]),
    st.lists(st.sampled_from(WORDS.digits), min_size=2, max_size=4).map(tuple),
)


@settings(max_examples=300, deadline=None)
@given(_GATES, st.lists(_BITS, max_size=7))
def test_nothing_but_the_phrase_opens(gate: GateAsked, bits: list[str]) -> None:
    """Checked against a reading of its own: the words with doubles and figures written out."""
    text = " ".join(bits)
    found = one(text, Listening(gate=gate))
    opened = found is not None and found[0] is Sense.GATE
    words = " ".join(_written_out(bits))
    opening = {"isolated": "aislado candado", "clear": "despejado candado"}[gate.word]
    assert opened == (words == f"{opening} {' '.join(gate.lock)}")


def _written_out(bits: list[str]) -> Iterator[str]:
    for at, bit in enumerate(bits):
        if bit == "42":
            yield from ("cuatro", "dos")
        elif bit == "doble" and at + 1 < len(bits) and bits[at + 1] in WORDS.digits:
            yield bits[at + 1]
        else:
            yield bit


@settings(max_examples=20, deadline=None)
@given(_GATES)
def test_every_decoy_of_a_gate_stays_shut(gate: GateAsked) -> None:
    listening = Listening(gate=gate)
    decoys = LANGUAGE.decoys(listening)
    assert len(decoys) > 60
    for spoken in decoys:
        found = LANGUAGE.understand(spoken, listening)
        assert [m.sense for m in found[:1]] == [Sense.DENIAL], spoken


# ---- answers, readings, commands ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "listening", "sense", "meant"),
    [
        ("frío", CHOICE, Sense.PHRASE, "frío"),
        ("FRIO.", CHOICE, Sense.PHRASE, "frío"),
        ("pues está frío", CHOICE, Sense.PHRASE, "frío"),
        ("LED encendido", CHOICE, Sense.PHRASE, "LED encendido"),
        ("no está frío", CHOICE, Sense.DENIAL, Denial.NEGATION),
        ("¿frío?", CHOICE, Sense.PHRASE, "frío"),
        ("creo que frío", CHOICE, Sense.DENIAL, Denial.UNSURE),
        ("estará frío", CHOICE, Sense.DENIAL, Denial.QUESTION),
        ("siguiente paso", CHOICE, Sense.COMMAND, "next step"),
        ("qué puedo decir", CHOICE, Sense.COMMAND, "what can i say"),
        ("¿Qué puedo decir?", CHOICE, Sense.COMMAND, "what can i say"),
        ("que puedo decir", CHOICE, Sense.COMMAND, "what can i say"),
        ("no siguiente", CHOICE, Sense.DENIAL, Denial.NEGATION),
        ("hay tensión", GATE, Sense.COMMAND, "power is on"),
        ("fuera de escala", READING, Sense.STATE, "over range"),
        ("OL", READING, Sense.STATE, "over range"),
        ("inestable", READING, Sense.STATE, "unsteady"),
        ("marca cuatro grados", READING, Sense.NUMBER, "4"),
        ("no cuatro grados", READING, Sense.DENIAL, Denial.NEGATION),
        ("cuatro grados creo", READING, Sense.DENIAL, Denial.UNSURE),
        ("cuatro dos", LOCK, Sense.DIGITS, "cuatro dos"),
        ("mi número es 42", LOCK, Sense.DIGITS, "cuatro dos"),
    ],
)
def test_what_words_mean(text: str, listening: Listening, sense: Sense, meant: str) -> None:
    assert one(text, listening) == (sense, meant)


def test_every_form_in_force_is_understood_as_itself() -> None:
    for listening in (GATE, CHOICE, READING, Listening(commands=("affirm", "negative", *ALWAYS))):
        for spoken, meaning in LANGUAGE.forms(listening).items():
            found = LANGUAGE.understand(spoken, listening)[0]
            assert (found.sense, found.text) == (meaning.sense, meaning.text), spoken


def test_written_ways_of_phrases_are_understood() -> None:
    phrases = (("aislado candado cuatro dos", GATE), ("dónde estoy", CHOICE), ("cuatro coma cinco grados", READING))
    for spoken, listening in phrases:
        meant = one(spoken, listening)
        for written in LANGUAGE.written(spoken):
            if not written.endswith("?"):
                assert one(written, listening) == meant, written


# ---- what is spoken -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("208 V", "doscientos ocho voltios"),
        ("43,5 °C", "cuarenta y tres coma cinco grados Celsius"),
        ("43.5 degC", "cuarenta y tres coma cinco grados Celsius"),
        ("−18°C", "menos dieciocho grados Celsius"),
        ("R-290", "R dos nueve cero"),
        ("R134a", "R uno tres cuatro A"),
        ("HK-204B", "hotel kilo dos cero cuatro bravo"),
        ("El relé K1 suena.", "El relé kilo uno suena."),
        ("LED", "LED"),
        ("El PTC", "El P T C"),
        ("p. ej. el ventilador", "por ejemplo el ventilador"),
        ("Mida 0,5–2 A, aprox. 3 veces.", "Mida cero coma cinco a dos amperios, aproximadamente tres veces."),
        ("¿Está entre 110 a 125 V?", "¿Está entre ciento diez a ciento veinticinco voltios?"),
        ("4 °C ± 1 °C", "cuatro grados Celsius más o menos un grado Celsius"),
        ("Espere 5 minutos.", "Espere cinco minutos."),
        ("Espere 21 minutos o 31 horas.", "Espere veintiún minutos o treinta y una horas."),
        ("Una bobina de 2.200 Ω", "Una bobina de dos mil doscientos ohmios"),
        ("paso 1 de 21", "paso uno de veintiuno"),
        ("NUNCA tire.", "NUNCA tire."),
        ("Menos de 30 V, luego > 5 %.", "Menos de treinta voltios, luego más de cinco por ciento."),
        ("Serie 1234567890123", "Serie uno dos tres cuatro cinco seis siete ocho nueve cero uno dos tres"),
        ("lunes a las 10:15", "lunes a las diez y quince"),
        ("", ""),
    ],
)
def test_speakable(text: str, said: str) -> None:
    assert LANGUAGE.speakable(text) == said


@settings(deadline=None)
@given(st.text(max_size=60))
def test_any_text_can_be_made_speakable_and_heard(text: str) -> None:
    assert isinstance(LANGUAGE.speakable(text), str)
    assert isinstance(LANGUAGE.understand(text, GATE), tuple)
    assert isinstance(LANGUAGE.understand(text, READING), tuple)


def test_the_spelling_alphabet_is_whole() -> None:
    assert sorted(SPELLING) == list("abcdefghijklmnopqrstuvwxyz")


def test_sounds_from_letters() -> None:
    assert phonemes_of("vaca") == phonemes_of("baca") == ("B", "AA", "K", "AA")
    assert phonemes_of("cena") == phonemes_of("sena")
    assert phonemes_of("guión") == ("G", "IY", "OW", "N")
    assert phonemes_of("vergüenza")[:5] == ("B", "EH", "R", "G", "W")
    assert distance("sesenta", "setenta") < 0.25
    assert distance("sesenta", "cuarenta") > 0.34
    assert distance("hielo", "yelo") < 0.34


@pytest.mark.parametrize("text", ["foto tomada", "está tomada", "ya la he tomado", "he hecho la foto"])
def test_a_photo_is_told_of_in_the_words_that_the_program_asks_with(text: str) -> None:
    """'Diga hecho cuando esté tomada.'"""
    assert [one.text for one in LANGUAGE.understand(text, Listening(also=("done",), own_words=True))] == ["done"]
