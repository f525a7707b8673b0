"""What README, help and handbook promise may be said, said at every kind of question: never met with silence.

The promises are read from the texts themselves, so that one more of them is one more to keep."""

from __future__ import annotations

import copy
import re
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from handsfree.dialogue.question import Consequence
from handsfree.journal.events import Alarm, Happening, PromptEnded, Resumed, Utterance
from handsfree.language.meaning import ALWAYS, EMERGENCY, WHEN_ASKED, Listening, Sense, Verdict
from handsfree.language.tokens import capital
from handsfree.visit.questions import QUESTIONS, flow_of
from handsfree.visit.state import Awaiting, Overlay
from tests.isolation.test_finds import CHARGE, CLEARS, LIFT, OPENS, TWO
from tests.visit import data
from tests.visit.scenes import ENGLISH, Scene, book

ROOT = Path(__file__).parents[2]
HANDBOOK = ROOT / "handsfree" / "handbook" / "pages" / "technician.md"
Kind = Awaiting | Overlay


@cache
def promised() -> tuple[str, ...]:
    """What README's part for the technician has in italics, what stands as code in the handbook's list of what to notice,
    and what 'what can i say' lists at every moment."""
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    part = readme[readme.index("## For the technician") : readme.index("## For the supervisor")]
    lists = [each for run in re.findall(r"(?<!\*)\*([^*]+)\*(?!\*)", part) for each in run.replace("\n", " ").split(", ")]
    page = HANDBOOK.read_text(encoding="utf-8")
    lists += re.findall(r"`([^`]+)`", page[page.index("What to notice") : page.index("## With the voice")])
    sayings = [each.strip().casefold() for each in lists]
    kept = [each for each in sayings if re.fullmatch(r"[a-z' ]{2,24}", each)]
    return tuple(dict.fromkeys((*kept, *(ENGLISH.commands[name][0] for name in ALWAYS))))


RAISED = """
procedure: raised
title: A raised load
steps:
  - {id: warn, kind: caution, level: warning, hazards: [gravity], say: It can fall.}
  - {id: down, kind: isolate, say: The load., do: [Block it.], sources: [gravity]}
  - {id: rests, kind: prove, method: rests, source: gravity, say: Look at the blocks.}
  - {id: under, kind: instruct, hazards: [gravity], say: Reach under it.}
  - {id: back, kind: restore, say: Back., checks: [Tools out., Covers on.], power: Lift it.}
  - {id: done, kind: end, outcome: done, say: Done.}
"""
#: Procedure -> what is said, one after the other.
DEAD = ("affirm", OPENS, "nothing runs", "affirm")
MINE = ("four two", "affirm", *DEAD)
WALKS: tuple[tuple[str, tuple[str | Happening, ...]], ...] = (
    (data.WHOLE, ("next step", "cool", "two hundred", "forty", *MINE, "understood", "next step", "next step", "affirm",
                  "next step", "next step", "next step", "next step", CLEARS)),
    (data.METER, ("four two", "affirm", OPENS, "affirm", "zero", "affirm", "affirm")),
    (TWO, ("understood", "four two", "affirm", "affirm", OPENS, "affirm", OPENS, "nothing runs", "affirm", "power is on")),
    (RAISED, ("understood", "four two", "affirm", OPENS)),
    (CHARGE, ("understood", "four two", "affirm", OPENS, "next step")),
    (LIFT, (*MINE, "understood", "five six", "affirm", "isolated lock five six", "i am leaving")),
    (LIFT.replace("people: 2, ", ""), (
        *MINE, "understood", "stop the visit", "affirm", "affirm", Resumed("stopped"), "four three", "the first person",
        *MINE,
        "next step", Resumed("interrupted", technician="B. Alder (invented)"), "five six", "affirm", "affirm",
        "isolated lock five six", "nothing runs", "affirm", "next step", "next step", "next step", "next step")),
    (data.BESIDES, ("too warm", "it is also noisy", "next step")),
    (data.WHOLE, ("stand by", "go ahead", "stop the visit", "negative", "next step",
                  Utterance(Verdict.PROPOSED, Sense.PHRASE, "warm", words="war", spoken="warm", engine="t", sure=0.6))),
)  # fmt: skip
#: Where nobody is asked anything, or is listened to for other things alone.
QUIET = (Awaiting.WAIT, Overlay.STAND_BY)
#: Nothing is asked before the visit has begun; a note, or an answer to the desk, is one, whatever it says (`test_who`
#: has what it may hide).
NOT_HERE = (Awaiting.NOTHING, Overlay.NOTE, Awaiting.DESK_ASKS)
AT_STAND_BY = ("go ahead", "help", "power is on", *EMERGENCY)


