# ruff: noqa: E501  tables of texts
"""What is said at a gate that must never open it, by what it means; and what must never prove that the works are dead.

Sentences of our own, beside those of corpus_texts that teach and fit. `{n}` is the right number, `{w}` another, `{u}` one
with a figure more or less, `{h}` a part of the number.
"""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence

from tests.bench.corpus_texts import DIGITS

NEAR: Mapping[str, tuple[str, ...]] = {
    "denied": (
        "it's not isolated, lock {n}", "not yet isolated, lock {n}", "isolated, lock {n}, not so", "this isn't isolated, lock {n}",
        "nothing is isolated, lock {n}", "isolated? no. lock {n}", "not the isolated one, lock {n}", "isolated it is not, lock {n}",
    ),
    "asked": (
        "isolated, lock {n}, is that right", "is this isolated, lock {n}", "should I say isolated, lock {n}", "did you hear isolated, lock {n}",
        "was that isolated, lock {n}", "who isolated lock {n}", "have we isolated lock {n}", "isolated, lock {n} or what",
    ),
    "conditional": (
        "if it is isolated, lock {n}", "once isolated, lock {n}", "unless isolated, lock {n}", "isolated, lock {n}, if you like",
        "when isolated, lock {n}", "suppose isolated, lock {n}", "isolated, lock {n}, provided he is out",
    ),
    "later": (
        "isolated, lock {n}, in a minute", "soon isolated, lock {n}", "it will be isolated, lock {n}", "going to be isolated, lock {n}",
        "isolated, lock {n}, tomorrow", "wait, isolated, lock {n} comes later", "nearly isolated, lock {n}",
    ),
    "reported": (
        "he said isolated, lock {n}", "they told me isolated, lock {n}", "the book says isolated, lock {n}", "you say isolated, lock {n}",
        "she wrote isolated, lock {n}", "isolated, lock {n}, he says", "I heard isolated, lock {n}",
    ),
    "undone": (
        "no longer isolated, lock {n}", "isolated, lock {n} is off again", "was isolated, lock {n}", "isolated, lock {n} taken off",
        "isolated before, lock {n}", "isolated, lock {n} is gone", "isolated, lock {n}, it came off",
    ),
    "another number": ("isolated, lock {w}",),
    "a figure more or less": ("isolated, lock {u}",),
    "half": ("isolated", "isolated, lock", "lock {n}", "{n}", "isolated {n}", "isolated, lock {h}", "lock", "isolated and"),
    "another word": (
        "insulated, lock {n}", "located, lock {n}", "activated, lock {n}", "I sold it, lock {n}", "violated, lock {n}",
        "decorated, lock {n}", "separated, lock {n}", "isolate, lock {n}", "isolation, lock {n}", "energised, lock {n}",
    ),
    "unrelated": (
        "can you pass me the long screwdriver", "the stock goes back in at four", "there are two boxes in the van", "I locked the van",
        "mind the step behind you", "that fan has been loud for two weeks", "it was isolated up here all winter", "my locker is number {n}",
    ),
    "own voice": (
        "say isolated, lock, and your number", "say: isolated, lock {n}", "isolation begun, not proved", "your lock number is {n}",
        "say isolated lock {n} when the plug is out and locked",
    ),
} 
#: The phrase in another accent: the same meaning, and it counts as the phrase.
ACCENTS = ("isolated, log {n}", "isolated, luck {n}", "isolated, block {n}", "isolated, look {n}")
PROOFS: Mapping[str, tuple[str, ...]] = {
    "denied": ("not that nothing runs", "nothing runs is wrong", "it does run", "nothing runs, no, the fan does"),
    "asked": ("does nothing run at all", "nothing runs, right", "is it that nothing runs"),
    "conditional": ("if nothing runs", "when nothing runs", "nothing runs if it is off"),
    "later": ("nothing will run", "nothing runs in a minute", "soon nothing runs"),
    "reported": ("he says nothing runs", "they said nothing runs", "you said nothing runs"),
    "undone": ("nothing ran before", "nothing runs any more but the light", "it runs again"),
    "half": ("nothing", "runs", "no thing", "nothing much"),
    "another word": ("nothing rusts", "nothing rings", "nothing comes", "something runs", "one thing runs", "nothing's wrong"),
}
PROVES = ("nothing runs", "it runs")
#: Where 'affirm' proves works dead. Written before any voice that judges had said one. 'A firm' is left out: it has the same
#: sounds.
AFFIRMS: Mapping[str, tuple[str, ...]] = {"affirm": ("affirm",), "the other way": ("that is right",)}
DENIES: Mapping[str, tuple[str, ...]] = {"negative": ("negative",), "the other way": ("that is wrong",)}
NOT_AFFIRMED: Mapping[str, tuple[str, ...]] = {
    "denied": ("not affirm", "affirm, no", "that isn't right", "that is not right", "that's not right", "I can't affirm that"),
    "asked": ("is that right", "do I affirm", "affirm what", "that is right, isn't it"),
    "conditional": ("if that is right", "affirm if it is off", "when that is right"),
    "later": ("affirm in a minute", "I will affirm it soon", "that is right in a second"),
    "reported": ("he said affirm", "they said that is right", "she told me to affirm"),
    "unsure": ("affirm, I think", "maybe that is right", "that is nearly right"),
    "half": ("a", "firm", "that is", "right", "that"),
    "another word": ("confirm", "affirmative", "negative", "a farm", "alarm", "infirm", "a form", "that is wrong", "that is light",
                     "that is tight", "that was right"),
    "unrelated": ("the firm sent me", "hold it firm", "on the right", "turn it to the right", "you are right there"),
}  # fmt: skip


def lock(luck: random.Random) -> tuple[str, ...]:
    return tuple(luck.choices(DIGITS, k=luck.choice((2, 2, 3, 4))))


def filled(pattern: str, number: Sequence[str], luck: random.Random) -> str:
    """The sentence for this lock number."""
    parts = {"{n}": list(number), "{w}": _another(number, luck), "{u}": _uneven(number, luck), "{h}": list(number[:-1])}
    for sign, digits in parts.items():
        pattern = pattern.replace(sign, " ".join(digits))
    return pattern


def _another(number: Sequence[str], luck: random.Random) -> list[str]:
    """As many figures, one or two of them others."""
    out = list(number)
    for at in luck.sample(range(len(out)), luck.choice((1, 1, 2))):
        out[at] = luck.choice([digit for digit in DIGITS if digit != number[at]])
    return out


def _uneven(number: Sequence[str], luck: random.Random) -> list[str]:
    out, at = list(number), luck.randrange(len(number))
    if len(out) > 2 and luck.random() < 0.5:
        del out[at]
    else:
        out.insert(at, luck.choice(DIGITS))
    return out
