"""A step said in one breath, as to an apprentice: kind, answers, paths, reading, range, hazards, isolation, proof, restore.

    Look under the grinder. Is the seal torn, whole or missing? If it is torn, go on. If not, a later step.
    Give the width of the groove in millimetres, between 0.5 and 12. Expect 3 to 3.4. Hazard blades.

Rules of this file:

- What was understood is read back once, in the review; what is missing is asked for, as after 'new step'.
- A sentence that became a range, a path or a hazard is not also read to the technician: it leaves the text.
- The words to look for are in the recorder's grammar; this module knows no language."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

from handsfree.authoring.draft import LATER, reference
from handsfree.authoring.said import duration_said, facets_said, range_said, unit_said
from handsfree.authoring.words import RecorderWords
from handsfree.language.tokens import capital, tokens
from handsfree.procedure.fields import seconds_of

#: Slots that need no question after a breath: if they were not said, they are left out, and the review shows it.
SILENT = frozenset({"hazards", "leads", "expected_low", "expected_high"})


@dataclass
class Breath:
    """What is left of the sentences, and what was taken out of them. `steps`: number -> uid, of the steps that an answer
    can lead to."""

    words: RecorderWords
    steps: dict[int, int]
    sentences: list[str]
    facets: dict[str, Any] = field(default_factory=dict)

    def take(self, rule: str) -> list[str]:
        """The sentences that begin with a wording of the rule, without it; they are not read to the technician any more."""
        taken, left = [], []
        for sentence in self.sentences:
            rest = after_one_of(sentence, self.words.ways(rule), self.words)
            if rest is None:
                left.append(sentence)
            else:
                taken.append(rest)
        self.sentences = left
        return taken

    @property
    def text(self) -> str:
        return " ".join(self.sentences)


def breath(text: str, words: RecorderWords, steps: dict[int, int]) -> tuple[str, dict[str, Any]]:
    """(what the technician hears, the fields of the step)."""
    one = Breath(words, steps, _sentences(text))
    _hazards(one)
    for cue, beside in _BESIDE.items():
        for rest in one.take(cue):
            beside(one, rest)
    ends = one.take("cue_end") or one.take("cue_finding")
    kind = facets_said(text, words).get("kind", "") if not ends else ""
    for cue, make in _OPENED.items():
        found = one.take(cue)
        if found:
            make(one, found)
            return one.text or capital(_sentences(text)[0]), one.facets
    if ends:
        _ended(one, text, ends)
        return one.text, one.facets
    expected = [limits for rest in one.take("cue_expect") if (limits := _range(rest, words)) is not None]
    leads = one.take("cue_if")
    facets = facets_said(one.text, words)
    facets.pop("hazards", None) if "hazards" in one.facets else None
    kind = facets.get("kind", "instruct")
    if kind == "read":
        _reading(one, facets, expected)
    elif kind == "ask":
        _asking(one, facets, leads)
    one.facets = {"kind": kind, **facets, **one.facets}
    return one.text, one.facets


def after_one_of(sentence: str, ways: Sequence[str], words: RecorderWords) -> str | None:
    """What follows one of these at the beginning; None if none is there."""
    said = words.tokens(sentence)
    for way in sorted(ways, key=len, reverse=True):
        first = tuple(way.split())
        if said[: len(first)] == first:
            written = r"\W+".join(re.escape(word) for word in first)
            found = re.match(rf"\W*{written}\b[\s,:.;]*", sentence, re.IGNORECASE)
            return sentence[found.end() :].strip() if found else " ".join(said[len(first) :])
    return None


def _sentences(text: str) -> list[str]:
    return [piece.strip() for piece in re.split(r"(?<=[.?!;])\s+", text) if piece.strip(" .?!;")]


def _hazards(one: Breath) -> None:
    named: list[str] = []
    known = one.words.choice("hazard")
    for rest in one.take("cue_hazard"):
        said = " ".join(one.words.tokens(rest))
        found = []
        for way, hazard in sorted(known.items(), key=lambda pair: -len(pair[0])):  # 'hot water' before 'water'
            if place := re.search(rf"\b{re.escape(way)}\b", said):
                found.append((place.start(), hazard))
                said = said[: place.start()] + "-" * len(way) + said[place.end() :]
        named += [hazard for _, hazard in sorted(found)]
    if named:
        one.facets["hazards"] = list(dict.fromkeys(named))


def _minutes(one: Breath, rest: str) -> None:
    lasts = duration_said(one.words.tokens(rest), one.words)
    if lasts is not None:
        one.facets["minutes"] = round(seconds_of(lasts) / 60, 2)


def _accuracy(one: Breath, rest: str) -> None:
    said = one.words.tokens(rest)
    for size in range(len(said), 0, -1):
        for meaning in one.words.language.numbers(said[:size]):
            if meaning.value is not None:
                one.facets["accuracy"] = f"{meaning.value:g} {meaning.unit or ''}".strip()
                return


def _instrument(one: Breath, rest: str) -> None:
    one.facets["instrument"] = re.sub(rf"^(?:{_either(one, 'article')})\s+", "", rest.strip(" ."), flags=re.IGNORECASE)


def _over_range(one: Breath, rest: str) -> None:
    to = _target(" ".join(tokens(rest)), one)
    if to is not None and to[0] is not None:
        one.facets["over_range"] = to[0]


#: Sentences that add something to the step's own words.
_BESIDE: dict[str, Callable[[Breath, str], None]] = {
    "cue_minutes": _minutes, "cue_accuracy": _accuracy, "cue_instrument": _instrument, "cue_over_range": _over_range,
}  # fmt: skip


def _range(text: str, words: RecorderWords) -> list[float] | None:
    said = words.tokens(text)
    found = range_said(said, words)
    if found is None:  # 'expect three to three point four'
        opener = words.pairs("range_from")[-1][0].split()
        found = range_said((*opener, *said), words)
    return found


def _reading(one: Breath, facets: dict[str, Any], expected: Sequence[list[float]]) -> None:
    """Its quantity stands between 'give the' and its unit; its range is no longer said."""
    words = one.words
    kept = []
    for sentence in one.sentences:
        head, comma, tail = sentence.partition(",")
        if comma and range_said(words.tokens(tail), words) is not None:
            sentence = head.rstrip(" ,") + "."
        kept.append(sentence)
    one.sentences = kept
    if unit_said(words.tokens(one.text), words) is not None:
        facets["unit"] = unit_said(words.tokens(one.text), words)
    for sentence in one.sentences:
        rest = after_one_of(sentence, words.ways("cue_read"), words)
        if rest:
            leads = "|".join(re.escape(way) for way in words.ways("cue_in"))
            named = re.split(rf",|\.|\b(?:{leads})\b", rest, maxsplit=1)[0].strip(" .,")
            facets["quantity"] = named[:1].lower() + named[1:]
    if expected:
        facets["expected"] = expected[0]


def _asking(one: Breath, facets: dict[str, Any], leads: Sequence[str]) -> None:
    asked = next((sentence for sentence in reversed(one.sentences) if "?" in sentence), one.text)
    if after_one_of(asked, one.words.ways("cue_which"), one.words) is None and (found := _choices(asked, one.words)):
        facets["answers"] = [{"say": answer} for answer in found]
    answers = facets.get("answers")
    if not answers:
        return
    for answer in answers:
        answer["go"] = None
    parted = re.compile(rf"[,;]\s*(?=\b(?:{_either(one, 'cue_if')})\b)")
    for clause in (piece for lead in leads for piece in parted.split(lead)):
        _lead(one, answers, after_one_of(clause, one.words.ways("cue_if"), one.words) or clause)
    for answer in answers:
        answer.pop("set", None)


def _either(one: Breath, rule: str) -> str:
    return "|".join(re.escape(way) for way in one.words.ways(rule))


def _lead(one: Breath, answers: list[dict[str, Any]], clause: str) -> None:
    """'it is torn, go on', 'not, step nine', 'whole a later step'."""
    said = " ".join(tokens(clause))
    named = [answer for answer in answers if re.search(rf"\b{re.escape(str(answer['say']))}\b", said)]
    others = any(re.match(rf"{re.escape(way)}\b", said) for way in one.words.ways("cue_not"))
    meant = named or ([answer for answer in answers if not answer.get("set")] if others else [])
    to = _target(said, one)
    for answer in meant:
        answer |= {"go": to[0], "set": True} if to is not None else {}


def _target(said: str, one: Breath) -> tuple[str | None] | None:
    words = one.words
    for number, uid in sorted(one.steps.items(), reverse=True):
        if re.search(rf"\b{re.escape(words.step_name(number))}\b", said) or re.search(rf"\b{number}\b", said):
            return (reference(uid),)
    for rule, to in (("later", LATER), ("cue_over", LATER), ("following", None), ("cue_on", None)):
        if any(re.search(rf"\b{re.escape(way)}\b", said) for way in words.ways(rule)):
            return (to,)
    return None


def _choices(sentence: str, words: RecorderWords) -> list[str]:
    """'Is the seal torn, whole or missing?': the three; the first has as many words as the others."""
    plain = sentence.strip(" ?.!")
    joined = next((way for way in words.ways("joined") if re.search(rf"\b{way}\b", plain, re.IGNORECASE)), None)
    if joined is None:
        return []
    before, last = re.split(rf"\s*\b{joined}\b\s*(?!.*\b{joined}\b)", plain, maxsplit=1, flags=re.IGNORECASE)
    first, *middle = [piece.strip() for piece in before.split(",") if piece.strip()]
    rest = [*middle, last.strip(" ,")]
    count = len(rest[0].split())
    begun = first.split()[-count:]
    while len(begun) > 1 and begun[0].lower() in words.small:
        begun.pop(0)
    found = [" ".join(begun), *rest]
    fit = all(0 < len(one.split()) <= 4 for one in found) and len(first.split()) > count
    return [one.lower() for one in found] if fit else []


# ---- steps that a word opens ------------------------------------------------------------------------------------------


def _isolation(one: Breath, found: list[str]) -> None:
    """'Isolate the grinder plug. Switch off the grinder. Pull the plug.'"""
    article = re.compile(rf"^(?:{_either(one, 'article')})\s+", re.IGNORECASE)
    joined = rf",|\b(?:{_either(one, 'cue_and')})\b"
    named = [article.sub("", piece.strip(" .")) for each in found for piece in re.split(joined, each)]
    one.facets = {"kind": "isolate", "do": one.sentences, "sources": [piece for piece in named if piece]}
    one.sentences = []


def _proof(one: Breath, found: list[str]) -> None:
    """'Prove it dead by the switch. Switch it on and watch the burrs.'"""
    said = " ".join(one.words.tokens(" ".join(found)))
    ways = sorted(one.words.choice("method").items(), key=lambda pair: -len(pair[0]))
    method = next((tag for way, tag in ways if re.search(rf"\b{re.escape(way)}\b", said)), None)
    one.facets = {"kind": "prove"} | ({"method": method} if method else {})


def _restoring(one: Breath, found: list[str]) -> None:
    """'Restore the supply. Take the tools out. Put the hopper on. Then put the plug in.'"""
    power = one.take("cue_then")
    one.facets = {"kind": "restore", "checks": one.sentences} | ({"power": capital(power[-1])} if power else {})
    one.sentences = []


_OPENED: dict[str, Callable[[Breath, list[str]], None]] = {
    "cue_isolate": _isolation, "cue_prove": _proof, "cue_restore": _restoring,
}  # fmt: skip


def _ended(one: Breath, text: str, found: list[str]) -> None:
    """'The end, fixed. The seal is changed.' and 'Finding, worn groove. The groove is too wide.'"""
    words = one.words
    if after_one_of(_sentences(text)[0], words.ways("cue_finding"), words) is not None:
        from handsfree.authoring.draft import slug

        one.facets = {"kind": "finding", "finding": slug(found[0], frozenset())}
    else:
        said = " ".join(words.tokens(found[0]))
        ways = [*words.pairs("outcome"), *((tag, tag) for _, tag in words.pairs("outcome"))]
        ways.sort(key=lambda pair: -len(pair[0]))  # 'not fixed' before 'fixed'
        outcome = next((tag for way, tag in ways if re.search(rf"\b{re.escape(way)}\b", said)), None)
        one.facets = {"kind": "end"} | ({"outcome": outcome} if outcome else {})
    if not one.sentences:
        one.sentences = [capital(found[0])]
