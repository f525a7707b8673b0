"""What must hold at every gate, and wherever something stands behind it: what is said to its end, what is heard, what is
said a second time, whose turn it is, and what the record has of it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from handsfree.journal.events import Gate, PromptEnded, Say, Utterance
from handsfree.language.meaning import Sense, Verdict, gate_text
from handsfree.language.tokens import capital
from handsfree.procedure.model import text_digest
from handsfree.visit.questions import QUESTIONS, flow_of, listening
from handsfree.visit.state import Awaiting
from tests.bench.small_visits import CHARGE
from tests.visit import followed as to
from tests.visit.followed import A, B, Followed
from tests.visit.scenes import ENGLISH, accepted

OPENS, CLEARS = f"isolated lock {A}", f"clear lock {A}"
FIRST, SECOND = "The first person", "The second person"
RELIEVED = (A, "affirm", "affirm", OPENS, "nothing runs", "affirm")


def at(lines: tuple[str, ...], text: str = to.JOB) -> Followed:
    return Followed(text).takes(*lines)


def gone(*lines: str) -> tuple[str, ...]:
    """The second person is asked for at the clear phrase, and said to be gone."""
    return (*to.TWO_CLEAR, CLEARS, "negative", *lines)


#: Where -> what was said until then; what is awaited; whether its words may be cut once they were heard.
GATES: dict[str, tuple[tuple[str, ...], Awaiting, bool]] = {
    "seen": (to.TO_SEEN, Awaiting.SEEN, True),
    "gate": (to.TO_GATE, Awaiting.GATE, True),
    "gate with no try": (to.TO_ARM, Awaiting.GATE, True),
    "gate of two": (to.TWO_AT_GATE, Awaiting.GATE, True),
    "first check": (to.TO_CHECK, Awaiting.RESTORE_CHECK, True),
    "second check": ((*to.TO_CHECK, "next step"), Awaiting.RESTORE_CHECK, True),
    "last check": ((*to.TO_CHECK, "next step", "next step"), Awaiting.RESTORE_CHECK, True),
    "clear": (to.TO_CLEAR, Awaiting.RESTORE_GATE, False),
    "join": (to.TO_JOIN, Awaiting.JOIN_GATE, False),
    "leave": (to.TO_LEAVE, Awaiting.LEAVE_GATE, False),
    "which source": ((*to.TO_WAIT, "power is on"), Awaiting.WHICH_SOURCE, False),
    "gone, not here": (gone(), Awaiting.OWNER_GONE, False),
    "gone, tried": (gone("affirm"), Awaiting.OWNER_GONE, False),
    "gone, directed": (gone("affirm", "affirm"), Awaiting.OWNER_GONE, False),
    "gone, will know": (gone("affirm", "affirm", "affirm"), Awaiting.OWNER_GONE, False),
}


def arrived(where: str) -> Followed:
    lines, awaiting, _ = GATES[where]
    scene = at(lines)
    assert scene.state.awaiting is awaiting
    return scene


@pytest.mark.parametrize("where", GATES)
def test_what_is_said_at_a_gate_is_heard_to_its_end_the_first_time(where: str) -> None:
    """Even where something else was asked at the same step before: the lock number, whether it ran, an earlier check."""
    assert arrived(where).roles[-1][1] is False


@pytest.mark.parametrize("where", GATES)
def test_who_asks_again_may_cut_the_work_and_never_a_phrase_that_takes_locks_off(where: str) -> None:
    scene = arrived(where)
    before = scene.told[-1]
    scene.takes("say again")
    assert {cuttable for _, cuttable in scene.roles} == {GATES[where][2]}
    assert before.split(". ")[-1].split("?")[0] in scene.said


def test_nothing_of_a_relief_is_cut_the_first_time_and_all_of_it_is_said() -> None:
    """The writer's recording speaks the sentence, and the work follows it."""
    own = f"sound: relieve.flac, sound_of: {text_digest('Relieve the capacitor.')}, do: [Bridge it., Wait.]"
    scene = at(RELIEVED, CHARGE.text.replace("do: [Bridge it.]", own))
    assert scene.state.awaiting is Awaiting.RELIEVED
    said = [effect for effect in scene.last if isinstance(effect, Say)]
    work = f"Bridge it. Wait. {ENGLISH.prompt('cue-next')}"
    assert [(one.text, one.role, one.cuttable, one.sound) for one in said[-2:]] == [
        ("Relieve the capacitor.", "step", False, "relieve.flac"), (work, "step", False, ""),
    ]  # fmt: skip
    scene.takes("say again")
    assert scene.told == ["Relieve the capacitor.", work]
    assert scene.roles == [("step", True), ("step", True)]
    assert scene.ignores(accepted(Sense.PHRASE, "warm")) == ENGLISH.prompt("need-relieved")
    scene.takes("next step")
    (gate,) = [effect for effect in scene.last if isinstance(effect, Gate)]
    assert (gate.source, gate.how, gate.why) == ("capacitor", "relieved", ENGLISH.prompt("why-relieved"))


