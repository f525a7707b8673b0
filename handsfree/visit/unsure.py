"""Speech for the program that it is not sure of: it asks again, asks which of two, or reads back.

Nothing here acts on what was said. A bystander gets no answer; anything that may deny an isolation always gets one.
"""

from __future__ import annotations

from dataclasses import replace

from handsfree.dialogue.meant import AWAY, BAR, LIKELY, TOO_EARLY, Asked, by_level, by_time, meant, word_set
from handsfree.dialogue.question import Consequence
from handsfree.isolation.rules import Power
from handsfree.journal.events import Utterance
from handsfree.language import gist
from handsfree.language.base import Language
from handsfree.language.meaning import EMERGENCY, TOO_LOUD, WAYS_OUT, WHEN_ASKED, WITNESS_FAILED, Sense, Verdict
from handsfree.language.tokens import tokens
from handsfree.procedure import model
from handsfree.procedure.asides import aside_asked
from handsfree.visit import besides, echoes, helping
from handsfree.visit.flow import Flow
from handsfree.visit.persons import GATES, doubted
from handsfree.visit.plain import ways_of_yes
from handsfree.visit.readings import in_another_unit, keep_half
from handsfree.visit.refusals import asks_repeat, is_figure, takes_back, words_that_prove
from handsfree.visit.speaking import choices
from handsfree.visit.state import Awaiting, Overlay, State
from handsfree.visit.steps import present
from handsfree.visit.wishes import affirms, is_command, is_question, said_in, said_in_own, says_only

TRIES_BEFORE_HELP = 2
#: What was heard is read back there, and not yet taken.
READ_BACK = (Awaiting.LOCK_AFFIRM, Awaiting.READING_AFFIRM, Awaiting.DEAD_AFFIRM)
#: Causes that speaking better will not cure are named first.
TOLD = {TOO_LOUD: "microphone-loud", WITNESS_FAILED: "witness-failed"}


def answer_if_meant(flow: Flow, utterance: Utterance) -> None:
    if was_meant(flow, utterance):
        flow.change(unanswered=None)
        ask_again(flow, utterance)
    elif utterance.words:
        flow.change(unanswered=utterance)


def was_meant(flow: Flow, utterance: Utterance) -> bool:
    """Speech after a question that nobody surely understood: the technician gets an answer, a bystander none. Speech that
    came too early acts on nothing: its answer is the question that the program is saying, or asks again afterwards. Whoever
    said a gate's phrase into it is told, because they may take the gate for opened."""
    state = flow.state
    judged = utterance.engine or utterance.verdict == Verdict.ASKED_AGAIN  # the program's own voice no engine hears
    early = utterance.reason.startswith(TOO_EARLY)
    if not judged or state.overlay in (Overlay.STAND_BY, Overlay.NOTE):
        return judged and _phrase_while_standing_by(flow, utterance)
    if early and state.speaking:
        return _phrase_of_gate(flow, utterance)
    if (early and (utterance.sure >= SURE or may_deny(flow, utterance))) or _says_it_again(state, utterance):
        return True
    if (utterance.typed and _asked_of_page(flow, utterance)) or _told_in_own_words(flow, utterance):
        return True
    if besides.adds_complaint(flow, utterance) or asks_repeat(state, utterance):
        return True
    question = word_set((flow.question.asks(flow), *(step.say for step in (state.step,) if step is not None)))
    asked = Asked(question, _since(flow, utterance), expected(flow), state.level, asks_figures(flow))
    return meant(utterance, asked, state.language.hints) >= BAR


def _since(flow: Flow, utterance: Utterance) -> float:
    """Seconds from the end of the question."""
    return (utterance.started if utterance.ended else flow.now) - flow.state.heard_out


def _phrase_of_gate(flow: Flow, utterance: Utterance) -> bool:
    return flow.state.awaiting in GATES and utterance.sense == Sense.GATE and utterance.sure >= SURE


def _phrase_while_standing_by(flow: Flow, utterance: Utterance) -> bool:
    """The phrase of a gate, to a visit that stands by: its speaker may take the gate for opened."""
    state, said = flow.state, tokens(utterance.words)
    word = any(flow.sentence(f"word-{gate}").casefold() in said for gate in ("isolated", "clear"))
    near = by_level(utterance.level, state.level) >= AWAY
    return state.overlay is Overlay.STAND_BY and near and word and any(is_figure(state.language, one) for one in said)


