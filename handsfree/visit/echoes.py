"""A yes or a no with an answer behind it: 'yes, freezing' at "Freezing?", 'no, that's it' at "Anything else?".

Rules of this file:

- Both halves must say the same, or nothing is taken and the question is asked again.
- At a read-back 'yes' with the words read back is that yes, and 'no' with another answer is that answer.
- Nothing of it is in force at a gate or a proof: there the language has no such meaning (`Listening.own_words`).
"""

from __future__ import annotations

from dataclasses import replace

from handsfree.dialogue.question import Consequence
from handsfree.journal.events import Utterance
from handsfree.language.meaning import EMERGENCY, Listening, Sense, Verdict
from handsfree.language.tokens import tokens
from handsfree.language.understanding import yes_or_no_before
from handsfree.procedure import model
from handsfree.visit.flow import Flow
from handsfree.visit.state import Awaiting, Overlay
from handsfree.visit.wishes import is_command

_ANY = Listening(also=("yes",), own_words=True)


def settled(flow: Flow, utterance: Utterance) -> Utterance | None:
    """What the question is given; None where the two halves contradict each other."""
    lead = _lead(flow, utterance)
    if not lead:
        return utterance
    asked = _read_back(flow)
    if asked is None:
        stands_for = next((each.stands_for for each in _answers(flow) if _names(each, utterance.text)), None)
        return utterance if stands_for == lead else None
    sense, text, value = asked
    alike = utterance.value == value if sense == Sense.NUMBER else _same(flow, utterance.text, text)
    same = alike and utterance.sense == sense
    if same is not (lead == "yes"):
        return None
    return replace(utterance, sense=Sense.COMMAND, text="yes", value=None, unit=None) if same else utterance


def denied(flow: Flow, utterance: Utterance) -> Utterance | None:
    """What was not surely heard and begins with a no, at a read-back: that is taken away, and the other answer is to be read
    back, or nothing is left (`negative`). None for anything else; a call for help is taken away by a sure no alone."""
    state, said = flow.state, tokens(utterance.words)
    proposed = state.proposed if state.overlay is Overlay.PROPOSAL and state.beneath is Overlay.NONE else None
    first, _ = yes_or_no_before(said, state.language.commands, state.language.own_words)
    if proposed is None or is_command(proposed, *EMERGENCY) or utterance.sense == Sense.GATE or first != "no":
        return None
    if flow.questions[state.below].stake is Consequence.GUARDED:
        return None
    found = state.language.understand(utterance.words, replace(flow.question.hears(flow), own_words=True))
    other = next((one for one in found if one.sense == Sense.PHRASE and not _same(flow, one.text, proposed.text)), None)
    flow.change(overlay=Overlay.NONE, proposed=None)
    if other is None:
        return replace(utterance, sense=Sense.COMMAND, text="negative")
    return replace(utterance, verdict=Verdict.PROPOSED, sense=Sense.PHRASE, text=other.text, value=None, unit=None)


def _lead(flow: Flow, utterance: Utterance) -> str:
    """'yes', 'no' or '': what stands before the answer. 'No ice' may be an answer itself."""
    language = flow.state.language
    if utterance.sense not in (Sense.PHRASE, Sense.NUMBER):
        return ""
    said = language.own_words.bare(tokens(utterance.spoken), _ANY, {})
    name, _ = yes_or_no_before(said, language.commands, language.own_words)
    return "" if not name or utterance.spoken in language.forms(flow.question.hears(flow)) else name


def _read_back(flow: Flow) -> tuple[str, str, float | None] | None:
    """Sense, text and number of what yes or no is asked about; None where the question itself is."""
    state = flow.state
    if state.overlay is Overlay.PROPOSAL and state.proposed is not None:
        return state.proposed.sense, state.proposed.text, state.proposed.value
    if state.overlay is Overlay.NONE and state.awaiting is Awaiting.READING_AFFIRM and state.pending is not None:
        return Sense.NUMBER, "", state.pending.given
    if state.overlay is Overlay.NONE and state.awaiting is Awaiting.ALSO_SAID:
        return Sense.PHRASE, state.besides[0][0], None
    return None


def _answers(flow: Flow) -> tuple[model.Answer, ...]:
    return tuple(flow.state.step.answers) if isinstance(flow.state.step, model.Ask) else ()


def _names(answer: model.Answer, text: str) -> bool:
    return text in (answer.say, *answer.also)


def _same(flow: Flow, one: str, other: str) -> bool:
    return one == other or any(_names(each, one) and _names(each, other) for each in _answers(flow))