# ---- the words --------------------------------------------------------------------------------------------------------


def test_the_work_is_said_in_order_and_then_what_opens_the_gate() -> None:
    """A source that is tried was asked about, with its sentence; of any other the sentence comes first."""
    assert arrived("gate").told == [f"Switch off. Pull the plug. {ENGLISH.prompt('isolate-need-short')}"]
    assert arrived("gate with no try").told[-2:] == [
        "Isolated: plug. Now the arm. Tell everybody here that the load is made safe.",
        f"Let it down. Block it. {ENGLISH.prompt('isolate-need-short')}",
    ]
    assert arrived("gate with no try").roles[-2:] == [("step", False), ("step", False)]


@pytest.mark.parametrize("again", ["gate", "gate with no try"])
def test_say_again_says_the_whole_work(again: str) -> None:
    scene = arrived(again).takes("say again")
    assert len(scene.told) == (2 if again == "gate with no try" else 1)
    assert scene.told[-1].endswith(ENGLISH.prompt("isolate-need-short"))


def test_before_it_is_switched_off_it_is_asked_whether_it_runs() -> None:
    scene = arrived("seen")
    off = "the power goes off"
    seen = ENGLISH.prompt("isolate-seen", text="Power first.", off=off, cue=f" {ENGLISH.prompt('cue-affirm')}")
    assert scene.told == [f"Kept. {seen}".replace(f" {ENGLISH.prompt('cue-affirm')}", "")]  # 'affirm' was said before
    assert scene.roles == [("question", False)]


def test_the_short_form_names_a_step_and_says_less_at_a_gate() -> None:
    scene = at((*to.TO_WAIT, "short form", "next step", "affirm"))
    assert scene.said == "Work now."
    scene.takes("next step")
    assert scene.told[0] == "All back."
    scene.takes("next step", "next step", "next step")
    assert scene.said == ENGLISH.prompt("clear-need-short")
    scene.takes("say again")
    assert scene.said == ENGLISH.prompt("clear-need")
    scene = at(("short form", *to.TO_SEEN))
    assert scene.said == ENGLISH.prompt("isolate-seen", text="Off plug.", off="the power goes off", cue="")


@pytest.mark.parametrize(("before", "word", "cue"), [
    ((*to.TO_NUMBER, A), "affirm", "affirm"), ((*to.TO_NUMBER, A), "negative", "affirm"), ((), "next step", "next"),
    ((), "go ahead", "next"),
])  # fmt: skip
def test_who_worded_an_answer_so_once_is_not_told_again_how(before: tuple[str, ...], word: str, cue: str) -> None:
    scene = at(before)
    scene.state = replace(scene.state, learned=frozenset())  # 'next step' was said on the way
    assert flow_of(scene.state).cue(cue) == f" {ENGLISH.prompt(f'cue-{cue}')}"
    scene.takes(word)
    assert flow_of(scene.state).cue(cue) == ""


# ---- what is heard ----------------------------------------------------------------------------------------------------

#: Where -> the commands in force that answer or move something; the others always do what they say and move nothing.
HEARD: dict[str, set[str]] = {
    "seen": to.MOVES | {"affirm", "negative"},
    "gate": to.MOVES,
    "gate with no try": to.MOVES,
    "first check": to.MOVES,
    "last check": to.MOVES,
    "clear": to.MOVES,
    "join": {"correction"},
    "leave": {"negative"},
    "gone, not here": {"affirm", "negative", "second person"},
    "gone, will know": {"affirm", "negative", "second person"},
}