def _says_it_again(state: State, utterance: Utterance) -> bool:
    """Somebody who got no answer says the same words again, soon and no farther away; a bystander seldom does."""
    before = state.unanswered
    if before is None or utterance.started - before.ended > SAYS_AGAIN or utterance.voice == "other":
        return False
    words, were = set(tokens(utterance.words)), set(tokens(before.words))
    near = by_level(utterance.level, state.level) >= AWAY
    return near and len(words) > 1 and 2 * len(words & were) >= len(words | were)


def may_deny(flow: Flow, utterance: Utterance) -> bool:
    """It may be the phrase, a proof, or a denial of one, while an isolation is asked for or relied on. A caution alone asks
    for none, nor does what is not guarded. Speech like a command that is not asked for is judged as everywhere, and so is
    speech whose level says that somebody else spoke."""
    if not guarded(flow):
        return False
    cautioned = flow.state.awaiting is Awaiting.UNDERSTOOD
    if utterance.sense in (Sense.DENIAL, Sense.GATE):
        return not cautioned or flow.state.interlock.power is not Power.LIVE
    named = utterance.sense != Sense.COMMAND or is_command(utterance, *WHEN_ASKED) or _in_time(flow, utterance)
    return named and not cautioned and by_level(utterance.level, flow.state.level) >= AWAY


def _in_time(flow: Flow, utterance: Utterance) -> bool:
    return utterance.sense == Sense.COMMAND and by_time(_since(flow, utterance), expected(flow)) > 0


def asks_figures(flow: Flow) -> bool:
    now = flow.question.hears(flow)
    return now.number is not None or now.gate is not None or now.digits is not None


def expected(flow: Flow) -> float:
    """Seconds within which an answer may be expected: the work of the step if its writer says how long, otherwise the time
    to look or act (common practice, no source)."""
    step = flow.state.step
    if step is not None and step.minutes is not None:
        return 60.0 * step.minutes
    return LOOKING if flow.question.stake is Consequence.ANSWER else DOING


#: Seconds after a question within which most people look and answer, and after work within which most are done.
LOOKING, DOING = 5.0, 45.0
#: Seconds after speech that got no answer, within which its speaker says it again (common practice, no source).
SAYS_AGAIN = 20.0
#: How sure of a word in force the recogniser must be, which came too early, for an answer whoever said it.
SURE = 0.5
#: How sure a call for help must be before the program asks about it. Set between two clips ('fine' heard as 'fire' with
#: 0.43, 'I am hurt' at 10 dB with 0.64), and measured on no others.
ALARM = 0.5


def propose(flow: Flow, utterance: Utterance) -> None:
    """Likely, not sure: read back. It counts once it is affirmed; another answer replaces it. A gate phrase is never
    proposed: the lock number is not said aloud, and no gate opens by 'affirm'."""
    over = flow.state.overlay not in (Overlay.NONE, Overlay.PROPOSAL) or asked_over_all(flow.state)
    over = over or besides.adds_complaint(flow, utterance)
    if over or utterance.sense in (Sense.GATE, Sense.DENIAL, Sense.DIGITS) or wrote_other_words(flow, utterance):
        ask_again(flow, utterance)
        return
    _read_back(flow, utterance)


def _read_back(flow: Flow, utterance: Utterance, beneath: Overlay = Overlay.NONE) -> None:
    before = flow.state.proposed if flow.state.overlay is Overlay.PROPOSAL else None
    now = utterance.sense, utterance.text, utterance.value
    flow.tone("not understood")
    flow.change(overlay=Overlay.PROPOSAL, proposed=utterance, beneath=beneath)
    if before is not None and (before.sense, before.text, before.value) == now:
        flow.say(helping.asked(flow), "readback")  # said again: then 'yes' is perhaps not heard of this voice
    else:
        flow.question.says(flow)


