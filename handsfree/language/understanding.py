"""What is in force, and what exact words mean under it, in any language. The words come from the language's grammar.

Rules of this file:

- A gate opens on the whole phrase, with nothing before, between or after. Nothing is stripped, guessed or completed for it.
- Answers, readings and commands may have a hesitation around them. Answers and readings may also have a lead-in ('it is').
- Where nothing is at stake, people's own words for it count too (`own_words`).
- What is nearly a phrase in force is a denial that says in which way (`meaning.Denial`). What resembles nothing in force has
  no meaning.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from handsfree.language.meaning import (
    NO,
    ONWARD,
    WHEN_ASKED,
    YES,
    YES_NO,
    Denial,
    GateAsked,
    Listening,
    Meaning,
    NumberAsked,
    Sense,
    gate_text,
    may_prove,
)
from handsfree.language.own_words import OwnPieces, OwnWords, Words
from handsfree.language.tokens import respelled, tokens

DecoysOf = Callable[[Listening], Mapping[str, Meaning]]


@dataclass(frozen=True, eq=False)
class Vocabulary:
    """The words of a language, from its grammar. `respell`: short form written -> words said. The words of the sets turn a
    phrase into its denial; `live`: words for a supply that is on. `whole`: what a contraction stands for. `spell_numbers`,
    `spell_digits`: written numbers into words, plainly or digit by digit. `readings`: of number words, the chosen one first.
    `digits`: those that words name; `digit_ways`: every way to say them. `speakable`: how a procedure's text is spoken."""

    commands: Mapping[str, tuple[str, ...]]
    gates: Mapping[str, tuple[str, ...]]
    states: Mapping[str, tuple[str, ...]]
    respell: Mapping[str, Words]
    hesitation: tuple[Words, ...]
    lead_in: tuple[Words, ...]
    number_lead_in: tuple[Words, ...]
    negation: frozenset[str]
    asking: frozenset[str]
    doubt: frozenset[str]
    live: frozenset[str]
    whole: Mapping[str, Words]
    spell_numbers: Callable[[Sequence[str]], Words]
    spell_digits: Callable[[Sequence[str]], Words]
    readings: Callable[[Sequence[str]], tuple[tuple[float, str | None], ...]]
    digits: Callable[[Sequence[str]], Words]
    digit_ways: Callable[[Words], tuple[str, ...]]
    speakable: Callable[[str], str]


def spoken_phrase(phrase: str, vocabulary: Vocabulary) -> str:
    """A procedure's answer as it is spoken, without case or punctuation: 'LED on' -> 'l e d on'."""
    return " ".join(vocabulary.spell_numbers(tokens(vocabulary.speakable(phrase))))


def forms(listening: Listening, vocabulary: Vocabulary) -> dict[str, Meaning]:
    """Every fixed phrase in force, as spoken, with its meaning; the step's answers before the commands."""
    found: dict[str, Meaning] = {}
    for meaning in _in_force(listening, vocabulary):
        found.setdefault(meaning.spoken, meaning)
    return found


def _in_force(listening: Listening, vocabulary: Vocabulary) -> Iterator[Meaning]:
    if listening.note:
        return
    if listening.gate is not None:
        for spoken in gate_forms(listening.gate, vocabulary):
            yield Meaning(Sense.GATE, gate_text(listening.gate.word, listening.gate.lock), spoken=spoken)
    for phrase in listening.phrases:
        ways = vocabulary.commands[phrase] if phrase in WHEN_ASKED else (spoken_phrase(phrase, vocabulary),)
        for way in ways:
            yield Meaning(Sense.PHRASE, phrase, spoken=way)
    if listening.number is not None:
        for name, ways in vocabulary.states.items():
            for way in ways:
                yield Meaning(Sense.STATE, name, spoken=way)
    for name in listening.named:
        for way in vocabulary.commands[name]:
            yield Meaning(Sense.COMMAND, name, spoken=way)
    for aside in listening.asides:
        yield Meaning(Sense.COMMAND, aside, spoken=spoken_phrase(aside, vocabulary))


