"""Why an act must not be accepted however probable it is. Pure.

Rules of this file:

- What speaks against an act here forbids it, whatever the numbers say; everything else is left to the probability.
- The more is at stake, the more forbids: a gate and what may prove the works dead need both engines, on every word.
- Each reason has words of its own, which the record keeps.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from handsfree.language.meaning import Denial, Listening, Meaning, Sense
from handsfree.language.quantities import unit_fits
from handsfree.speech.engine import Testimony
from handsfree.speech.near_words import longer_word
from handsfree.speech.weighing import NEURAL, TRUE_DENIALS, Stake, Weighed, leading_denial, written_denials

if TYPE_CHECKING:
    from handsfree.language.base import Language

ELSE = "something else was heard"
DIFFER = "the witnesses differ"
TIED = "a near tie"
ALIKE = "it may be a word that sounds alike"
OTHER_UNIT = "in a unit that was not asked for"
_RESEMBLES = 0.45  # how alike some engine's own words must be to what is acted on
_FIRM = 3.0  # nats that an act must lie above its true denials
_NEARLY = 2.0  # nats that what proves must lie above what sounds like it, to each engine
_SECOND_FIRM = 3.0  # the same above its true denials, to a second engine
_BY_FAR = -2.0  # log-odds from which an engine is for something else by far
_OUTVOTED = -4.0  # the same of an answer that a visit asks for: of 442 right ones accepted by both, two lay lower
_OF_ITS_SOUND = 0.3  # how alike the first engine's own words must be to an answer or command
_VOUCHED = 0.5  # how well the weakest word of a gate must be found in the free words


def vetoed(weighed: Weighed, testimonies: Sequence[Testimony], listening: Listening, language: Language) -> str:
    """Why the act must not be accepted however probable; '' for no reason.

    Any act: some engine's own words must resemble it, the first engine must neither write a true denial nor find one
    likelier than all else, and true denials must lie well below it. An answer or command: both neural engines must find it
    the likeliest of what could be acted on, neither be for something else by far, and the first one's words be something of
    its sound; an answer that a visit asks for may be outweighed by more, as long as nobody wrote another answer. A reading:
    neither engine for something else by far. A gate and what may prove the works dead: nobody may have heard a denial; no
    other act may be near; what sounds like it must lie well below, to both engines; and both must have written it, every
    word, and have it in front of all else."""
    features = dict(weighed.features)
    resembling = [value for name, value in features.items() if name.endswith("alike") or name in ("agree", "agree_loop")]
    if resembling and max(resembling) < _RESEMBLES:
        return ELSE
    proving = weighed.stake is Stake.GATE or weighed.proof
    for testimony in testimonies if proving else testimonies[:1]:
        denials = {meaning.text for meaning in written_denials(testimony, listening, language)}
        leading = leading_denial(testimony)
        # a second engine that heard another number speaks by its share alone, for it mishears digits
        true = TRUE_DENIALS if testimony is testimonies[0] else TRUE_DENIALS - {Denial.NUMBER}
        if true & (denials | ({leading.text} if leading is not None else set())):
            return "a denial was heard"
    if weighed.stake is Stake.CHOICE and "base share" in features and not _agreed(weighed, testimonies, listening):
        return DIFFER
    asked = listening.number
    if weighed.best.sense is Sense.NUMBER and asked is not None and not unit_fits(asked.unit, weighed.best.unit):
        return OTHER_UNIT
    if weighed.tied or (proving and weighed.rivals):
        return TIED
    if weighed.best.sense is Sense.NUMBER and min(_odds(features), default=0.0) < _BY_FAR:
        return DIFFER
    if features.get("firm", 10.0) < _FIRM or (not proving and features.get("base firm", 10.0) < _SECOND_FIRM):
        return "a denial is as likely"
    if not proving:
        return ""
    neural = testimonies[0].engine.startswith(NEURAL)
    if weighed.stake is Stake.GATE:
        reason = _not_the_phrase(weighed, testimonies, listening, language)
        if reason or not neural:
            return reason
    if not neural:
        return ""
    if _looks_alike(features):
        return ALIKE
    both = features["in front"] == 1 and features["free same"] == 1 and features.get("base firm", -8.0) >= _SECOND_FIRM
    return "" if both else DIFFER


def _agreed(weighed: Weighed, testimonies: Sequence[Testimony], listening: Listening) -> bool:
    """On an answer or command that a second engine heard too. That one engine, or both, would rather have something else is
    left to the probability where a visit asks for an answer: in noise good ones are written 'Field.' for 'failed'. A
    command is in force everywhere, a recorder's among free words: for them one engine is enough."""
    features = dict(weighed.features)
    if features["one leader"] < 1 or features.get("alike", 0.0) < _OF_ITS_SOUND:
        return False
    odds = _odds(features)
    if weighed.best.sense is Sense.PHRASE and not weighed.proof and listening.of_a_visit:
        return min(odds) >= _OUTVOTED and not any(_wrote_another(t.free, weighed.best, listening) for t in testimonies)
    return max(odds) >= 0 and min(odds) >= _BY_FAR


def _odds(features: Mapping[str, float]) -> list[float]:
    """Of the act against all else, to each engine that found it."""
    return [features[name] for name in ("odds", "base odds") if name in features]


def _wrote_another(words: str, best: Meaning, listening: Listening) -> bool:
    """Another of the step's answers stands in the engine's own words, and neither holds the other ('drags', 'it drags')."""
    heard, own = _spaced(words), _spaced(best.text)
    others = [_spaced(phrase) for phrase in listening.phrases]
    return any(other in heard and other not in own and own not in other for other in others)


def _spaced(text: str) -> str:
    return " " + " ".join(re.findall(r"[\w']+", text.lower())) + " "


def _looks_alike(features: Mapping[str, float]) -> bool:
    """What sounds like the act lies too near below it, to either engine; or one of them is not there to say."""
    return min(features.get("near", -8.0), features.get("base near", -8.0)) < _NEARLY


def _not_the_phrase(
    weighed: Weighed, testimonies: Sequence[Testimony], listening: Listening, language: Language
) -> str:
    """What keeps words from being a gate's phrase, named for whoever reads the record; '' where nothing does. None may have
    written a longer word around one of its own ('block', 'locker', 'unlock' for 'lock'), and the first engine must have
    written the whole of it."""
    for testimony in testimonies:
        longer = longer_word(testimony.free, weighed.best.spoken)
        if longer:
            return f"'{longer}' was heard"
    if not testimonies[0].engine.startswith(NEURAL):
        return "" if dict(weighed.features).get("weakest", 0.0) >= _VOUCHED else "a word is missing"
    wrote = language.understand(testimonies[0].free, listening)
    return "" if any(meaning.sense is Sense.GATE for meaning in wrote) else "not the whole phrase"