def kind_of(scene: Scene) -> Kind:
    return scene.state.overlay or scene.state.awaiting


class Unwatched:
    """In place of the oracle, which knows one source and one person."""

    lock: tuple[str, ...] = ()
    offered: tuple[str, ...] = ()

    def hears(self, event: object) -> None: ...

    def sees(self, effect: object, the_book: object) -> None: ...


@cache
def every_kind() -> dict[Kind, Scene]:
    found: dict[Kind, Scene] = {}
    for text, lines in WALKS:
        scene = Scene(book(text))
        scene.oracle = Unwatched()  # type: ignore[assignment]  # a stand-in
        scene.open(lock="")
        for line in ("", *lines):
            if isinstance(line, str):
                scene.one(line)
            else:
                scene.tell(line)
            found.setdefault(kind_of(scene), copy.copy(scene))
    return found


def said_here(kind: Kind, words: str) -> Scene:
    here = copy.copy(every_kind()[kind])
    here.record = list(here.record)
    here.tell(PromptEnded(here.state.said - 1))
    here.one(words)
    return here


def means(words: str) -> str:
    """The command by its name; '' where it is none."""
    (found, *_) = ENGLISH.understand(words, Listening(also=WHEN_ASKED, own_words=True)) or (None,)
    return found.text if found is not None and found.sense is Sense.COMMAND else ""


def test_the_walks_come_to_every_kind_of_question() -> None:
    assert set(every_kind()) | set(NOT_HERE) == set(QUESTIONS)


def test_the_promises_are_found_and_each_is_a_command_by_its_name() -> None:
    assert len(promised()) > 30
    of_the_page = {"where is the relay", "what colour goes to terminal two", "how do i show the setting"}
    of_a_proof = {"nothing runs", "it runs"}  # answers there alone
    assert {each for each in promised() if not means(each)} <= of_the_page | of_a_proof  # `test_page_anywhere` has the page


@pytest.mark.parametrize("kind", [kind for kind in QUESTIONS if kind not in (*NOT_HERE, *QUIET)])
def test_at_a_question_every_saying_gets_an_answer(kind: Kind) -> None:
    """'Stop' gets the silence that it asks for."""
    silent = [each for each in promised() if not said_here(kind, each).said]
    assert silent == [each for each in promised() if means(each) == "stop"]


@pytest.mark.parametrize("kind", QUIET)
def test_where_nothing_is_asked_what_always_works_gets_an_answer(kind: Kind) -> None:
    always = AT_STAND_BY if kind is Overlay.STAND_BY else (*(each for each in ALWAYS if each != "stop"), "done")
    assert [each for each in promised() if means(each) in always and not said_here(kind, each).said] == []


@pytest.mark.parametrize("kind", [kind for kind, row in QUESTIONS.items() if row.stake is Consequence.GUARDED])
@pytest.mark.parametrize("words", ["yes", "done", "ready", "got it", "can't tell", "not fitted", "skip it"])
def test_at_a_gate_a_proof_or_a_caution_they_never_count(kind: Kind, words: str) -> None:
    before, after = every_kind()[kind].state, said_here(kind, words).state
    assert (before.frames, before.awaiting, before.interlock.holds) == (after.frames, after.awaiting, after.interlock.holds)


@pytest.mark.parametrize("kind", [kind for kind in QUESTIONS if kind not in NOT_HERE])
def test_hurt_fire_shock_and_gas_are_heard_at_every_question(kind: Kind) -> None:
    for words in EMERGENCY:
        assert any(isinstance(effect, Alarm) for effect in said_here(kind, words).last), words