def gate_forms(gate: GateAsked, vocabulary: Vocabulary) -> tuple[str, ...]:
    """Every way to say the gate's phrase with the right number."""
    numbers = vocabulary.digit_ways(gate.lock)
    return tuple(f"{opening} {number}" for opening in vocabulary.gates[gate.word] for number in numbers)


def understand(
    text: str, listening: Listening, vocabulary: Vocabulary, own: OwnWords, decoys: DecoysOf
) -> tuple[Meaning, ...]:
    """Every meaning of these exact words under `listening`, best first; denials included; () for none."""
    if listening.note:
        return ()
    pieces = respelled(tokens(text), vocabulary.respell)
    if not pieces:
        return ()
    said, digits = vocabulary.spell_numbers(pieces), vocabulary.spell_digits(pieces)
    asked = "?" in text
    table, pieces_here = _table(listening, vocabulary, own)

    found = [m for m in table.get(" ".join(digits), ()) if m.sense is Sense.GATE]
    if found and asked:
        return (Meaning(Sense.DENIAL, Denial.QUESTION, spoken=" ".join(digits)),)
    bare = trimmed(said, vocabulary.hesitation)
    core = pieces_here.bare(bare) if listening.own_words and not listening.guarded else bare
    core = trimmed(core, (*vocabulary.hesitation, *vocabulary.lead_in))
    for words, senses in (
        (said, (Sense.PHRASE, Sense.STATE, Sense.COMMAND)),
        (pieces, (Sense.PHRASE,)),
        (bare, (Sense.PHRASE, Sense.STATE, Sense.COMMAND)),
        (core, (Sense.PHRASE, Sense.STATE)),
    ):
        found += [m for m in table.get(" ".join(words), ()) if m.sense in senses]
    if listening.own_words and not listening.guarded:  # 'that's it' where 'that is it' is an answer
        whole = (" ".join(respelled(words, vocabulary.whole)) for words in (bare, core))
        found += [m for words in whole for m in table.get(words, ()) if m.sense is Sense.PHRASE]
    if listening.number is not None:
        found += numbers(core, listening.number, vocabulary)
    if listening.digits is not None:
        stated = trimmed(digits, (*vocabulary.hesitation, *vocabulary.number_lead_in))
        found += _stated(stated, listening.digits, vocabulary)
    answers = listening.own_words and found and found[0].text in WHEN_ASKED
    if found and asked and (answers or may_prove(found[0], listening)):
        return (Meaning(Sense.DENIAL, Denial.QUESTION, spoken=" ".join(digits)),)
    if found:
        return tuple(dict.fromkeys(found))
    meant = pieces_here.meaning(said)
    if meant is not None and not (asked and (meant.sense is Sense.PHRASE or meant.text in (*WHEN_ASKED, *ONWARD))):
        return (meant,)  # 'can you repeat that?' asks; 'all done?' is asked of somebody
    if not asked and (behind := _behind_yes_no(text, listening, vocabulary, own, decoys)):
        return behind
    kind = _exact_decoy(digits, listening, decoys) or denial(digits, asked, listening, vocabulary)
    return (Meaning(Sense.DENIAL, kind, spoken=" ".join(digits)),) if kind else ()


def _behind_yes_no(
    text: str, listening: Listening, vocabulary: Vocabulary, own: OwnWords, decoys: DecoysOf
) -> tuple[Meaning, ...]:
    """'Yes, freezing', 'no, that's it', where a yes or a no is in force too: the answer, or the number behind a yes. Whoever
    asked sees to it that both say the same (`yes_or_no_before`). 'No water' is no answer: a no is written apart."""
    if not listening.own_words or listening.guarded or not {*YES, *NO} & set(listening.named):
        return ()
    pieces = _table(listening, vocabulary, own)[1]
    said = respelled(pieces.bare(respelled(tokens(text), vocabulary.respell)), vocabulary.whole)
    name, size = yes_or_no_before(said, vocabulary.commands, own)
    apart = name in YES or any(f"{said[0]}{stop}" in text.casefold() for stop in ",.;:!")
    if not size or name not in listening.named or not apart:
        return ()
    rest, alone = " ".join(said[size:]), replace(listening, also=tuple(one for one in listening.also if one not in YES_NO))
    behind = understand(rest, alone, vocabulary, own, decoys)
    senses = (Sense.PHRASE, Sense.NUMBER) if name in YES else (Sense.PHRASE,)
    return tuple(replace(one, spoken=" ".join(said)) for one in behind if one.sense in senses)


