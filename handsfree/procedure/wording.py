"""Checks how a procedure is worded, after ASD-STE100 (from memory): short sentences, one instruction each, active
voice, the warning before the step, and nothing that the ear cannot resolve.

The words looked for are in grammar/<language>.wording.yaml; a language without that file is only measured for length."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from functools import lru_cache, partial
from itertools import pairwise
from typing import Any

from handsfree.procedure.model import (
    Ask,
    Book,
    Caution,
    Decide,
    Evidence,
    Instruct,
    Isolate,
    Prove,
    Read,
    Restore,
    Step,
    Wait,
)
from handsfree.procedure.remarks import Remark, Weight, remark_at

LIMIT_WORDS = 20
_PROCEDURAL = (Instruct, Isolate, Prove, Restore, Evidence, Read)
_WORD = r"(?:[^\W\d_]|['-])+"
_NUMBER = re.compile(r"(?<![\w.-])-?\d+(?:\.\d+)?(?![\w.-]*\d)")


@dataclass(frozen=True)
class WordLists:
    """The lists of a language, all in small letters; `instead`: groups of answers for the same thing; `printed`: the words
    of the printed copy (English where the language has none); `plainer`: what to say in the place of a word."""

    lists: dict[str, frozenset[str]]
    instead: tuple[tuple[str, ...], ...]
    printed: dict[str, str]
    plainer: dict[str, str] = field(default_factory=dict)

    def __getitem__(self, name: str) -> frozenset[str]:
        return self.lists.get(name, frozenset())


@lru_cache(maxsize=8)
def word_lists(code: str) -> WordLists:
    from handsfree.procedure.yamlfile import read_yaml
    from handsfree.resources import shipped_folder

    path = shipped_folder("grammar") / f"{code}.wording.yaml"
    if not path.is_file():
        return WordLists({}, (), {} if code == "en" else word_lists("en").printed)
    data: dict[str, Any] = read_yaml(path.read_text(encoding="utf-8")).data
    instead = tuple(tuple(str(word) for word in group) for group in data.pop("instead", []))
    printed = data.pop("printed", None) or word_lists("en").printed
    plainer = {str(word): str(plain) for word, plain in data.pop("plainer", {}).items()}
    lists = {name: frozenset(str(word) for word in words) for name, words in data.items()}
    return WordLists(lists, instead, printed, plainer)


def texts(step: Step) -> Iterator[str]:
    """Everything of a step that is spoken as written."""
    if not isinstance(step, Decide) or step.aloud:
        yield step.say
    match step:
        case Isolate():
            yield from step.do
        case Restore():
            yield from step.checks
            yield step.power
        case Wait():
            yield step.because
        case _:
            pass


def sentences(text: str) -> list[str]:
    """Split at . ! ? and ; that end something; '2.5 A' and '12 V.' are left whole."""
    return [part.strip() for part in re.split(r"(?<=[.!?;])\s+", " ".join(text.split())) if part.strip()]


def remarks(book: Book, name: str) -> Iterator[Remark]:
    procedure = book.procedures[name]
    words = word_lists(procedure.language)
    for step in procedure.steps:
        say = partial(remark_at, book, name, step, "wording", Weight.ADVICE)
        for text in texts(step):
            parts = sentences(text)
            for sentence in parts:
                yield from _of_sentence(sentence, step, words, say)
            yield from _of_semicolons(parts, words, say)
            yield from _of_order(parts, step, words, say)
            yield from _of_pronouns(parts[0] if parts else "", words, say)
            yield from _of_words(text, words, say)
        if isinstance(step, Ask):
            yield from _of_question(step, words, say)


def _of_sentence(sentence: str, step: Step, words: WordLists, say: partial[Remark]) -> Iterator[Remark]:
    plain = [word for word in re.findall(r"[\w'°%.,-]+", sentence) if re.search(r"\w", word)]
    if len(plain) > LIMIT_WORDS:
        yield say("long-sentence", n=len(plain), sentence=_short(sentence), most=LIMIT_WORDS)
    low = re.findall(_WORD, sentence.casefold())
    if second := _second_instruction(low, words):
        yield say("two-instructions", sentence=_short(sentence), second=second)
    if isinstance(step, _PROCEDURAL) and (passive := _passive(low, words)):
        yield say("passive", passive=passive)
    if (side := _side(low, words)) and not any(view in " ".join(low) for view in words["viewpoints"]):
        yield say("side", side=side)
    yield from _bare_values(sentence, words, say)


def _side(low: list[str], words: WordLists) -> str:
    """'on the left', 'the left door'; 'the right door' too, but not 'the right tool', which is the fitting one."""
    text = " ".join(low)
    sides = words["sides"] - words["turned_to"] if words["turning"] & set(low) else words["sides"]
    phrase = next((side for side in sorted(sides) if re.search(rf"\b{re.escape(side)}\b", text)), "")
    if phrase:
        return phrase
    for article, side, thing in zip(low, low[1:], low[2:], strict=False):
        sided = side in words["sided"] or (side in words["sided_or_fitting"] and thing in words["sided_things"])
        if sided and article in words["articles"] and thing not in words["small_words"]:
            return f"{side} {thing}"
    return ""


def _short(sentence: str) -> str:
    return sentence if len(sentence) <= 60 else sentence[:57].rstrip() + "..."


def _second_instruction(low: list[str], words: WordLists) -> str:
    """The verb of a second instruction, '' for none. The sentence must itself begin as an instruction."""
    verbs = words["instructions"]
    if not any(word in verbs for word in low[:1]) or low[0] in words["meanwhile"]:
        return ""
    for at_, word in enumerate(low[1:-1], start=1):
        follows = low[at_ + 1]
        pair = f"{word} {follows}"
        if word in words["joins"] and follows in verbs and low[at_ - 1] not in verbs:
            # 'lock and tag', 'plug and lead' name things: a verb has something behind it, and no article before the pair
            rest = low[at_ + 2 :]
            if rest and not _is_noun(low, at_, words):
                return follows
        if pair in words["joins"] and at_ + 2 < len(low) and low[at_ + 2] in verbs:
            return low[at_ + 2]
    return ""


def _is_noun(low: list[str], at_: int, words: WordLists) -> bool:
    """The word after the join is a thing: the one before it is a verb form used as a thing, after `own` words ('your')."""
    before = low[at_ - 1]
    return before in words["instructions"] and at_ >= 2 and low[at_ - 2] in words["own"]


def _passive(low: list[str], words: WordLists) -> str:
    endings, adverbs = tuple(words["participle_endings"]), tuple(words["adverb_endings"])
    for at_, word in enumerate(low[:-1]):
        if word in words["clauses"]:
            return ""  # 'wait until the test is done' says what to wait for, not what to do
        if word not in words["be"]:
            continue
        for following in low[at_ + 1 : at_ + 3]:
            done = following in words["participles"] or (following.endswith(endings) and len(following) > 4)
            if done and following not in words["states"]:
                return " ".join(low[at_ : low.index(following, at_) + 1])
            if following not in words["between"] and not following.endswith(adverbs):
                break
    return ""


def _bare_values(sentence: str, words: WordLists, say: partial[Remark]) -> Iterator[Remark]:
    """A number with nothing behind it, or only a small word, has no unit."""
    for match in _NUMBER.finditer(sentence):
        before = re.findall(r"[\w'-]+", sentence[: match.start()].casefold())
        after = re.match(r"\s*([^\W\d_][\w'-]*|[°%Ωµ])?", sentence[match.end() :])
        follows = (after[1] or "").casefold() if after else ""
        if before and before[-1] in words["numbered"]:
            continue
        if follows in words["ranges"] and _NUMBER.search(sentence[match.end() :]):
            continue  # 'between 2 and 5 degrees': the last carries the unit
        if words["small_words"] and (not follows or follows in words["small_words"]):
            yield say("bare-value", value=match[0], sentence=_short(sentence))
            return


def _of_words(text: str, words: WordLists, say: partial[Remark]) -> Iterator[Remark]:
    """What is said twice running, what no listener sees, what says nothing or has a plainer word."""
    low = " ".join(re.findall(rf"{_WORD}|\d+|[.!?;,:]", text.casefold()))
    if twice := re.search(r"(?<![\w'-])([^\W\d_]{2,}) \1(?![\w'-])", low):
        yield say("twice", word=twice[1])
    numbered = "|".join(sorted(words["unseen_numbers"])) or r"(?!)"
    if unseen := _first(words["unseen"], low) or _matched(rf"\b(?:{numbered}) \d+\b", low):
        yield say("unseen", words=unseen)
    if vague := _first(words["vague"], low):
        yield say("vague", word=vague)
    if word := _first(words.plainer, low):
        yield say("plainer", word=word, plain=words.plainer[word]) if words.plainer[word] else say("adds-nothing", word=word)


def _first(phrases: Iterable[str], low: str) -> str:
    """The one that comes first in the text, '' for none."""
    found = ((match.start(), one) for one in phrases if (match := re.search(rf"(?<!\w){re.escape(one)}(?!\w)", low)))
    return min(found, default=(0, ""))[1]


def _matched(pattern: str, low: str) -> str:
    found = re.search(pattern, low)
    return found[0] if found else ""


def _of_question(step: Ask, words: WordLists, say: partial[Remark]) -> Iterator[Remark]:
    asked = [part for part in sentences(step.say) if part.endswith("?")]
    if not asked and words["asking"]:
        answers = [answer.say for answer in step.answers]
        yield say("asks-nothing", answers=f" {words.printed['one-of']} ".join(answers[:2]))
    both = rf"\b{re.escape(words.printed['all-of'])} (?:{'|'.join(sorted(words['asking']))}) "
    for sentence in asked:
        if words["asking"] and re.search(both, sentence.casefold()):
            yield say("asks-twice", sentence=_short(sentence))


def _of_semicolons(parts: list[str], words: WordLists, say: partial[Remark]) -> Iterator[Remark]:
    """'Open the door; pull the plug.': what ';' joins is still one sentence."""
    for one, other in pairwise(parts):
        first, second = (re.match(_WORD, part.casefold()) for part in (one, other))
        if one.endswith(";") and first and second and {first[0], second[0]} <= words["instructions"]:
            yield say("two-instructions", sentence=_short(f"{one} {other}"), second=second[0])
            return


def _of_order(parts: list[str], step: Step, words: WordLists, say: partial[Remark]) -> Iterator[Remark]:
    if isinstance(step, Caution):
        return
    acted = False
    for sentence in parts:
        low = sentence.casefold()
        first = re.match(_WORD, low)
        warned = next((word for word in sorted(words["warnings"]) if re.search(rf"\b{re.escape(word)}\b", low)), None)
        if warned and acted:
            yield say("warns-late", sentence=_short(sentence))
            return
        acted = acted or bool(first and first[0] in words["instructions"])


def _of_pronouns(sentence: str, words: WordLists, say: partial[Remark]) -> Iterator[Remark]:
    before = ""
    low = re.findall(_WORD, sentence.casefold())
    for word, follows in zip(low, [*low[1:], ""], strict=True):
        if before in words["articles"]:
            return  # what follows an article is a thing, whatever else the word may be
        before = word
        if word in words["pronouns"] or (word in words["pointing"] and follows in words["be"] | words["does"]):
            yield say("pronoun", word=word, sentence=_short(sentence))
            return
        if word not in words["small_words"] and word not in words["instructions"]:
            return
