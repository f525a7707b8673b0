"""From the testimony on one utterance to a verdict: accepted, proposed, asked which, asked again, or silence. Pure.

Rules of this file:

- One probability decides, compared with a threshold of `bars`. What is at stake chooses the threshold.
- Nothing is accepted or proposed if a true denial is a witness's likeliest, or is in the words that one wrote: 'not', 'is
  it', 'I think', 'still on'. If the answer may prove works dead, another number and half a phrase count as denials too.
- A gate and a proof must have been found by every witness that heard anything. No gate opens where somebody spoke right
  before the phrase (`bars.BEFORE`), even if neither witness heard a word there.
- If the witness that writes wrote something else, it proves nothing and is no short command. An answer is not accepted if
  both witnesses prefer another word (`bars.ANOTHER`): a word that is no answer may sound like one that is.
- People's own words count only where the witness that writes wrote nothing but them; then less is enough
  (`bars.TAKE_OWN_WORDS`).
- If a witness has failed, or is missing, the other needs more (`bars.ALONE`), and no gate opens while one has failed.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from handsfree.language.meaning import WITNESS_FAILED, Denial, Heard, Listening, Meaning, Sense, Verdict
from handsfree.language.quantities import unit_fits
from handsfree.speech import bars
from handsfree.speech.acceptance import Fit, fitted, logistic, ranked_as, set_of
from handsfree.speech.bars import short_command
from handsfree.speech.engine import QUIET_BEFORE, Testimony, Witness
from handsfree.speech.weighing import (
    TRUE_DENIALS,
    Stake,
    Weighed,
    acts,
    heard_anything,
    in_accent,
    key,
    leading_denial,
    likeness,
    weigh,
    written_denials,
)

if TYPE_CHECKING:
    from handsfree.language.base import Language

Shift = Mapping[Stake, float]  # an enrolment: log-odds added for this person
DENIED = "a denial was heard"
WHICH = "a near tie"
UNSURE = "not sure enough"
UNLIKE = "resembles nothing in force"
OTHER_UNIT = "in a unit that was not asked for"
FAILED = WITNESS_FAILED
UNFOUND = "a witness found nothing of it"
OTHERWISE = "a witness wrote something else"
BEFORE = "something was said right before it"
ONE = "not sure enough to one witness alone"


def judge(
    testimonies: Sequence[Testimony], listening: Listening, language: Language, enrolment: Shift, failed: str = ""
) -> Heard:
    """`testimonies`: of the engines that heard the sound. `failed`: what is wrong with an engine that did not, in words."""
    testimonies = in_accent(testimonies)
    fit = _fit(testimonies)
    weighed = weigh(testimonies, listening, fit.ranking[ranked_as(listening)] if fit is not None else {})
    meant = _meant(testimonies, fit)
    denial = denied(testimonies, listening, language, meant)
    name = "+".join(testimony.engine for testimony in testimonies)
    words = next((t.free for t in testimonies if t.gives is not Witness.SOUNDS), testimonies[0].free if testimonies else "")

    def heard(
        verdict: Verdict, meaning: Meaning | None, sure: float, reason: str = "", rivals: tuple[Meaning, ...] = ()
    ) -> Heard:
        features = weighed.features if weighed is not None else ()
        told = f"{reason}; {FAILED}: {failed}" if reason and failed and failed not in reason else reason or failed
        shares = shares_of(weighed, sure, listening) if weighed is not None else ()
        return Heard(
            verdict, meaning, sure, words, rivals, features, name, reason=told, meant=meant, shares=shares
        )

    if weighed is None:
        spoke = denial is not None or meant >= bars.MEANT.value
        return heard(
            Verdict.ASKED_AGAIN if spoke else Verdict.NOT_FOR_ME, denial, 0.0, str(denial.text) if denial else UNLIKE
        )
    sure = probability(weighed, fit, enrolment) if fit is not None else unfitted(weighed, testimonies, listening, language)
    if denial is not None:
        return heard(Verdict.ASKED_AGAIN, denial, min(sure, 0.5), DENIED)
    verdict, reason, rivals = decide(
        weighed.best, sure, meant, shares_of(weighed, sure, listening), listening, weighed.proof
    )
    whole = weighed.proof or weighed.stake is Stake.GATE
    doubted = whole and verdict is Verdict.ASKED_AGAIN and reason == UNSURE  # what is against it holds when it is said again
    if whole and (doubted or verdict is Verdict.ACCEPTED):
        against = f"{FAILED}: {failed}" if failed else "" if _found_by_all(testimonies, weighed.best, listening) else UNFOUND
        against = against or (BEFORE if _spoken_before(testimonies, weighed.best) > bars.BEFORE.value else "")
        against = against or (UNLIKE if meant < bars.MEANT.value else "")
        against = against or (ONE if doubted and not _by_two(fit) else "")
        verdict, reason = (Verdict.ASKED_AGAIN, against) if against else (verdict, reason)
    own = _unlisted(weighed.best, listening, language)
    wrote_own = own and not _otherwise(testimonies, weighed.best, listening, language)
    if wrote_own and verdict is Verdict.ASKED_AGAIN and reason == UNSURE and sure >= bars.TAKE_OWN_WORDS.value:
        verdict, reason = Verdict.ACCEPTED, ""
    easily = weighed.proof or own or short_command(weighed.best)
    standing = verdict is Verdict.ACCEPTED or (doubted and reason == UNSURE)
    if standing and easily and _otherwise(testimonies, weighed.best, listening, language):
        verdict, reason = Verdict.ASKED_AGAIN, OTHERWISE
    if verdict is Verdict.ACCEPTED and _another_word(weighed):
        proposes = bars.may_propose(weighed.best, weighed.proof, listening)
        verdict, reason = Verdict.PROPOSED if proposes else Verdict.ASKED_AGAIN, OTHERWISE
    return heard(verdict, weighed.best, sure, reason, rivals)


def _unlisted(best: Meaning, listening: Listening, language: Language) -> bool:
    """People's own words: one witness wrote them, and no list had them."""
    words = best.sense in (Sense.PHRASE, Sense.COMMAND)
    return words and listening.own_words and best.spoken not in language.forms(listening)


