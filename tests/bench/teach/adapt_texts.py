"""What is said to the small model when it is taught the trade's speech, each with the text it is to write.

Faithful transcripts of everything a step may hear, near misses as often as good phrases: the model must come to write
'Isolated, log 1 8.' as surely as 'Isolated, lock 1 8.'.
"""

from __future__ import annotations

import random
import re
from functools import cache

import yaml

from handsfree.language.phonetics import nearest
from handsfree.resources import shipped_folder
from tests.bench import corpus_texts as texts

Pair = tuple[str, str]  # (as spoken, as written)

_UNITS = ("degrees fahrenheit", "degrees celsius", "degrees", "volts", "ohms", "p s i", "amps")
_WRITTEN = {"degrees fahrenheit": "degrees Fahrenheit", "degrees celsius": "degrees Celsius", "p s i": "PSI"}
_COMMANDS = (
    *(way for ways in texts.COMMANDS.values() for way in ways), "correction", "note", "what next", "why", "faster", "slower",
    "louder", "softer", "power is on", "stop the visit", "affirm", "what can i say", "negative", "new step", "keep it",
)  # fmt: skip
_HUNDREDS = {"": 0, "one hundred and ": 100, "two hundred ": 200, "four hundred and ": 400, "three ": 300}
_TEENS = {word: 13 + at for at, word in enumerate(texts._TEENS[3:])}
_TENS = {word: 10 * (at + 2) for at, word in enumerate(texts._TENS[2:])}
_DIGIT = {word: str(at) for at, word in enumerate(texts.DIGITS)}
#: What is taken for 'lock' most, beside what the dictionary has near it.
_NEAR_LOCK = ("log", "log", "block", "block", "look", "luck", "clock", "locker", "unlock", "locks")
_LEADING = ("if", "was", "is", "is it", "when", "not", "never", "isn't", "it was", "and if", "as", "with", "unless", "once")
_ASKS = re.compile(r"(what|did|can|how|where|is|do|have|who|was|shall|isn't|does)\b")


@cache
def _material() -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Answers and short sentences of the shipped English procedures."""
    answers = {phrase for phrases in texts.CHOICES for phrase in phrases}
    sentences: set[str] = set()
    for path in sorted(shipped_folder("procedures").glob("*.yaml")):
        procedure = yaml.safe_load(path.read_text(encoding="utf-8"))
        if procedure.get("language", "en") != "en":
            continue
        for step in procedure["steps"]:
            answers |= {str(answer).lower() for answer in step.get("answers") or ()}
            spoken = re.split(r"(?<=[.?!])\s+", str(step.get("say", "")))
            sentences |= {text for text in spoken if 2 <= len(text.split()) <= 9 and not re.search(r"[\d{}]", text)}
    return tuple(sorted(answers)), tuple(sorted(sentences))


def _sentence(text: str, asks: bool = False) -> str:
    text = re.sub(r"\bi\b", "I", text)
    return f"{text[:1].upper()}{text[1:]}{'?' if asks else '.'}"


def _with_unit(figures: str, unit: str) -> str:
    return f"{figures} {_WRITTEN.get(unit, unit)}".strip() + "."


def _reading(luck: random.Random) -> Pair:
    value, said, _ = texts.reading(luck)
    unit = next((unit for unit in _UNITS if said.endswith(unit)), "")
    _, *after = re.split(r" (?:point|decimal) ", said.removesuffix(unit).strip())
    return said, _with_unit(f"{value:.{len(after[0].split()) if after else 0}f}", unit)


def _teen_or_ten(luck: random.Random) -> Pair:
    word, before, unit = luck.choice((*_TEENS, *_TENS)), luck.choice(tuple(_HUNDREDS)), luck.choice(("", *_UNITS))
    figures, after = str(_HUNDREDS[before] + (_TEENS | _TENS)[word]), ""
    if luck.random() < 0.3:
        tenth = luck.choice(texts.DIGITS)
        figures, after = f"{figures}.{_DIGIT[tenth]}", f" point {tenth}"
    return f"{before}{word}{after} {unit}".strip(), _with_unit(figures, unit)


def _digits(text: str) -> Pair:
    """A gate phrase or what resembles it: digits as figures, a comma before 'lock' or what stands for it."""
    figures = " ".join(_DIGIT.get(word, word) for word in text.replace(",", "").split())
    written = re.sub(r"\b(\w*(?:solat|sulat)\w*) (?=\w+ \d)", r"\1, ", figures)
    return text, _sentence(written, bool(re.match(r"(is it|shall i|isn't|was)\b", text)))


def _gate(luck: random.Random) -> Pair:
    opening = luck.choice(("isolated lock", "isolated lock", "isolated, lock", "clear lock"))
    return _digits(f"{opening} {' '.join(texts.lock(luck))}")


def _near_gate(luck: random.Random) -> Pair:
    lock = texts.lock(luck)
    if luck.random() < 0.5:
        return _digits(texts.near_miss(lock, luck))
    if luck.random() < 0.3:
        return _digits(f"{luck.choice(_LEADING)} isolated lock {' '.join(lock)}")
    if luck.random() < 0.6:
        return _digits(f"isolated {luck.choice((*_NEAR_LOCK, *nearest('lock', 12)))} {' '.join(lock)}")
    return _digits(f"{luck.choice(nearest('isolated', 8))} lock {' '.join(lock)}")


def gate_or_near(luck: random.Random) -> Pair:
    """Gate phrases, four in ten, and what is one word beside them: what a gate's bar hangs on."""
    if luck.random() < 0.4:
        return _gate(luck)
    if luck.random() < 0.25:
        return _near_gate(luck)
    word = luck.choice((*_NEAR_LOCK, "clock", "block", "log", *nearest("lock", 12)))
    return _digits(f"isolated{luck.choice((',', ''))} {word} {' '.join(texts.lock(luck))}")