def yes_or_no_before(words: Words, commands: Mapping[str, tuple[str, ...]], own: OwnWords) -> tuple[str, int]:
    """('yes', 2) of 'that's right, freezing': which of them comes before all else, and in how many words; ('', 0) for
    neither. A no is one word, for 'it is not warm' is another thing; of people's own words so is a yes: 'there is ice'."""
    name, size = "", 0
    for each in YES_NO:
        listed = tuple(tuple(way.split()) for way in commands[each] if each in YES or " " not in way)
        for way in (*listed, *(way for way in own.ways.get(each, ()) if len(way) == 1)):
            if size < len(way) < len(words) and words[: len(way)] == way:
                name, size = ("yes" if each in YES else "no"), len(way)
    return name, size


@lru_cache(maxsize=64)
def _table(listening: Listening, vocabulary: Vocabulary, own: OwnWords) -> tuple[Mapping[str, Sequence[Meaning]], OwnPieces]:
    """By words, what is in force; and what people's own words are made of here. The same is in force for many sentences."""
    table: dict[str, list[Meaning]] = {}
    for meaning in _in_force(listening, vocabulary):
        table.setdefault(meaning.spoken, []).append(meaning)
    for phrase in listening.phrases:  # also as written: somebody may type 'LED on'
        as_written = " ".join(respelled(tokens(phrase), vocabulary.respell))
        if not any(meaning.sense is Sense.PHRASE for meaning in table.get(as_written, ())):
            table.setdefault(as_written, []).insert(0, Meaning(Sense.PHRASE, phrase, spoken=as_written))
    return table, own.reading(listening, in_own_words(table))


def in_own_words(table: Mapping[str, Sequence[Meaning]]) -> dict[Words, Meaning]:
    """What is in force, by its words, for `OwnWords.reading`."""
    return {tuple(spoken.split()): meanings[0] for spoken, meanings in table.items()}


def _exact_decoy(words: Words, listening: Listening, decoys: DecoysOf) -> Denial | None:
    meaning = decoys(listening).get(" ".join(words))
    return None if meaning is None else Denial(meaning.text)


def numbers(words: Words, asked: NumberAsked, vocabulary: Vocabulary) -> list[Meaning]:
    """The readings of the words in the step's terms: 'degrees' is the step's own unit. Plausible values come first."""
    from handsfree.language.quantities import convert, unit_fits, unit_meant

    found = []
    for value, unit in vocabulary.readings(words):
        own = None if unit is None else unit_meant(asked.unit, unit)
        likely = unit_fits(asked.unit, unit) and asked.low <= convert(value, unit, asked.unit) <= asked.high
        found.append((not likely, Meaning(Sense.NUMBER, f"{value:.12g}", value, own, " ".join(words))))
    return [meaning for _, meaning in sorted(found, key=lambda pair: pair[0])]


def _stated(words: Words, bounds: tuple[int, int], vocabulary: Vocabulary) -> list[Meaning]:
    digits = vocabulary.digits(words)
    fits = bounds[0] <= len(digits) <= bounds[1]
    return [Meaning(Sense.DIGITS, " ".join(digits), spoken=" ".join(words))] if fits and digits else []