def _otherwise(testimonies: Sequence[Testimony], best: Meaning, listening: Listening, language: Language) -> bool:
    """A witness that writes wrote something else."""
    own = key(best, listening)
    wrote = [t.free for t in testimonies if t.gives is not Witness.SOUNDS and t.free]
    return any(all(key(meaning, listening) != own for meaning in language.understand(free, listening)) for free in wrote)


def _another_word(weighed: Weighed) -> bool:
    """Both kinds of witness prefer another word to the answer or command."""
    found = dict(weighed.features)
    words = weighed.best.sense in (Sense.PHRASE, Sense.COMMAND)
    return words and found.get("tokens odds", 0.0) < 0 and found.get("sounds apart", 0.0) < -bars.ANOTHER.value


def _found_by_all(testimonies: Sequence[Testimony], best: Meaning, listening: Listening) -> bool:
    own = key(best, listening)
    heard = (testimony for testimony in testimonies if heard_anything(testimony))
    return all(any(key(act.meaning, listening) == own for act in acts(one, listening)) for one in heard)


def _spoken_before(testimonies: Sequence[Testimony], best: Meaning) -> float:
    """The share of the time right before a gate's phrase in which somebody spoke; 0 where no witness tells."""
    told = (dict(testimony.evidence).get(f"{QUIET_BEFORE} of {best.text}", 1.0) for testimony in testimonies)
    return 1.0 - min(told, default=1.0)


def decide(
    best: Meaning, sure: float, meant: float, shares: Sequence[tuple[Meaning, float]], listening: Listening, proof: bool
) -> tuple[Verdict, str, tuple[Meaning, ...]]:
    """The verdict on the likeliest act, why it is not accepted, and what it cannot be told from. `shares`: the probability
    of each act, the likeliest first."""
    asked = listening.number
    if best.sense is Sense.NUMBER and asked is not None and not unit_fits(asked.unit, best.unit):
        return Verdict.ASKED_AGAIN, OTHER_UNIT, ()
    if sure >= bars.take(best, proof).value:
        return Verdict.ACCEPTED, "", ()
    two = _two(best, shares, proof)
    if two:
        return Verdict.ASKED_AGAIN, WHICH, two
    if bars.may_propose(best, proof, listening) and sure >= bars.PROPOSE.value:
        return Verdict.PROPOSED, "", ()
    if meant >= bars.MEANT.value or sure >= bars.PROPOSE.value:
        return Verdict.ASKED_AGAIN, UNSURE, ()
    return Verdict.NOT_FOR_ME, UNLIKE, ()