def _answer(luck: random.Random) -> Pair:
    answer = luck.choice(_material()[0])
    return answer, _sentence(answer)


def _denied(luck: random.Random) -> Pair:
    answer = luck.choice(_material()[0])
    said = luck.choice((
        f"not {answer}", f"it is not {answer}", f"is it {answer}", f"i think {answer}", f"it isn't {answer}",
        f"it isn't {answer}", f"isn't it {answer}", f"maybe {answer}", f"it is {answer}", f"never {answer}",
    ))  # fmt: skip
    return said, _sentence(said, said.startswith(("is it", "isn't it")))


def _reading_denied(luck: random.Random) -> Pair:
    said, written = _reading(luck)
    before = luck.choice(("not", "it is not", "it isn't", "it isn't", "is it", "isn't it", "maybe", "it was", "never"))
    return f"{before} {said}", _sentence(f"{before} {written.removesuffix('.')}", before in ("is it", "isn't it"))


def _near_word(luck: random.Random) -> Pair:
    word = luck.choice([word for answer in _material()[0] for word in answer.split() if len(word) > 2])
    near = luck.choice(nearest(word, 6) or (word,))
    return near, _sentence(near)


def _proof(luck: random.Random) -> Pair:
    if luck.random() < 0.15:
        said = f"{texts.PROOF[0].split()[0]} {luck.choice(nearest('runs', 12))}"
        return said, _sentence(said)
    said = luck.choice((texts.PROOF[0], texts.PROOF[0], *texts.PROOF, *luck.sample(texts.NEAR_PROOF["fit"], 4)))
    return said, _sentence(said, bool(_ASKS.match(said)))


def _command(luck: random.Random) -> Pair:
    command = luck.choice(_COMMANDS)
    return command, _sentence(command)


def _step(luck: random.Random) -> Pair:
    sentence = luck.choice(_material()[1])
    return sentence, sentence


def _talk(luck: random.Random) -> Pair:
    said = luck.choice(texts.UNRELATED)
    return said, _sentence(said, bool(_ASKS.match(said)))


#: Each kind with its share.
_KINDS = (
    (_reading, 0.20), (_teen_or_ten, 0.07), (_gate, 0.13), (_near_gate, 0.16), (_answer, 0.17), (_command, 0.06),
    (_denied, 0.04), (_reading_denied, 0.03), (_proof, 0.04), (_near_word, 0.05), (_step, 0.015), (_talk, 0.02),
    (lambda luck: _digits(" ".join(texts.lock(luck))), 0.015),
)  # fmt: skip


def sample(luck: random.Random) -> Pair:
    make = luck.choices([make for make, _ in _KINDS], [share for _, share in _KINDS])[0]
    return make(luck)