@pytest.mark.parametrize("where", HEARD)
def test_what_answers_or_moves_at_a_gate_is_this_and_no_more(where: str) -> None:
    scene = arrived(where)
    assert scene.named == HEARD[where]
    assert set(listening(scene.state).named) >= to.IDLE


def test_which_source_is_on_is_answered_by_a_source_or_all_of_them_and_by_nothing_else() -> None:
    """That some power is on was said: to say it again is no answer. Nothing goes on, back or away before it."""
    scene = arrived("which source")
    assert listening(scene.state).phrases == ("plug", "arm", ENGLISH.prompt("all-sources"))
    assert set(listening(scene.state).named) == to.IDLE - {"power is on"}
    assert scene.told[-1] == ENGLISH.prompt("which-source", choices=f"plug, arm or {ENGLISH.prompt('all-sources')}")
    assert scene.roles[-1] == ("question", False)
    scene.ignores(accepted(Sense.PHRASE, "kettle"))
    scene.takes("plug")
    assert str(scene.state.interlock.hold("plug").power) != "ISOLATED"
    assert str(scene.state.interlock.hold("arm").power) == "ISOLATED"


@pytest.mark.parametrize(("lines", "may"), [
    (to.TO_CLEAR, False),  # alone: nobody else could say that they are gone
    (to.TWO_CLEAR, True),  # the second person could say it of the first
    ((*to.TWO_CLEAR, CLEARS), True),
])  # fmt: skip
def test_only_another_who_is_here_may_say_that_the_owner_of_a_lock_is_gone(lines: tuple[str, ...], may: bool) -> None:
    scene = at(lines)
    assert scene.state.awaiting is Awaiting.RESTORE_GATE
    assert ("negative" in scene.named) is may
    said = QUESTIONS[Awaiting.RESTORE_GATE].mays
    assert ("negative" in said(flow_of(scene.state))) is may
    scene.one("what can i say")
    assert ("negative" in scene.said) is may


def test_who_is_said_to_be_gone_at_the_clear_phrase_is_asked_about_and_nothing_else_is_said() -> None:
    scene = at(gone())
    assert scene.told == [ENGLISH.prompt("absent-not-here", owner="the second person")]


# ---- no answer --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("where", "key"), [
    ("seen", "short-seen"), ("first check", "need-check"), ("last check", "need-check"),
])  # fmt: skip
def test_what_is_no_answer_leaves_the_question_and_asks_it_again(where: str, key: str) -> None:
    scene = arrived(where)
    assert scene.ignores(accepted(Sense.PHRASE, "warm")) == ENGLISH.prompt(key)


def test_what_is_no_answer_to_the_power_leaves_the_question() -> None:
    scene = at(to.TO_POWER)
    assert scene.roles[-1][0] == "step"
    assert scene.ignores(accepted(Sense.PHRASE, "warm")) == ENGLISH.prompt("need-power")


# ---- two people -------------------------------------------------------------------------------------------------------


def test_each_of_two_is_asked_by_name_for_their_own_phrase() -> None:
    scene = arrived("gate of two")
    assert scene.told == [f"Switch off. Pull the plug. {ENGLISH.prompt('isolate-need-of', owner=FIRST)}"]
    scene.takes(OPENS)
    assert scene.told == [ENGLISH.prompt("isolate-need-of", owner=SECOND)]
    assert scene.roles == [("question", True)]
    assert scene.tones == ["heard", "gate open"]
    assert scene.state.awaiting is Awaiting.GATE
    scene.takes(f"isolated lock {B}")
    assert scene.state.awaiting is Awaiting.SWITCH_TRIED
    scene = at(to.TWO_CLEAR)
    assert scene.said == ENGLISH.prompt("clear-need-of", owner=FIRST)
    scene.takes(CLEARS)
    assert scene.told == [ENGLISH.prompt("clear-need-of", owner=SECOND)]
    scene.takes(f"clear lock {B}")
    assert scene.state.awaiting is Awaiting.RESTORE_POWER