def trimmed(words: Words, around: Sequence[Words]) -> Words:
    """The words, with every one of `around` removed at either end as often as it stands there; something always remains."""
    while True:
        for piece in around:
            size = len(piece)
            if len(words) > size and words[:size] == piece:
                words = words[size:]
                break
            if size == 1 and len(words) > 1 and words[-1:] == piece:
                words = words[:-1]
                break
        else:
            return words


def denial(words: Words, asked: bool, listening: Listening, vocabulary: Vocabulary) -> Denial | None:
    """How these words deny or miss something in force; None where they resemble nothing."""
    if listening.gate is not None:
        kind = _gate_denial(words, asked, listening.gate, vocabulary)
        if kind is not None:
            return kind
    if listening.number is not None:
        kind = _number_denial(vocabulary.spell_numbers(words), vocabulary)
        if kind is not None:
            return kind
    for phrase in _phrases(replace(listening, gate=None), vocabulary):
        if len(words) > len(phrase) + 4:
            continue
        at = _find(phrase, words)
        rest = words if at is None else words[:at] + words[at + len(phrase):]
        if at is not None:
            return _turned(rest, asked, vocabulary)
        if len(phrase) > 1 and (words == phrase[: len(words)] or words == phrase[-len(words):]):
            return Denial.HALF
    return None


@lru_cache(maxsize=64)
def _phrases(listening: Listening, vocabulary: Vocabulary) -> tuple[Words, ...]:
    return tuple(tuple(spoken.split()) for spoken in forms(listening, vocabulary))


def _number_denial(words: Words, vocabulary: Vocabulary) -> Denial | None:
    """'Not forty three', 'is it forty three', 'forty three I think': a reading with up to four words at one end."""
    for cut in range(1, min(5, len(words))):
        for number, rest in ((words[cut:], words[:cut]), (words[:-cut], words[-cut:])):
            if vocabulary.readings(number):
                return _turned(rest, False, vocabulary)
    return None


def _turned(rest: Words, asked: bool, vocabulary: Vocabulary) -> Denial | None:
    """What kind of denial the words around a phrase turn it into."""
    if vocabulary.negation & set(rest):
        return Denial.NEGATION
    if asked or (rest and rest[0] in vocabulary.asking):
        return Denial.QUESTION
    if vocabulary.doubt & set(rest):
        return Denial.UNSURE
    return None


def _gate_denial(words: Words, asked: bool, gate: GateAsked, vocabulary: Vocabulary) -> Denial | None:
    openings = [tuple(opening.split()) for opening in vocabulary.gates[gate.word]]
    every = [tuple(opening.split()) for ways in vocabulary.gates.values() for opening in ways]
    subjects = {word for opening in every for word in opening} | vocabulary.live
    there = [word for word in words if word in subjects or any(_stem(word, subject) for subject in subjects)]
    number = vocabulary.digits(words)
    if not there:
        return (Denial.HALF if number == gate.lock else Denial.NUMBER) if number else None
    if vocabulary.negation & set(words):
        return Denial.NEGATION
    if vocabulary.live & set(words):
        return Denial.STILL_ON
    if asked or (words and words[0] in vocabulary.asking):
        return Denial.QUESTION
    if vocabulary.doubt & set(words):
        return Denial.UNSURE
    for opening in openings:
        said = vocabulary.digits(words[len(opening):]) if words[: len(opening)] == opening else ()
        if said:
            return Denial.HALF if len(said) < len(gate.lock) and said == gate.lock[: len(said)] else Denial.NUMBER
    whole = any(_find(opening, words) is not None for opening in openings)
    return Denial.NEAR if whole and len(words) > len(openings[0]) + len(gate.lock) else Denial.HALF


def _stem(word: str, subject: str) -> bool:
    """The same word in another form: isolate, isolating, de-isolated."""
    return len(subject) > 5 and len(word) > 5 and (word[:6] == subject[:6] or word.endswith(subject))


def _find(part: Words, words: Words) -> int | None:
    if part and part[0] not in words:
        return None
    for at in range(len(words) - len(part) + 1):
        if words[at : at + len(part)] == part:
            return at
    return None
