"""What is in force: as the record holds it, and as a recogniser receives it."""

from __future__ import annotations

from handsfree.journal.events import ListenFor
from handsfree.language.meaning import GateAsked, Listening, NumberAsked


def listen_for(listening: Listening) -> ListenFor:
    number, gate = listening.number, listening.gate
    return ListenFor(
        phrases=listening.phrases,
        number_unit=None if number is None else number.unit,
        number_low=0.0 if number is None else number.low,
        number_high=0.0 if number is None else number.high,
        gate="" if gate is None else gate.word,
        lock=() if gate is None else gate.lock,
        digits=listening.digits,
        commands=listening.commands,
        note=listening.note,
        proof=listening.proof,
        asides=listening.asides,
        also=listening.also,
        gist=listening.gist,
        own_words=listening.own_words,
    )


def listening_of(event: ListenFor) -> Listening:
    """The other way round: what the recogniser receives."""
    return Listening(
        phrases=event.phrases,
        number=None if event.number_unit is None else NumberAsked(event.number_unit, event.number_low, event.number_high),
        gate=GateAsked(event.gate, event.lock) if event.gate else None,
        digits=event.digits,
        commands=event.commands,
        note=event.note,
        proof=event.proof,
        asides=event.asides,
        also=event.also,
        gist=event.gist,
        own_words=event.own_words,
    )