def wrote_other_words(flow: Flow, utterance: Utterance) -> bool:
    """The words written down are plain words of the work, and none of them is in the likely answer: 'Okay.' is not read
    back as 'Soaked?'. A written word that nobody knows ('Firm.' for 'affirm') says nothing."""
    hints = flow.state.language.hints
    written = tokens(utterance.words)
    known = hints["plain"] | hints["replying"] | hints["trade"]
    likely = set(tokens(utterance.spoken or utterance.text)) - hints["plain"]
    named = utterance.sense in (Sense.PHRASE, Sense.COMMAND)
    return named and bool(written) and bool(likely) and all(word in known for word in written) and not likely & set(written)


def ask_again(flow: Flow, utterance: Utterance) -> None:
    """Not sure enough: ask, with more help each time. Nothing is acted on."""
    state = flow.state
    if perhaps_power_on(flow, utterance):
        flow.tone("not understood")
        flow.heard(flow.sentence("power-doubt"))
        flow.say(flow.question.asks(flow), "question", cuttable=False)
        return
    if state.overlay in (Overlay.NOTE, Overlay.STAND_BY):
        if _phrase_while_standing_by(flow, utterance):
            flow.prompt("standing-by", "refusal")
        return
    for begins, sentence in TOLD.items():
        if utterance.reason.startswith(begins):
            flow.prompt(sentence, "notice")
    if state.awaiting in GATES and state.overlay is Overlay.NONE:
        doubted(flow, utterance)
        return
    if takes_back(flow, utterance) and state.awaiting in READ_BACK and state.overlay is Overlay.NONE:
        denied = replace(utterance, verdict=Verdict.ACCEPTED, sense=Sense.COMMAND, text="negative")
        flow.question.takes(flow, denied)  # nothing is taken: what was read back is asked for again
        return
    if (no := echoes.denied(flow, utterance)) is not None:
        _read_back(flow, no) if no.verdict == Verdict.PROPOSED else missed(flow)
        return
    if asked := _asked_of_page(flow, utterance):
        flow.say(asked, "help")
        return
    if besides.noted(flow, utterance):
        return
    own = _in_own_words(flow, utterance)
    if own is not utterance and own.verdict == Verdict.PROPOSED:
        _read_back(flow, own)
        return
    utterance = own
    flow.tone("not understood")
    first = state.tries + 1 < TRIES_BEFORE_HELP
    if first and utterance.sense == Sense.NUMBER and state.overlay is Overlay.NONE and in_another_unit(flow, utterance.unit):
        flow.change(tries=state.tries + 1)
    elif rivals := _rivals(flow, utterance):
        besides.keeps_both(flow, utterance)
        flow.change(tries=state.tries + 1)
        flow.prompt("which", "question", choices=choices(state.language, rivals))
    else:
        missed(flow, utterance)


def perhaps_called(flow: Flow, utterance: Utterance) -> Utterance | None:
    """Somebody may have said that they are hurt, or that there is fire, gas or a shock; or, while the visit stands by, that
    it is to go on. The program asks, whatever else is going on: 'Are you hurt?'. Who says it again has answered. It counts
    once it is affirmed, and opens nothing; if it was not that, a stand-by goes on."""
    state = flow.state
    if utterance.verdict == Verdict.ACCEPTED or state.overlay is Overlay.NOTE:
        return None
    name = _perhaps(flow, utterance)
    if not name:
        return None
    called = replace(utterance, verdict=Verdict.PROPOSED, sense=Sense.COMMAND, text=name)
    again = state.overlay is Overlay.PROPOSAL and state.proposed is not None and is_command(state.proposed, name)
    surer = name in EMERGENCY or utterance.sure >= SURE or says_only(state.language, name, utterance.words)
    return replace(called, verdict=Verdict.ACCEPTED) if again and surer else called


def _perhaps(flow: Flow, utterance: Utterance) -> str:
    state = flow.state
    early = utterance.reason.startswith(TOO_EARLY)
    if is_command(utterance, *EMERGENCY):
        if early and state.below is Overlay.STAND_BY:  # 'I'm hurt! I'm hurt!': the first was heard
            return ""
        if (early or utterance.verdict == Verdict.ASKED_AGAIN) and utterance.sure >= ALARM:
            return utterance.text
    if by_level(utterance.level, state.level) < AWAY:
        return ""
    for name in EMERGENCY:
        if said_in_own(state.language, name, utterance.words) or says_only(state.language, name, utterance.words):
            return name
    stands_by = state.below is Overlay.STAND_BY
    likely = is_command(utterance, "go ahead") and (utterance.sure >= LIKELY or utterance.verdict == Verdict.PROPOSED)
    return "go ahead" if stands_by and (likely or says_only(state.language, "go ahead", utterance.words)) else ""