@pytest.mark.parametrize(("lines", "word"), [(to.TWO_AT_GATE, "isolated"), (to.TWO_CLEAR, "clear")])
def test_a_doubt_about_one_voice_is_over_with_its_phrase_and_each_voice_is_asked_once_more(
    lines: tuple[str, ...], word: str,
) -> None:  # fmt: skip
    scene = at(lines)
    for number in (A, B):
        phrase = accepted(Sense.GATE, gate_text(word, tuple(number.split())))
        stands = scene.state.interlock
        scene.tell(replace(phrase, voice="doubtful"))
        assert scene.told == [ENGLISH.prompt("gate-voice-again")], number
        assert (scene.state.interlock.locks, scene.state.interlock.given) == (stands.locks, stands.given)
        assert scene.state.tries == 0
        scene.tell(replace(phrase, voice="doubtful"))
        assert ENGLISH.prompt("gate-voice-doubted") in scene.told
        assert not scene.state.voice_doubted


def test_the_phrase_is_recorded_of_the_source_it_is_for_and_so_is_a_refusal() -> None:
    scene = arrived("gate with no try")
    scene.one("not isolated")
    assert [effect.source for effect in scene.last if isinstance(effect, Gate)] == ["arm"]
    scene.takes(OPENS)
    assert [effect.source for effect in scene.last if isinstance(effect, Gate)] == ["arm"]


def test_the_steps_for_an_owner_who_is_gone_begin_again_each_time_they_are_asked() -> None:
    """Affirmed once, then denied: of the person who is here after all, and of one who is away."""
    first = ENGLISH.prompt("absent-not-here", owner="the second person")
    scene = at(gone("affirm", "affirm"))
    assert "employer" in scene.said
    scene.takes("negative")
    assert ENGLISH.prompt("absent-clears", owner="the second person") == scene.told[0]
    assert scene.state.awaiting is Awaiting.RESTORE_GATE
    scene.takes("negative")
    assert scene.told == [first]


# ---- what can be said -------------------------------------------------------------------------------------------------

NUMBER, SAYS, CLEAR = (ENGLISH.prompt(key) for key in ("a-lock-number", "a-gate-isolated", "a-gate-clear"))


@pytest.mark.parametrize(("lines", "may"), [
    (to.TO_NUMBER, ("stand by",)), ((*to.TO_NUMBER, A), ("affirm", "negative")), (to.TO_SEEN, ("affirm", "negative")),
    (to.TO_GATE, (SAYS, "power is on", "stop the visit")), (to.TO_CLEAR, (CLEAR, "power is on", "stop the visit")),
    (to.TO_JOIN, (SAYS,)), (to.TO_LEAVE, (CLEAR,)), (gone(), ("affirm", "negative")),
    (to.TO_POWER, ("next step", "power is on")), (to.TO_CHECK, ("next step", "say again", "power is on")),
])  # fmt: skip
def test_who_asks_what_can_be_said_hears_what_answers(lines: tuple[str, ...], may: tuple[str, ...]) -> None:
    scene = at(lines)
    assert QUESTIONS[scene.state.awaiting].mays(flow_of(scene.state)) == may
    scene.one("what can i say")
    assert may[0] in scene.said


def test_after_a_stand_by_the_number_that_was_read_back_is_asked_about_again() -> None:
    scene = at((*to.TO_NUMBER, A)).takes("stand by", "go ahead")
    assert scene.told[-1].endswith(ENGLISH.prompt("lock-affirm"))
    assert scene.roles[-1][0] == "question"


# ---- too early --------------------------------------------------------------------------------------------------------

#: Why an ear takes no phrase, as it says it.
EARLY = ("said before the words that must be heard had ended", "said before the last answer was acted on",
         "said before what is asked had changed")  # fmt: skip
PHRASES = {
    "gate": "isolated", "gate with no try": "isolated", "gate of two": "isolated", "join": "isolated", "clear": "clear",
    "leave": "clear",
}  # fmt: skip


def phrase_now(scene: Followed, where: str, reason: str) -> Utterance:
    """The phrase of whoever is asked, word for word, which the ear found to have come too early."""
    words = f"{PHRASES[where]} lock {' '.join(scene.state.interlock.lock)}"
    heard = accepted(Sense.GATE, gate_text(PHRASES[where], scene.state.interlock.lock))
    return replace(heard, verdict=Verdict.NOT_FOR_ME, reason=reason, words=words, engine="test",
                   started=scene.now, ended=scene.now + 0.9)  # fmt: skip


