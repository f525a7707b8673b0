"""What the program says for the person rather than for the procedure: what is asked here, what may be said, whom to call."""

from __future__ import annotations

from collections.abc import Callable

from handsfree.isolation.rules import Power, SourceEvent
from handsfree.journal.events import Alarm, SetForm, Utterance
from handsfree.language.meaning import ALWAYS, EMERGENCY
from handsfree.language.tokens import tokens
from handsfree.visit.flow import Flow
from handsfree.visit.movement import say_cleared
from handsfree.visit.plain import called
from handsfree.visit.speaking import choices
from handsfree.visit.state import Form, Overlay

#: What is said for each, by its key: the safe act and the call. Common practice, no source; local rules come first.
ALARMS = dict(zip(EMERGENCY, ("alarm-hurt", "alarm-fire", "alarm-shock", "alarm-gas"), strict=True))
_SHOCK = "i got a shock"


def asked(flow: Flow) -> str:
    """What is asked here, in its shortest form, and up to three things one may say. Nothing is said twice: after 'affirm or
    negative' it explains what these mean."""
    asks, mays = flow.question.asks(flow), flow.question.mays(flow)
    if mays == called("affirm", "negative")(flow) and set(map(str.casefold, mays)) <= set(tokens(asks)):
        return f"{asks} {flow.sentence('affirm-means')}"
    new = tuple(one for one in mays if not set(tokens(one)) <= set(tokens(asks)))
    key = "asks-mays" if new == mays else "asks-also"
    return flow.sentence(key, asks=asks, choices=choices(flow.state.language, new)) if new else asks


def helps(flow: Flow) -> None:
    flow.say(f"{asked(flow)} {flow.sentence('help-hurt')}", "help")


def can_say(flow: Flow) -> None:
    """Everything that may be said here: this question's own answers, then what may always be said."""
    state, now = flow.state, flow.question.hears(flow)
    ever = tuple(state.language.commands[name][0] for name in ALWAYS if name in now.named)
    own = (
        *now.phrases,
        *((flow.sentence("a-lock-number"),) if now.digits is not None else ()),
        *((flow.sentence("a-reading"),) if now.number is not None else ()),
        *((flow.sentence(f"a-gate-{now.gate.word}"),) if now.gate is not None else ()),
        *(state.language.commands[name][0] for name in now.named if name not in ALWAYS),
    )
    for key, words in (("can-say", own), ("can-always", ever)):
        if words:
            flow.prompt(key, "help", choices=choices(state.language, words))


def form(which: Form) -> Callable[[Flow], None]:
    def change(flow: Flow) -> None:
        flow.change(form=which)
        flow.emit(SetForm(which))
        flow.prompt(f"form-{which}", "answer")

    return change


def alarm(flow: Flow, utterance: Utterance) -> None:
    """Hurt, fire, shock or gas: first the safe act and the call, then the present isolation. The visit stands by. A shock
    says that something counted as dead and was not: no isolation lasts beyond it; what to do next waits for 'go ahead'.
    Nothing else said here is a reason to change one."""
    state = flow.state
    power = state.interlock.power
    flow.emit(Alarm(utterance.text, utterance.words or utterance.spoken, str(power), flow.place))
    call = state.emergency or flow.sentence("emergency-call")
    cleared = utterance.text == _SHOCK and power is not Power.LIVE
    isolation = flow.sentence(f"isolation-{Power.LIVE if cleared else power}")
    flow.prompt(ALARMS[utterance.text], "caution", cuttable=False, call=call, isolation=isolation)
    if cleared:
        say_cleared(flow, SourceEvent.POWER_IS_ON, flow.sentence("why-shock"))
    flow.change(overlay=Overlay.STAND_BY, halted=cleared or state.halted)