@pytest.mark.parametrize("kind", [kind for kind in QUESTIONS if kind not in (*NOT_HERE, Overlay.STAND_BY)])
def test_help_says_what_is_asked_and_every_saying_that_it_offers_is_taken(kind: Kind) -> None:
    here = every_kind()[kind]
    turn = flow_of(here.state)
    assert capital(turn.question.asks(turn)) in said_here(kind, "help").said or kind is Awaiting.WAIT  # the seconds go on
    described = {ENGLISH.prompt(key) for key in ("a-reading", "a-lock-number", "a-gate-isolated", "a-gate-clear")}
    refused = {"negative", "no"} if kind is Overlay.PROPOSAL else set()  # what is asked is asked again
    for offered in set(turn.question.mays(turn)) - described:
        assert said_here(kind, offered).state.tries == int(offered in refused), f"help offers '{offered}'"


@pytest.mark.parametrize("name", ["how long", "say again", "next step", "stand by", "where am i", "go back"])
def test_a_phrase_that_was_read_back_and_affirmed_is_done(name: str) -> None:
    likely = Utterance(Verdict.PROPOSED, Sense.COMMAND, name, words=name, spoken=name, engine="t", sure=0.6)
    asked, plain = copy.copy(every_kind()[Awaiting.ANSWER]), said_here(Awaiting.ANSWER, name)
    asked.record = list(asked.record)
    asked.tell(likely)
    assert asked.said == f"{capital(name)}?"
    asked.one("affirm")
    assert (asked.state.awaiting, asked.state.overlay) == (plain.state.awaiting, plain.state.overlay)
    assert asked.said.split()[:3] == plain.said.split()[:3]


@pytest.mark.parametrize("kind", [kind for kind in QUESTIONS if kind not in NOT_HERE])
def test_a_call_for_help_that_was_not_surely_heard_is_asked_about_and_opens_nothing(kind: Kind) -> None:
    here = copy.copy(every_kind()[kind])
    here.record = list(here.record)
    perhaps = Utterance(Verdict.ASKED_AGAIN, Sense.COMMAND, "i am hurt", words="I am dead.", engine="t", sure=0.64)
    here.tell(perhaps)
    assert here.said == "Are you hurt?"
    assert here.state.interlock == every_kind()[kind].state.interlock
    here.one("affirm")
    assert any(isinstance(effect, Alarm) for effect in here.last)
    here.tell(replace(perhaps, sure=0.4))
    assert here.said != "Are you hurt?"


HURT = Utterance(Verdict.ASKED_AGAIN, Sense.COMMAND, "i am hurt", words="I am dead.", engine="t", sure=0.64)


def asked_for_help(kind: Kind) -> Scene:
    here = copy.copy(every_kind()[kind])
    here.record = list(here.record)
    here.tell(HURT)
    return here


@pytest.mark.parametrize("between", [(), (HURT,), (replace(HURT, sure=0.4),)])
def test_who_stands_by_does_so_still_after_a_call_for_help_that_was_none(between: tuple[Utterance, ...]) -> None:
    here = asked_for_help(Overlay.STAND_BY)
    for more in between:
        here.tell(more)
    step = here.step
    here.one("negative")
    assert here.state.overlay is Overlay.STAND_BY
    here.one("go ahead")
    assert (here.step, here.state.overlay) == (step, Overlay.NONE), "its words were not heard yet"


@pytest.mark.parametrize("kind", [kind for kind in QUESTIONS if kind not in NOT_HERE])
def test_a_call_for_help_is_not_lost_to_a_likely_word(kind: Kind) -> None:
    here = asked_for_help(kind)
    for likely in ("say again", "affirm"):
        here.tell(Utterance(Verdict.PROPOSED, Sense.COMMAND, likely, words=likely, spoken=likely, engine="t", sure=0.7))
    assert any(isinstance(effect, Alarm) for effect in here.last)


@pytest.mark.parametrize("kind", [Awaiting.GATE, Awaiting.RESTORE_GATE, Awaiting.LOOKED, Awaiting.TESTER_BEFORE])
def test_a_denial_is_answered_while_a_call_for_help_is_asked_about(kind: Kind) -> None:
    here = asked_for_help(kind)
    denial = Utterance(Verdict.ASKED_AGAIN, Sense.DENIAL, "negation", words="it is not isolated", engine="t", sure=0.1)
    here.tell(denial, after=200.0)
    assert here.said