def asks_back(flow: Flow, called: Utterance, utterance: Utterance) -> bool:
    """Reads back what `perhaps_called` found; False where it has been answered already."""
    if called.verdict == Verdict.ACCEPTED:
        return False
    if perhaps_power_on(flow, utterance):  # 'there is still power on it, it gave me a shock'
        flow.heard(flow.sentence("power-doubt"))
    _read_back(flow, called, Overlay.STAND_BY if flow.state.below is Overlay.STAND_BY else Overlay.NONE)
    return True


def calls_for_help(state: State, utterance: Utterance) -> bool:
    """Somebody is hurt, or there is fire, gas or a shock, or they affirm that they said so."""
    return is_command(utterance, *EMERGENCY) or (alarm_asked(state) and affirms(utterance))


def asked_over_all(state: State) -> bool:
    """The program is asking whether that was a call for help, or whether it is to go on from a stand-by: no other likely
    word replaces it, for 'yes' would then answer what lies below."""
    return alarm_asked(state) or (state.overlay is Overlay.PROPOSAL and state.beneath is not Overlay.NONE)


def alarm_asked(state: State) -> bool:
    """The program is asking whether that was a call for help."""
    proposed = state.proposed if state.overlay is Overlay.PROPOSAL else None
    return proposed is not None and is_command(proposed, *EMERGENCY)


def guarded(flow: Flow) -> bool:
    """The present question may prove or deny an isolation, even while something is read back."""
    return flow.questions[flow.state.below].stake is Consequence.GUARDED


def perhaps_power_on(flow: Flow, utterance: Utterance) -> bool:
    """It may have been 'power is on', alone or among other words, and somebody relies on the isolation. A gate has answers
    of its own to that."""
    state = flow.state
    if state.interlock.power is Power.LIVE or (state.awaiting is Awaiting.RESTORE_POWER and not state.overlay):
        return False
    if is_command(utterance, "power is on") and utterance.sure >= LIKELY:
        return True
    return state.awaiting not in GATES and said_in(state.language, "power is on", utterance.words)


def _asked_of_page(flow: Flow, utterance: Utterance) -> str:
    """The page's answer to a question in other words than it teaches; '' if none was asked. Never if the words may deny an
    isolation."""
    asides = flow.question.stake is not Consequence.GUARDED and flow.state.overlay is Overlay.NONE and flow.state.book.asides
    if not asides or (utterance.sense == Sense.DENIAL and not utterance.typed):
        return ""
    question = aside_asked(asides, utterance.words, flow.state.language)
    return "" if question is None else asides[question]


def _in_own_words(flow: Flow, utterance: Utterance) -> Utterance:
    """'The beer is lukewarm' at "What is wrong?": read back as what it means; if it means two things, with both as
    rivals."""
    state = flow.state
    if state.overlay is not Overlay.NONE or flow.question.stake is Consequence.GUARDED:
        return utterance  # what may prove dead works, or deny it, counts in its own words or not at all
    told = () if utterance.typed else gist.by_gist(state.language, utterance.words, flow.question.hears(flow))
    one = told[0].text if len(told) == 1 else _named_in(flow, utterance)
    if one:
        return replace(utterance, verdict=Verdict.PROPOSED, sense=Sense.PHRASE, text=one, value=None, unit=None)
    return replace(utterance, rivals=tuple((str(one.sense), one.text, None) for one in told)) if told else utterance


