"""Why a gate stays shut, and what helps: which half was missing, then how to be heard better, then the keyboard, then a safe
stop. Nothing here opens a gate."""

from __future__ import annotations

from handsfree.dialogue.meant import AWAY, by_level
from handsfree.isolation.interlock import Interlock
from handsfree.isolation.people import left_on
from handsfree.journal.events import Utterance
from handsfree.language.base import Language
from handsfree.language.meaning import ALWAYS, Denial, Sense, Verdict
from handsfree.language.tokens import tokens
from handsfree.visit.flow import Flow
from handsfree.visit.state import State
from handsfree.visit.wishes import is_command, is_question, onward, says_only

_DENIED: dict[str, str] = {
    Denial.NEGATION: "gate-denied-negation",
    Denial.STILL_ON: "gate-denied-live",
    Denial.QUESTION: "gate-denied-question",
    Denial.UNSURE: "gate-denied-unsure",
    Denial.NUMBER: "gate-denied-number",
}
#: What helps, by the number of failed attempts; the last one for all later attempts.
_HELPS = ("need", "gate-nearer", "gate-typed", "gate-stop")


def refused(flow: Flow, utterance: Utterance, after: Interlock, word: str, names: tuple[str, ...]) -> None:
    """Say why, then what helps. The digits are never said."""
    first = after.failures == 1
    key = _key(flow, utterance, word)
    how = "denied" if utterance.sense == Sense.DENIAL else "refused"
    flow.lock_to(after, how, _without_figures(flow, utterance.spoken or utterance.words), names)
    flow.tone("gate shut")
    flow.prompt(key, "refusal")
    if word == "clear" and first:
        flow.prompt("gate-leave-off", "refusal", cuttable=False)
    if word == "isolated" and utterance.text == Denial.NUMBER and not first and may_restate(flow):
        flow.prompt("gate-number-wrong", "refusal")
    _help(flow, after, word)


def may_restate(flow: Flow) -> bool:
    """A number may have been misheard and affirmed. A person whose lock is on keeps their number, because it is on that
    lock."""
    interlock = flow.state.interlock
    return not any(lock.owner == interlock.person.name for lock in interlock.locks)


def _help(flow: Flow, after: Interlock, word: str) -> None:
    help_ = _HELPS[min(after.failures, len(_HELPS)) - 1]
    if help_ == "need":
        flow.say(flow.question.asks(flow), "question")
        return
    need = flow.sentence(f"a-gate-{word}")
    if help_ != "gate-stop":
        flow.prompt(help_, "refusal", need=need)
        return
    flow.prompt(help_, "refusal", need=need)
    for owner, source in left_on(after.locks):
        flow.prompt("lock-left", "notice", owner=owner, source=source)


def _key(flow: Flow, utterance: Utterance, word: str) -> str:
    if onward(utterance):
        return "gate-closed" if word == "isolated" else "gate-closed-restore"
    if utterance.verdict == Verdict.ACCEPTED and utterance.sense == Sense.GATE and utterance.voice == "other":
        return "gate-other-voice"
    if utterance.sense == Sense.DENIAL and utterance.text in _DENIED and not _wrote_no_question(flow, utterance):
        return _DENIED[utterance.text]
    return _half(flow, utterance, word)


def _wrote_no_question(flow: Flow, utterance: Utterance) -> bool:
    """It sounded like a question, and what was written is none: 'It is isolated now.' The gate stays shut all the same."""
    written = len(tokens(utterance.words)) > 1 and not utterance.typed
    return utterance.text == Denial.QUESTION and written and not is_question(flow.state.language, utterance.words)


def _half(flow: Flow, utterance: Utterance, word: str) -> str:
    """Which half was heard, by the words: the word of the gate, or the digits; or a word too many besides both."""
    heard = (utterance.spoken or utterance.words).casefold().replace(",", " ").split()
    figures = any(is_figure(flow.state.language, one) for one in heard)
    spoken = flow.sentence(f"word-{word}").casefold() in heard
    if spoken and not figures:
        return "gate-no-figures"
    if figures and not spoken:
        return "gate-no-word"
    if not figures and not spoken and _other_words(flow, utterance):
        return "gate-not-phrase"
    own = tokens(flow.sentence(f"a-gate-{word}"))[:2]
    if figures and any(not is_figure(flow.state.language, one) and one not in own for one in tokens(" ".join(heard))):
        return "gate-wording"
    return "gate-again"