@pytest.mark.parametrize("reason", EARLY)
@pytest.mark.parametrize("speaking", [True, False])
@pytest.mark.parametrize("where", PHRASES)
def test_a_phrase_that_came_too_early_is_no_failure_and_is_told_why(where: str, speaking: bool, reason: str) -> None:
    """It was right, and too soon: nothing opens, nothing counts, and the person hears that, and what to do."""
    scene = arrived(where)
    if not speaking:
        scene.tell(PromptEnded(scene.state.said - 1))
    for _ in range(5):
        before, gates = scene.state, [one for one in scene.record if isinstance(one.event, Gate)]
        scene.tell(phrase_now(scene, where, reason), after=2.0)
        assert scene.told == [ENGLISH.prompt("gate-early")]
        assert scene.state.interlock == before.interlock
        assert scene.state.awaiting is before.awaiting
        assert [one for one in scene.record if isinstance(one.event, Gate)] == gates
    scene.tell(PromptEnded(scene.state.said - 1))
    scene.takes(f"{PHRASES[where]} lock {' '.join(scene.state.interlock.lock)}")
    assert ENGLISH.prompt("gate-early") not in scene.said


def test_a_denial_that_came_too_early_says_what_it_denies() -> None:
    scene = arrived("gate")
    scene.tell(PromptEnded(scene.state.said - 1))
    denial = Utterance(Verdict.NOT_FOR_ME, Sense.DENIAL, "negation", words="it is not isolated", engine="test",
                       reason=EARLY[0])  # fmt: skip
    scene.tell(denial)
    assert ENGLISH.prompt("gate-denied-negation") in scene.said


def test_what_bystanders_say_while_the_words_are_read_gets_no_answer() -> None:
    scene = arrived("gate")
    for words in ("pass me that", "isolated"):
        scene.tell(Utterance(Verdict.NOT_FOR_ME, words=words, engine="test", reason=EARLY[0]))
        assert scene.told == []


# ---- what is no attempt -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("where", ["gate", "gate with no try", "gate of two", "join", "clear", "leave"])
@pytest.mark.parametrize("words", ["is it safe now", "who is here", "what was that", "how do I do that"])
def test_a_question_at_a_gate_is_no_attempt_and_hears_the_isolation_as_it_stands(where: str, words: str) -> None:
    scene = arrived(where)
    was = scene.state.interlock
    for _ in range(4):
        scene.one(words)
        assert scene.state.interlock == was
        asks = flow_of(scene.state).question.asks(flow_of(scene.state))
        assert scene.said == f"{ENGLISH.prompt(f'isolation-{was.power}')} {capital(asks)}"


def test_a_question_with_the_phrase_in_it_is_a_denial_still() -> None:
    scene = arrived("gate")
    for words in ("is it isolated", f"is it isolated lock {A}"):
        scene.one(words)
        assert ENGLISH.prompt("gate-denied-question") in scene.said
    assert scene.state.interlock.failures == 2


@pytest.mark.parametrize("words", ["affirm", "nothing runs", "yes", "it is off", "I dropped it"])
def test_other_words_are_told_that_they_are_not_the_phrase(words: str) -> None:
    """'I am not sure I heard it' was not why."""
    scene = arrived("gate")
    scene.one(words)
    assert scene.told[0] == ENGLISH.prompt("gate-not-phrase")
    assert scene.state.interlock.failures == 1


def test_what_an_engine_could_not_write_down_may_have_been_the_phrase() -> None:
    scene = arrived("gate")
    scene.tell(Utterance(Verdict.ASKED_AGAIN, words="eyes elated look", engine="test"))
    assert scene.told[0] == ENGLISH.prompt("gate-again")


def test_who_takes_back_an_answer_at_a_gate_is_told_how() -> None:
    scene = arrived("gate with no try")
    scene.state = replace(scene.state, trail=(scene.state.frames,))
    was = scene.state.interlock
    scene.one("no forty eight")
    assert scene.told[0].startswith(ENGLISH.prompt("say-correction"))
    assert scene.state.interlock == was