def _two(best: Meaning, shares: Sequence[tuple[Meaning, float]], proof: bool) -> tuple[Meaning, ...]:
    """The two likeliest, if they are answers of the same question and together nearly certain."""
    if proof or best.sense not in (Sense.PHRASE, Sense.NUMBER) or len(shares) < 2:
        return ()
    (first, p), (second, q) = shares[:2]
    same = first.sense is second.sense and first == best
    return (first, second) if same and p + q >= bars.WHICH.value and q >= bars.TIE.value * p else ()


def probability(weighed: Weighed, fit: Fit, enrolment: Shift) -> float:
    """With the enrolment's addition, except for anything that may prove the works dead, which gets easier for nobody. Less
    if one witness is alone."""
    model = fit.stakes.get(weighed.stake)
    if model is None:
        return 0.0
    easier = weighed.stake is not Stake.GATE and not weighed.proof and not short_command(weighed.best)
    shift = enrolment.get(Stake.CHOICE if weighed.stake is Stake.COMMAND else weighed.stake, 0.0) if easier else 0.0
    alone = 0.0 if _by_two(fit) else bars.ALONE.value
    return logistic(model.odds(dict(weighed.features)) + shift - alone)


def _by_two(fit: Fit | None) -> bool:
    """Two witnesses were fitted together."""
    return fit is not None and len(fit.ranking["other"]) > 1


def unfitted(weighed: Weighed, testimonies: Sequence[Testimony], listening: Listening, language: Language) -> float:
    """For evidence without a fit: sure only if the free words mean exactly the same act, and never sure enough for a gate
    or a proof."""
    own = key(weighed.best, listening)
    wrote = [language.understand(testimony.free, listening)[:1] for testimony in testimonies if testimony.free]
    same = bool(wrote) and all(any(key(meaning, listening) == own for meaning in meanings) for meanings in wrote)
    return bars.UNFITTED.value if same else bars.PROPOSE.value / 2


def shares_of(weighed: Weighed, sure: float, listening: Listening) -> tuple[tuple[Meaning, float], ...]:
    """The probability of each act weighed: `sure` for the likeliest; the rest is divided by their scores."""
    rest = [(act.meaning, math.exp(max(-60.0, act.score - weighed.ranked[0].score))) for act in weighed.ranked[1:]]
    total = sum(weight for _, weight in rest)
    left = (1 - sure) * total / (total + 1.0)  # the 1: something else than all of these
    return ((weighed.best, sure), *((meaning, left * weight / total) for meaning, weight in rest if total > 0))


def denied(
    testimonies: Sequence[Testimony], listening: Listening, language: Language, meant: float = 1.0
) -> Meaning | None:
    """The true denial in what was said, None for none. It counts if a witness that writes has it in its words or finds it
    the likeliest; or if a witness of sounds finds it the likeliest by far (`bars.DENIED`), because in noise that one hears
    a 'not' where there is none. If the answer may prove works dead, another number is a denial too. So 'power is not
    isolated' is never met with silence. `meant`: the probability that the speech was for the program. Below its bar, and
    where nothing is to be proved, a denial that nobody wrote down does not count: some denial is always the nearest to talk.
    (Of 720 near misses of a gate none lies below that bar.)"""
    true = TRUE_DENIALS if listening.guarded else TRUE_DENIALS - {Denial.NUMBER}
    for testimony in testimonies:
        leading = leading_denial(testimony) if listening.proof or meant >= bars.MEANT.value else None
        if leading is not None and leading.text in true and _surely(testimony, listening):
            return leading
        writes = testimony.gives is not Witness.SOUNDS
        for meaning in written_denials(testimony, listening, language) if writes else ():
            if meaning.text in true:
                return meaning
    return None


def _surely(testimony: Testimony, listening: Listening) -> bool:
    """This witness's likeliest leads by as much as it takes to believe it."""
    best = max((act.score for act in acts(testimony, listening)), default=-math.inf)
    return testimony.gives is not Witness.SOUNDS or best < testimony.candidates[0].score - bars.DENIED.value


def _fit(testimonies: Sequence[Testimony]) -> Fit | None:
    """For the kinds of evidence that heard anything; None if nothing was fitted to these."""
    kinds = {testimony.gives for testimony in testimonies if heard_anything(testimony)}
    return fitted().get(set_of(kinds)) if kinds else None


def _meant(testimonies: Sequence[Testimony], fit: Fit | None) -> float:
    if fit is None or fit.meant is None:
        return 0.0
    features = dict(likeness(testimonies))
    return fit.meant.probability(features) if all(name in features for name in fit.meant.names) else 0.0
