"""A complaint that is said while another is looked at: it is kept, and taken up when the visit asks what else is wrong.

Rules of this file:

- It answers nothing. At a gate and at a proof nothing is kept: what is said there may be a denial of it. Nor is what the
  question itself may be answered with: 'and it is wet' at "Dry or wet?".
- 'It hums too' may mean that something still has power: where somebody relies on an isolation, the program says how to deny
  it whenever it keeps something.
- 'Anything else?' is the last question of the main procedure that takes a complaint in people's own words. Before it is
  asked, each complaint that was kept is offered by itself, the oldest first; what no way leads to is said once.
- The record has all that was kept, in the words it came in (without the number on a lock), and what became of it.
"""

from __future__ import annotations

from handsfree.dialogue.meant import AWAY, by_level, word_set
from handsfree.dialogue.question import Consequence
from handsfree.isolation.rules import Power
from handsfree.journal.events import AlsoSaid, Utterance
from handsfree.journal.private import without_figures
from handsfree.language import gist
from handsfree.language.meaning import Sense
from handsfree.language.tokens import tokens
from handsfree.procedure import model
from handsfree.visit import places
from handsfree.visit.flow import Flow
from handsfree.visit.state import Awaiting, Besides, Frame, Overlay
from handsfree.visit.wishes import bare_words, is_question

#: With fewer words nothing is said that could be kept in its own words.
FEWEST = 4


def what_else(flow: Flow) -> model.Ask | None:
    """The question that takes up what was kept; None if the visit asks none, or none any more."""
    state = flow.state
    main = state.book.main
    later = [step for step in state.book.procedures[main].steps if isinstance(step, model.Ask) and step.gist]
    if len(later) < 2 or not state.frames:
        return None
    at = places.number_of(state.book, (Frame(main, later[-1].id),))
    return later[-1] if places.number_of(state.book, state.frames[:1]) <= at else None


def names_no_complaint(flow: Flow, utterance: Utterance) -> bool:
    """'What else', before it is asked."""
    later = what_else(flow)
    asked = later is not None and not flow.question.hears(flow).gist
    return asked and _has(utterance.words, flow.state.language.hints["what_else"])


def kept_of(flow: Flow, utterance: Utterance) -> tuple[Besides, ...]:
    """What a sentence adds to the complaint; () for nothing."""
    later, state = what_else(flow), flow.state
    stake = flow.questions[state.below].stake
    guarded = stake is Consequence.GUARDED and state.awaiting is not Awaiting.UNDERSTOOD
    over = state.overlay not in (Overlay.NONE, Overlay.PROPOSAL)
    far = utterance.voice == "other" or by_level(utterance.level, state.level) < AWAY
    if later is None or guarded or far or over or flow.question.hears(flow).gist or not _adds(flow, utterance.words):
        return ()
    told = gist.told(utterance.words, state.language.code, later.gist)
    if _asked_for(flow, utterance, later.gist, frozenset(told)):
        return ()
    if told:
        ways, known = _ways(flow), _known(flow)
        return tuple((one if one in ways else "", utterance.words) for one in told if one not in known)
    fine = gist.nothing_wrong(utterance.words, state.language.code, later.gist)
    return (("", utterance.words),) if not fine and _of_the_work(flow, utterance.words) else ()


def _asked_for(flow: Flow, utterance: Utterance, lexicon: str, told: frozenset[str]) -> bool:
    """A number where one is asked for, or what means the same as an answer of the question."""
    now, code = flow.questions[flow.state.below].hears(flow), flow.state.language.code
    figure = utterance.sense == Sense.NUMBER and now.number is not None
    return figure or any(told & set(gist.told(way, code, lexicon)) for way in now.phrases)


def _ways(flow: Flow) -> frozenset[str]:
    """The complaints that 'anything else?' leads to a way for."""
    later = what_else(flow)
    return frozenset(() if later is None else (answer.say for answer in later.answers))


def _known(flow: Flow) -> frozenset[str]:
    """The complaints that were given as answers."""
    state, asking = flow.state, _asking(flow)
    given = ((path, step, result) for (path, step), result in state.remembered.items())
    return frozenset(result.text for path, step, result in given if path == (state.book.main,) and step in asking)


def _asking(flow: Flow) -> frozenset[str]:
    """The steps of the main procedure that ask for a complaint: in own words, or with no answer that is none."""
    asks = [step for step in flow.state.book.procedures[flow.state.book.main].steps if isinstance(step, model.Ask)]
    names = {answer.say for step in asks if step.gist for answer in step.answers}
    return frozenset(step.id for step in asks if names.issuperset(answer.say for answer in step.answers))


def _adds(flow: Flow, words: str) -> bool:
    """'… too', 'also …', 'and …'. 'Too warm' is no addition, nor is a question."""
    hints, said = flow.state.language.hints, bare_words(words)
    if _has(words, hints["what_else"]):
        return True
    goes_on = any(said.startswith(f"{way} ") for way in hints["going_on"])
    adds = goes_on or _has(words, hints["besides"]) or any(said.endswith(f" {way}") for way in hints["too"])
    return adds and not is_question(flow.state.language, words)