def _named_in(flow: Flow, utterance: Utterance) -> str:
    """The one answer whose own words are in the sentence: 'holds all the way round' -> 'holds fast'; or what the yes or no
    stands for that begins it: 'no, they were all fine'. '' for none or two, where the sentence denies or asks, and where
    something else was likelier by its sound."""
    step, language, said = flow.state.step, flow.state.language, tokens(utterance.words)
    if flow.state.awaiting is not Awaiting.ANSWER or not isinstance(step, model.Ask) or step.gist or len(said) < 2:
        return ""
    if is_question(language, utterance.words):
        return ""
    own = {each.say: word_set((each.say, *each.also)) - language.hints["plain"] for each in step.answers}
    named = {say for say, mine in own.items()
             if set(said) & mine.difference(*(other for name, other in own.items() if name != say))}  # fmt: skip
    first = {each.say for each in step.answers if each.stands_for and said[0] in language.commands[each.stands_for]}
    denies = bool(language.hints["denying"] & set(said[1:] if first else said))
    either = named | first
    ways = {way for each in step.answers if each.say in either for way in (each.say, *each.also)}
    likelier = utterance.verdict != Verdict.NOT_FOR_ME and utterance.sense == Sense.PHRASE and utterance.text not in ways
    return either.pop() if len(either) == 1 and not denies and not likelier else ""


def _told_in_own_words(flow: Flow, utterance: Utterance) -> bool:
    """A long sentence that answers a question for one's own words, unless its level says that somebody else spoke."""
    now = flow.question.hears(flow)
    near = by_level(utterance.level, flow.state.level) >= AWAY
    return bool(now.gist) and near and bool(gist.by_gist(flow.state.language, utterance.words, now))


def missed(flow: Flow, utterance: Utterance | None = None) -> None:
    """The question in its shortest form; if that did not help, what may be said, and then every third time."""
    flow.change(tries=flow.state.tries + 1)
    if utterance is not None and flow.state.awaiting is Awaiting.READING:
        keep_half(flow, utterance)
    if utterance is not None and flow.state.asked is Awaiting.UNDERSTOOD and _asks(flow, utterance):
        flow.again = True  # 'what was that?': a caution is answered by the caution
        present(flow)
        return
    if flow.state.tries > TRIES_BEFORE_HELP and flow.question.hears(flow).proof:
        flow.say(f"{flow.question.asks(flow)} {flow.sentence('or-type')}", "question")
        return
    by_yes = flow.question.mays(flow) == ways_of_yes(flow)  # 'that is right' is heard of voices whose 'yes' is not
    if flow.state.tries % 3 in ((1, TRIES_BEFORE_HELP) if by_yes else (TRIES_BEFORE_HELP,)):
        flow.say(helping.asked(flow), "question")
        return
    if utterance is not None and (words := words_that_prove(flow, utterance)):
        flow.prompt("proof-words", "question", choices=choices(flow.state.language, words))
        return
    more = ""
    if utterance is not None and takes_back(flow, utterance) and flow.state.trail:
        more = f" {flow.sentence('say-correction')}"
    elif utterance is not None and besides.names_no_complaint(flow, utterance):
        more = f" {flow.sentence('else-later')}"
    elif utterance is not None and no_such_thing(flow, utterance):
        more = f" {flow.sentence('ways-out')}"
    flow.say(f"{flow.question.asks(flow)}{more}", "question")


def _asks(flow: Flow, utterance: Utterance) -> bool:
    said = tokens(utterance.words)
    asks = len(said) > 1 and said[0] in flow.state.language.hints["asking"]
    return asks or asks_repeat(flow.state, utterance)


def no_such_thing(flow: Flow, utterance: Utterance) -> bool:
    """'There is no plate': a question that offers a way out says so."""
    now = flow.question.hears(flow)
    ways = set(WAYS_OUT) <= set(now.also) and not now.gist
    return ways and bool(flow.state.language.hints["denying"] & set(tokens(utterance.words)))


def _rivals(flow: Flow, utterance: Utterance) -> list[str]:
    """'Fifteen or fifty?': a near tie is asked about, never decided for the first; only among answers of this question."""
    language, now = flow.state.language, flow.question.hears(flow)
    numbers = [value for sense, _, value in utterance.rivals if sense == Sense.NUMBER and value is not None]
    if len(numbers) > 1:
        return [_apart(language, number) for number in numbers]
    names = [text for sense, text, _ in utterance.rivals if sense == Sense.PHRASE and text in now.phrases]
    return list(dict.fromkeys(names)) if len(set(names)) > 1 else []


def _apart(language: Language, number: float) -> str:
    """Both ways, if one is easily taken for the other."""
    words = language.say_number(number)
    return f"{words}, {language.say_digits(number)}" if language.needs_both_ways(number) else words
