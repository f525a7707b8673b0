# ruff: noqa: E501  tables of texts
"""What is said in the benchmark corpus: answers, commands, readings, gate phrases, their near misses, and talk that
means nothing."""

from __future__ import annotations

import random

CHOICES: tuple[tuple[str, ...], ...] = (
    ("cool", "warm", "hot"),
    ("running", "stopped", "humming"),
    ("yes", "no"),
    ("frosted", "clear", "iced over"),
    ("green", "amber", "red", "dark"),
    ("open", "closed"),
    ("left", "middle", "right"),
    ("dry", "damp", "standing water"),
    ("smooth", "rattling", "squealing"),
    ("lit", "flashing", "off"),
    ("passed", "failed"),
    ("tight", "loose", "broken"),
    ("clean", "dusty", "blocked"),
    ("steady", "rising", "falling"),
    ("done", "not done"),
    ("it is freezing", "it is warm inside", "it is dead"),
)

COMMANDS: dict[str, tuple[str, ...]] = {
    "next step": ("next step", "next"),
    "go back": ("go back",),
    "say again": ("say again",),
    "stand by": ("stand by",),
    "go ahead": ("go ahead",),
    "how long": ("how long",),
    "where am i": ("where am i",),
}

DIGITS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
_TEENS = ("ten", "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen")
_TENS = ("", "", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")
_UNITS = {
    "degF": ("degrees", "degrees fahrenheit", ""), "degC": ("degrees", "degrees celsius", ""), "volt": ("volts", "volts", ""),
    "ohm": ("ohms", "ohms", ""), "psi": ("p s i", ""), "ampere": ("amps", "amps", ""),
}  # fmt: skip


def lock(luck: random.Random) -> list[str]:
    return [luck.choice(DIGITS) for _ in range(luck.choice((2, 2, 2, 3, 4)))]


def _below_hundred(n: int) -> str:
    if n < 10:
        return DIGITS[n]
    if n < 20:
        return _TEENS[n - 10]
    return _TENS[n // 10] + (f" {DIGITS[n % 10]}" if n % 10 else "")


def _whole(n: int, luck: random.Random) -> str:
    if n < 100:
        return _below_hundred(n)
    hundreds, rest = divmod(n, 100)
    if rest == 0:
        return f"{DIGITS[hundreds]} hundred"
    style = luck.randrange(3)
    if style == 0:
        return f"{DIGITS[hundreds]} hundred and {_below_hundred(rest)}"
    if style == 1 or rest < 10:
        return f"{DIGITS[hundreds]} oh {DIGITS[rest]}" if rest < 10 else f"{DIGITS[hundreds]} {_below_hundred(rest)}"
    return f"{DIGITS[hundreds]} hundred {_below_hundred(rest)}"


def reading(luck: random.Random) -> tuple[float, str, str]:
    """(value, as said, unit asked). Whole numbers, tenths, hundredths, below zero, digit by digit."""
    unit = luck.choice(tuple(_UNITS))
    whole = luck.choice((luck.randrange(0, 20), luck.randrange(10, 100), luck.randrange(20, 100), luck.randrange(100, 600)))
    minus = unit in ("degF", "degC") and luck.random() < 0.2
    decimals = luck.choice((0, 0, 1, 1, 1, 2))
    point = luck.choice(("point", "point", "point", "decimal"))
    said = " ".join(DIGITS[int(d)] for d in str(whole)) if luck.random() < 0.2 else _whole(whole, luck)
    value = float(whole)
    if decimals:
        tail = "".join(str(luck.randrange(10)) for _ in range(decimals))
        value = float(f"{whole}.{tail}")
        said = f"{said} {point} {' '.join(DIGITS[int(d)] for d in tail)}"
    if minus and value:
        value, said = -value, f"minus {said}"
    spoken_unit = luck.choice(_UNITS[unit])
    return value, f"{said} {spoken_unit}".strip(), unit


def near_miss(lock: list[str], luck: random.Random) -> str:
    """What must never open the gate: denials, questions, doubts, halves, other numbers."""
    right = " ".join(lock)
    return luck.choice((
        f"not isolated lock {right}", f"is it isolated lock {right}", f"isolated i think lock {right}", "isolated", "it is isolated",
        "the power is not isolated", "power is isolated", "the power is still on", "not isolated", "is it isolated", "isolated i think",
        f"lock {right}", f"isolated {right}", right, "isolated lock", f"isolated lock {_wrong(lock, luck)}", f"isolated lock {_wrong(lock, luck)}",
        f"isolated lock {_wrong(lock, luck)}", f"isolated lock {_wrong(lock, luck)}", f"isolate lock {right}", f"was isolated lock {right}",
        f"isolated log {right}", f"isolated block {right}", f"unlock {right}", f"isolation lock {right}", f"isn't isolated lock {right}",
        f"clear lock {right}", f"isolated not lock {right}", f"never isolated lock {right}", f"isolated locker {right}",
        f"it should be isolated lock {right}", f"shall i say isolated lock {right}", f"insulated lock {right}", f"isolated clock {right}",
        f"isolated lock number {right}", f"isolated, unlock {right}", f"if isolated lock {right}", f"isolated lock {right} is missing",
        f"isolated lock {right} i think", f"isolated lock {right} no", f"I have not isolated lock {right}", f"isolated but lock {right}",
    ))  # fmt: skip


def _wrong(lock: list[str], luck: random.Random) -> str:
    """One digit off, one dropped, one more, two exchanged, one doubled."""
    digits = list(lock)
    at = luck.randrange(len(digits))
    kind = luck.randrange(5)
    if kind == 0:
        digits.pop(at)
    elif kind == 1:
        digits.insert(at, luck.choice(DIGITS))
    elif kind == 2:
        digits.insert(at, digits[at])
    elif kind == 3 and digits[0] != digits[-1]:
        digits[0], digits[-1] = digits[-1], digits[0]
    if kind == 4 or digits == lock:
        digits = list(lock)
        digits[at] = luck.choice([d for d in DIGITS if d != lock[at]])
    return " ".join(digits)


PROOF = ("nothing runs", "it runs")
#: What must never prove that the works are dead: sentences that are also taught, and others that are only ever measured. All
#: are sentences that somebody could say ('nothing rums' is taken for 'nothing runs', and nobody means anything else by it).
NEAR_PROOF: dict[str, tuple[str, ...]] = {
    "fit": (
        "something runs", "nothing runs but the fan", "does nothing run", "not nothing runs", "nothing runs I think",
        "one thing runs", "it still runs", "nothing ran", "nothing", "runs", "anything runs",
        "almost nothing runs", "everything runs",
    ),
    "held": (
        "nothing runs except the light", "the fan runs", "nothing ran yesterday", "nothing runs yet", "I think nothing runs",
        "nothing's wrong", "nothing rusts", "is it so that nothing runs", "nothing much runs", "maybe nothing runs", "no it runs",
        "nothing is running now but the lamp", "nothing wants", "a thing runs", "not a thing was tried", "did nothing run",
        "nothing drums", "the other thing runs", "I said nothing, it runs",
    ),
}  # fmt: skip


def dead_volts(luck: random.Random) -> tuple[float, str]:
    """A reading that proves dead works, or one that does not."""
    value = luck.choice((0.0, 0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.8, 1.0, 2.0, 12.0, 24.0, 118.0, 208.0))
    whole, tenth = divmod(round(value * 10), 10)
    said = _whole(whole, luck) if not tenth else f"{_whole(whole, luck)} point {DIGITS[tenth]}"
    return value, f"{said}{luck.choice((' volts', ' volts', ''))}"


def denied(right: str, luck: random.Random) -> str:
    """An answer or a reading with what takes it back."""
    return luck.choice((
        f"not {right}", f"it is not {right}", f"is it {right}", f"{right} I think", f"maybe {right}", f"it isn't {right}",
        f"never {right}", f"could it be {right}", f"I don't think it is {right}", f"it should be {right}",
    ))  # fmt: skip


UNRELATED: tuple[str, ...] = (
    "I think it is warm outside today", "hand me the screwdriver please", "the power is not isolated", "did you lock the van",
    "what time is lunch", "there are forty two steps up to the station", "I was running late this morning", "he stopped by yesterday",
    "put it on the left shelf next to the drill", "that one is broken so take the other", "can you hear me down there",
    "we should go back to the depot after this", "how long have you worked for the railway", "where am I going to find another fuse",
    "say that to my boss", "the next train leaves at half past four", "she told me to stand over by the door", "it is a hot day",
    "is the coffee still warm", "I need five more minutes on this one", "somebody left the gate open again", "the floor is clean now",
    "watch out for the cable", "my phone number ends in four two", "twelve people got off at the summit", "do you want the red one or the green one",
    "it never rains up here", "the dog is asleep in the van", "I can't find the torch", "pass me the three eighths socket",
    "tell them we are nearly done", "I'm not sure that is right", "look at the state of this filter", "who isolated this one",
    "that makes no sense at all", "somebody should oil that hinge", "we had no water for two days", "turn the music down a bit",
    "mind your head on the way out", "this lock is stuck again", "the cover goes on after the screws", "I will be there in twenty minutes",
    "close the door behind you", "it was dark when we started", "the fan has been rattling all week", "nobody told me about that",
    "you can leave it there", "have you seen the other glove", "that is the second time this month", "let us try the one by the window",
    "good morning how are you", "what a lovely view from up here", "the summit restaurant is closed today", "two coffees and a tea please",
    "I left my keys at home", "the last one was twenty dollars cheaper", "can I park here", "we are waiting for the lift", "hello", "thank you very much",
)  # fmt: skip
