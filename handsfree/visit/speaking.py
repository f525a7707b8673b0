"""Turning what the visit knows into what it says: lists, times, read-backs. Words come from the language's prompts."""

from __future__ import annotations

from collections.abc import Sequence

from handsfree.language.base import Language
from handsfree.language.meaning import WAYS_OUT, WHEN_ASKED, Sense
from handsfree.procedure.model import Ask, Prove, Read
from handsfree.procedure.sources import unit_of
from handsfree.visit.state import NOT_TAKEN, Pending, Result


def choices(language: Language, words: Sequence[str]) -> str:
    """'cool, warm or hot'."""
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} {language.prompt('or')} {words[-1]}"


def answer_words(step: Ask) -> tuple[str, ...]:
    return tuple(answer.say for answer in step.answers)


def called_aloud(language: Language, sense: str, text: str) -> str:
    """What a meaning is called aloud: a command or a state in its first wording, an answer as it is written."""
    if sense == Sense.COMMAND or text in WHEN_ASKED:
        return language.commands[text][0] if text in language.commands else text
    return language.states[text][0] if sense == Sense.STATE else text


def not_taken(language: Language) -> Result:
    """Of a photo that somebody went on without."""
    return Result(language.prompt("summary-missing"), state=NOT_TAKEN)


def result_words(language: Language, result: Result) -> str:
    """The result of a step, aloud: 'forty one degrees Fahrenheit', 'over range', an answer."""
    if result.state in language.states:
        return language.states[result.state][0]
    if result.state in WAYS_OUT:
        return language.commands[result.state][0]
    if result.value is not None and not result.state:
        return language.say_quantity(round(result.value, 2), result.unit)
    return result.text


def of_kind(language: Language, what: str, name: str) -> str | None:
    """The sentence 'WHAT-NAME', of what any trade may add to, such as a kind of energy; None where there is none."""
    try:
        return language.prompt(f"{what}-{name.replace(' ', '-')}")
    except KeyError:
        return None


def duration(language: Language, seconds: float) -> str:
    """'2 minutes and 30 seconds'; the two largest units that are not zero."""
    left = round(seconds)
    parts = []
    for size, one, many in ((3600, "hour", "hours"), (60, "minute", "minutes"), (1, "second", "seconds")):
        count, left = divmod(left, size)
        if count:
            parts.append(language.prompt(one) if count == 1 else language.prompt(many, n=count))
    if not parts:
        return language.prompt("seconds", n=0)
    return f" {language.prompt('and')} ".join(parts[:2])


def read_back(language: Language, step: Read | Prove, pending: Pending) -> str:
    """The reading as given, to be affirmed; said both ways if -teen and -ty could be confused."""
    quantity = language.say_quantity(pending.given, pending.given_unit)
    both = language.needs_both_ways(pending.given)
    digits = {"digits": language.say_digits(pending.given)} if both else {}
    text = language.prompt("readback-both-affirm" if both else "readback-affirm", quantity=quantity, **digits)
    return text + _converted(language, step, pending)


def taken_words(language: Language, step: Read | Prove, pending: Pending) -> str:
    """The accepted reading: digit by digit if it could be mistaken for another; with its unit if that is not the one asked
    for, and then also converted to the one asked for."""
    if language.needs_both_ways(pending.given):
        number = language.say_digits(pending.given)
    else:
        number = language.say_number(pending.given)
    if pending.given_unit != _unit(step):
        number = language.say_quantity(pending.given, pending.given_unit)
    return language.prompt("readback", quantity=number) + _converted(language, step, pending)


def _converted(language: Language, step: Read | Prove, pending: Pending) -> str:
    unit = _unit(step)
    if pending.given_unit == unit:
        return ""
    return " " + language.prompt("converted", quantity=language.say_quantity(round(pending.value, 2), unit))


def _unit(step: Read | Prove) -> str:
    return unit_of(step) if isinstance(step, Prove) else step.unit


def side_of_expected(language: Language, step: Read, value: float) -> str:
    """A sentence if the reading is out of its expected range, else ''."""
    if step.expected is None or step.expected[0] <= value <= step.expected[1]:
        return ""
    return language.prompt("below-expected" if value < step.expected[0] else "above-expected")