def _other_words(flow: Flow, utterance: Utterance) -> bool:
    """Something else was surely said: typed, accepted, or written down in plain words of the work."""
    if utterance.sense in (Sense.GATE, Sense.DENIAL):
        return False
    hints = flow.state.language.hints
    known, said = hints["plain"] | hints["replying"] | hints["trade"], tokens(utterance.words)
    return utterance.typed or utterance.verdict == Verdict.ACCEPTED or (bool(said) and all(one in known for one in said))


def asks_something(flow: Flow, utterance: Utterance, word: str) -> bool:
    """A question, as 'is it safe now', with nothing of the gate's phrase in it. What may deny it is a denial."""
    said = tokens(utterance.words)
    own = (flow.sentence(f"word-{word}").casefold(), *flow.state.language.hints["figures"])
    no_phrase = not any(one in own or is_figure(flow.state.language, one) for one in said)
    return utterance.sense == "" and len(said) > 1 and said[0] in flow.state.language.hints["asking"] and no_phrase


def asks_repeat(state: State, utterance: Utterance) -> bool:
    """'Can you say that again, please?', from no farther away than its person usually speaks: nobody else is asked that."""
    near = by_level(utterance.level, state.level) >= AWAY and utterance.voice != "other"
    return near and says_only(state.language, "say again", utterance.words)


def words_that_prove(flow: Flow, utterance: Utterance) -> tuple[str, ...]:
    """To whoever describes dead works, in words that cannot prove them so: those that can. () for anything else, and where
    the question in its shortest form says how to answer it ('affirm')."""
    now = flow.question.hears(flow)
    described = utterance.sense == "" or is_command(utterance, *ALWAYS)
    tells = now.proof and not now.also and described and len(tokens(utterance.words)) >= DESCRIBES
    return now.phrases if tells else ()


#: With fewer words nothing is described.
DESCRIBES = 4


def takes_back(flow: Flow, utterance: Utterance) -> bool:
    """'No, forty eight', where that is no answer: something said before was wrong."""
    said = tokens(utterance.words)
    begins = bool(said) and said[0] in flow.state.language.hints["correcting"]
    return begins and utterance.sense != Sense.GATE and any(is_figure(flow.state.language, one) for one in said[1:])


def is_figure(language: Language, word: str) -> bool:
    return word.isdigit() or any(meaning.value is not None for meaning in language.numbers([word]))


def _without_figures(flow: Flow, words: str) -> str:
    """What was heard at a gate, for the record that people read, without the digits, which are nobody's business."""
    return " ".join("…" if is_figure(flow.state.language, one.strip(",.")) else one for one in words.split())


def voice_doubted(flow: Flow, utterance: Utterance) -> bool:
    """The phrase was heard but the voice is in doubt: it is asked for once more. Doubt is never a reason to open. If the
    second time is in doubt too, the program says so, and the record has both."""
    right = utterance.verdict == Verdict.ACCEPTED and utterance.sense == Sense.GATE
    if not right or utterance.voice != "doubtful":
        return False
    if flow.state.voice_doubted:
        flow.prompt("gate-voice-doubted", "notice")
        return False
    flow.change(voice_doubted=True)
    flow.prompt("gate-voice-again", "question")
    return True


def phrase_of(flow: Flow, utterance: Utterance, owner: str) -> str:
    """Whose phrase it was, for the record. If no voice was compared (no voice witness, or too little speech), the record
    says unknown, and the visit says so once: then the number alone told who spoke."""
    if utterance.typed or utterance.voice:
        return flow.sentence("why-phrase", owner=owner)
    if not flow.state.voice_told:
        flow.change(voice_told=True)
        flow.heard(flow.sentence("voice-unknown"))
    return flow.sentence("why-phrase-unknown", owner=owner)