def _has(words: str, ways: frozenset[str]) -> bool:
    said = f" {bare_words(words)} "
    return any(f" {way} " in said for way in ways)


def _of_the_work(flow: Flow, words: str) -> bool:
    """'The coin slot is jammed as well': of the trade, and nothing that the question asks."""
    hints, said = flow.state.language.hints, tokens(words)
    step = flow.state.step
    asked = word_set((flow.question.asks(flow), *((step.say,) if step is not None else ()))) - hints["plain"]
    marked = _has(words, hints["besides"] | hints["what_else"])
    return marked and len(said) >= FEWEST and bool(hints["trade"] & set(said)) and not asked & set(said)


def adds_complaint(flow: Flow, utterance: Utterance) -> bool:
    """So plainly that its speaker is surely meant: with a complaint that the lexicon knows."""
    return any(means for means, _ in kept_of(flow, utterance))


def noted(flow: Flow, utterance: Utterance) -> bool:
    """Keeps what the sentence adds and says so; then the question stands as it did. False if it adds nothing."""
    kept = kept_of(flow, utterance)
    if not kept:
        return False
    _keep(flow, kept)
    flow.change(just_kept=tuple(one for one in flow.state.besides if any(_same(one, said) for said in _safe(kept))))
    what = _named(flow, kept)
    flow.tone("heard")
    flow.heard(flow.sentence("also-noted", what=what) if what else flow.sentence("noted"))
    if flow.state.interlock.power is not Power.LIVE:
        flow.heard(flow.sentence("power-doubt"))
    if not flow.state.waiting:
        flow.say(flow.question.asks(flow), "question")
    return True


def _named(flow: Flow, kept: tuple[Besides, ...]) -> str:
    return f" {flow.sentence('and')} ".join(means for means, _ in kept if means)


def struck(flow: Flow) -> bool:
    """'Forget that', where something has just been kept: it is not. False where nothing has."""
    kept = flow.state.just_kept
    for one in kept:
        _let_go(flow, one, "left")
    flow.change(just_kept=())
    if kept:
        flow.heard(flow.sentence("also-struck", what=_named(flow, kept) or kept[0][1].rstrip(" .,!?")))
    return bool(kept)


def keeps_both(flow: Flow, utterance: Utterance) -> None:
    """Of 'warm, and it rattles' one is looked at first; the other is not lost."""
    words, here = utterance.spoken or utterance.words, flow.state.step
    if what_else(flow) is None or not isinstance(here, model.Ask) or not _has(words, flow.state.language.hints["going_on"]):
        return
    told = gist.told(words, flow.state.language.code, here.gist) if here.gist else ()
    if len(told) > 1:
        _keep(flow, tuple((one, words) for one in told if one in _ways(flow)))


def _keep(flow: Flow, kept: tuple[Besides, ...]) -> None:
    """Once each, whatever it was called; without what may be the number on a lock, because it is said aloud again."""
    for new in _safe(kept):
        if not any(_same(one, new) for one in flow.state.besides):
            flow.change(besides=(*flow.state.besides, new))
            flow.emit(AlsoSaid(*new, "noted", flow.place))


def _safe(kept: tuple[Besides, ...]) -> tuple[Besides, ...]:
    return tuple((means, without_figures(words, least=2)) for means, words in kept)


def _same(one: Besides, other: Besides) -> bool:
    return one[0] == other[0] if other[0] else one[1] == other[1]


def _let_go(flow: Flow, kept: Besides, now: str) -> None:
    flow.change(besides=tuple(one for one in flow.state.besides if one != kept))
    flow.emit(AlsoSaid(*kept, now, flow.place))


def taken_up(flow: Flow, answer: model.Answer) -> None:
    """It is looked at now, whether it was offered or named; after 'nothing else' nothing is."""
    if flow.state.path == (flow.state.book.main,) and flow.state.frames[-1].step in _asking(flow):
        ends = flow.state.step is what_else(flow) and answer.stands_for == "no"
        for kept in flow.state.besides:
            if ends or kept[0] == answer.say:
                _let_go(flow, kept, "left" if ends else "next")


def left(flow: Flow) -> None:
    """The one that was offered is not wanted."""
    _let_go(flow, flow.state.besides[0], "left")


def passed(flow: Flow, step: model.Step) -> None:
    """'Anything else?' is not asked: what was kept is said, and stays in the record."""
    if step is what_else(flow):
        for kept in flow.state.besides:
            _tell(flow, kept)


def _tell(flow: Flow, kept: Besides) -> None:
    _let_go(flow, kept, "told")
    flow.heard(flow.sentence("also-told", what=kept[0] or kept[1].rstrip(" .,!?")))


def asked_first(flow: Flow, step: model.Ask) -> Awaiting:
    """What is asked at this step: a complaint that was kept, or the step's own question."""
    if step is not what_else(flow):
        return Awaiting.ANSWER
    for kept in flow.state.besides:
        if not kept[0]:
            _tell(flow, kept)
    return Awaiting.ALSO_SAID if flow.state.besides else Awaiting.ANSWER
