"""Who is here, whose number is whose, who joins, who leaves and who is gone: what is asked and said. That none of it
stays pending is watched by `Followed` after every happening."""

from __future__ import annotations

from dataclasses import replace

import pytest

from handsfree.journal.events import LockChanged, Resumed
from handsfree.journal.private import OWN_NUMBER
from handsfree.language.meaning import Denial, Sense, Verdict, gate_text
from handsfree.visit.questions import listening
from handsfree.visit.state import Awaiting
from tests.visit import followed as to
from tests.visit.followed import A, B, C, D, Followed
from tests.visit.scenes import ENGLISH, accepted

FIRST, SECOND, THIRD = "The first person", "The second person", "The third person"
BO, CY = "B. Alder (invented)", "C. Birch (invented)"
NEW = ENGLISH.prompt("somebody-new")


def at(*lines: str, technician: str = "", technicians: tuple[str, ...] = ()) -> Followed:
    return Followed(technician=technician, technicians=technicians).takes(*lines)


def say(key: str, **values: object) -> str:
    text = ENGLISH.prompt(key, **values)
    return text[:1].upper() + text[1:]


def stopped(*lines: str) -> Followed:
    """The visit was stopped there, and is taken up: everybody states their number again."""
    scene = at(*lines).takes("stop the visit", "affirm", "affirm")
    assert scene.state.closed
    scene.tell(Resumed("stopped"))
    assert scene.state.awaiting is Awaiting.LOCK_NUMBER
    assert not scene.here
    return scene


def strangers(*lines: str) -> Followed:
    """Bo and Cy had their locks on; after a stop Bo is back and has isolated anew, and Cy's number is to be stated."""
    before = (*to.TO_WAIT, "second person", CY, B, "affirm", f"isolated lock {B}", "next step", "affirm")
    scene = at(*before, "stop the visit", "affirm", "affirm", technician=BO, technicians=(BO, CY))
    scene.tell(Resumed("stopped"))
    return scene.takes(A, "affirm", "affirm", f"isolated lock {A}", "second person", *lines)


# ---- the number -------------------------------------------------------------------------------------------------------


def test_the_first_number_is_asked_read_back_and_kept() -> None:
    scene = at(*to.TO_NUMBER)
    assert scene.told[-1].endswith(say("lock-number"))
    assert scene.roles == [("question", True)]
    scene.takes(A)
    assert scene.told == [f"Four two? {ENGLISH.prompt('cue-affirm')}"]
    assert scene.roles == [(OWN_NUMBER, True)]
    scene.takes("affirm")
    assert scene.told[0].startswith(f"{say('lock-kept')} ")
    assert scene.here == ["the first person"]


def test_the_short_form_asks_for_less_and_does_not_say_that_it_was_kept() -> None:
    scene = at("short form", *to.TO_NUMBER)
    assert scene.told[-1].endswith(say("lock-number-short"))
    scene.takes(A)
    assert scene.told == ["Four two?"]
    assert say("lock-kept") not in scene.takes("affirm").said
    assert scene.here == ["the first person"]


@pytest.mark.parametrize(("digits", "counts"), [("four", False), ("four two", True), ("four two one nine", True),
                                                ("four two one nine six", False)])  # fmt: skip
def test_a_lock_number_has_two_to_four_figures(digits: str, counts: bool) -> None:
    scene = at(*to.TO_NUMBER)
    assert scene.state.listening is not None
    assert scene.state.listening.digits == (2, 4)
    if counts:
        scene.tell(accepted(Sense.DIGITS, digits))
        assert scene.state.listening.digits == (2, 4), "another number may be stated in place of an affirm"
        scene.takes("affirm")
        assert scene.state.interlock.lock == tuple(digits.split())
    else:
        assert scene.ignores(accepted(Sense.DIGITS, digits)) == say("lock-asked")


def test_what_is_no_number_leaves_the_question() -> None:
    assert at(*to.TO_NUMBER).ignores(accepted(Sense.PHRASE, A)) == say("lock-asked")
    assert at(*to.TO_NUMBER, A).ignores(accepted(Sense.PHRASE, "warm")) == say("lock-affirm")


@pytest.mark.parametrize("word", ["negative", "correction", "say again"])
def test_a_number_not_affirmed_is_asked_for_anew_and_kept_nowhere(word: str) -> None:
    scene = at(*to.TO_NUMBER, A, word)
    assert scene.told == [say("lock-again")]
    assert scene.roles == [("question", True)]
    assert scene.state.awaiting is Awaiting.LOCK_NUMBER
    scene.one("affirm")
    assert not scene.here, "an affirm is none of a number that was taken back"
    scene.takes(B, "affirm")
    assert scene.state.interlock.lock == tuple(B.split())


def test_another_number_in_place_of_an_affirm_is_read_back_in_its_turn() -> None:
    scene = at(*to.TO_NUMBER, A, B)
    assert scene.said.startswith("Five one?")
    assert scene.takes("affirm").state.interlock.lock == tuple(B.split())


def test_the_number_of_another_is_refused_and_asked_for_again() -> None:
    scene = at(*to.TO_WAIT, "second person", A)
    assert scene.told == [say("lock-taken")]
    assert scene.roles == [("refusal", True)]
    assert scene.state.awaiting is Awaiting.LOCK_NUMBER
    assert scene.here == ["the first person"]


def test_a_person_who_joins_is_asked_by_name_and_so_is_their_number() -> None:
    scene = at(*to.TO_WAIT, "second person")
    assert scene.told == [say("lock-number-of", owner="the second person")]
    assert scene.takes(B).told == ["Five one, for the second person?"]


@pytest.mark.parametrize(("lines", "back"), [(to.TO_WAIT, Awaiting.WAIT), ((), Awaiting.DONE)])
def test_second_person_misheard_is_taken_back_and_the_work_goes_on(lines: tuple[str, ...], back: Awaiting) -> None:
    scene = at(*lines)
    here = scene.here
    scene.takes("second person")
    assert scene.named == {"negative"}
    scene.takes("negative")
    assert (scene.state.awaiting, scene.here) == (back, here)
    assert len(scene.told) == 1, "what is to be done now, and nothing else"


def test_who_is_asked_for_their_own_number_first_cannot_be_nobody() -> None:
    """Without a number on a lock nothing is isolated: 'negative' would be no answer."""
    assert at(*to.TO_NUMBER).named == set()
    assert set(listening(at(*to.TO_NUMBER).state).named) == to.IDLE
    assert at(*to.TO_NUMBER, A).named == {"affirm", "negative", "correction"}


def test_who_comes_or_goes_while_a_reading_waits_to_be_affirmed_drops_that_reading() -> None:
    """It is asked for again; no affirm of a number, or of anything, takes it."""
    scene = at("next step", "ninety")
    assert scene.state.pending is not None
    scene.takes("second person")
    assert scene.told == [say("lock-number-of", owner="the first person")]
    scene.takes(A, "affirm", B, "affirm")
    assert scene.here == ["the first person", "the second person"]
    assert (scene.step, scene.state.awaiting) == ("warm", Awaiting.READING)
    assert scene.told[-1].endswith("How warm.")
    scene.takes("ninety", "i am leaving", f"clear lock {A}")
    assert scene.told == [say("left-unlocked", owner="the first person"), "How warm."]
    assert scene.here == ["the second person"]


def test_nobody_joins_two() -> None:
    scene = at(*to.TWO_WAIT, "second person")
    assert scene.told == [say("no-more-people")]
    assert scene.roles == [("refusal", True)]
    assert (scene.state.awaiting, len(scene.here)) == (Awaiting.WAIT, 2)


# ---- who it is --------------------------------------------------------------------------------------------------------


def asked_who() -> Followed:
    """The first person's lock is on; after a stop somebody states another number."""
    return stopped(*to.TO_WORK).takes(B)


def test_who_it_is_is_answered_by_a_name_that_was_offered_and_by_nothing_else() -> None:
    scene = asked_who()
    assert scene.told == [say("who-of-two", owner="the first person", choices=f"the first person or {NEW}")]
    assert scene.roles == [("question", True)]
    assert listening(scene.state).phrases == ("the first person", NEW)
    assert set(listening(scene.state).named) == to.IDLE
    for sense, text in ((Sense.PHRASE, "the boss"), (Sense.COMMAND, NEW), (Sense.DIGITS, "the first person")):
        scene.ignores(accepted(sense, text))


def test_who_is_the_owner_after_all_states_their_number_and_keeps_it() -> None:
    scene = asked_who().takes("the first person")
    assert scene.state.awaiting is Awaiting.LOCK_NUMBER
    assert scene.told == [say("lock-number")], "as they were asked at first, for nobody joins them"
    assert scene.takes(A, "affirm").here == ["the first person"]
    assert scene.state.interlock.lock == tuple(A.split())


def test_who_may_be_named_is_asked_and_the_name_goes_with_the_number() -> None:
    scene = at(*to.TO_WAIT, "second person", technician=BO, technicians=(BO, CY))
    assert scene.told == [say("who-comes", choices=f"{CY} or {NEW}", owner=BO)]
    assert scene.named == {"negative"}
    assert scene.takes(CY).told == [say("lock-number-of", owner=CY)]
    scene.takes(B, "affirm", f"isolated lock {B}")
    assert scene.owners == {BO, CY}


def test_a_known_person_whose_number_is_not_the_one_on_their_lock_is_asked_who_they_are() -> None:
    scene = strangers(CY, C)
    assert scene.told == [say("who-of-two", owner=CY, choices=f"{CY} or {NEW}")]
    assert scene.named == {"negative"}
    scene.takes("negative")
    assert scene.here == [BO]
    scene = strangers(CY, C, CY)
    assert scene.told == [say("lock-number-of", owner=CY)], "still Cy, who states the number again"
    scene.takes(B, "affirm")
    assert scene.here == [BO, CY]
    assert strangers(CY, C, NEW, "affirm").here == [BO, "the second person"]


def test_where_every_name_is_on_a_lock_a_fourth_person_has_none_and_hears_why() -> None:
    scene = stopped(*to.TWO_WORK)
    scene.takes(C, NEW, "affirm", "affirm", f"isolated lock {C}")
    scene.takes("stop the visit", "affirm", "affirm")
    scene.tell(Resumed("stopped"))
    assert scene.owners == {"the first person", "the second person", "the third person"}
    scene.takes(D, NEW)
    assert scene.told == [say("lock-taken")]
    assert scene.roles == [("refusal", True)]
    assert not scene.here


# ---- the second lock --------------------------------------------------------------------------------------------------


def test_who_joins_is_told_to_put_their_own_lock_on_and_that_it_counts() -> None:
    scene = at(*to.TO_JOIN)
    assert scene.told[-1].endswith(say("join-need", owner=SECOND))
    assert scene.roles[-1] == ("question", False)
    scene.takes(f"isolated lock {B}")
    assert scene.told[0] == say("lock-joined")
    assert scene.roles[0] == ("answer", True)
    assert scene.tones == ["heard", "gate open"]
    assert {one.source for one in scene.last if isinstance(one, LockChanged) and one.on} == {"plug", "arm"}
    assert scene.state.awaiting is Awaiting.WAIT


def test_one_of_two_who_is_not_the_first_may_correct_their_number_at_the_gate() -> None:
    """Each corrects their own, and is asked by whose it is."""
    scene = at(*to.TO_GATE)
    scene.one(f"isolated lock {C}")
    assert scene.tones[-1] == "gate shut"
    scene.takes("correction")
    assert scene.told == [say("lock-number")]
    scene.takes(C, "affirm")
    assert scene.state.interlock.lock == tuple(C.split())
    scene = at(*to.TWO_AT_GATE, f"isolated lock {A}")
    scene.one(f"isolated lock {C}")
    scene.takes("correction")
    assert scene.told == [say("lock-number-of", owner="the second person")]
    scene.takes(C, "affirm")
    numbers = {one.name: " ".join(one.number) for one in scene.state.interlock.people}
    assert numbers == {"the first person": A, "the second person": C}


def test_who_joins_may_correct_their_number_too() -> None:
    scene = at(*to.TO_JOIN)
    scene.one(f"isolated lock {C}")
    scene.takes("correction", C, "affirm", f"isolated lock {C}")
    assert scene.owners == {"the first person", "the second person"}


@pytest.mark.parametrize(("lines", "word", "number"), [(to.TO_JOIN, "isolated", B), (to.TO_LEAVE, "clear", A)])
def test_a_doubtful_voice_is_asked_once_more_and_the_doubt_does_not_outlive_the_phrase(
    lines: tuple[str, ...], word: str, number: str,
) -> None:  # fmt: skip
    """The wait goes on after it, so that no step is entered which would forget the doubt."""
    scene = at(*lines)
    phrase = accepted(Sense.GATE, gate_text(word, tuple(number.split())))
    was = scene.state.interlock.locks
    scene.tell(replace(phrase, voice="doubtful"))
    assert scene.told == [say("gate-voice-again")]
    assert (scene.state.interlock.locks, scene.state.tries) == (was, 0)
    scene.tell(replace(phrase, voice="same"))
    assert scene.state.interlock.locks != was
    assert not scene.state.voice_doubted
    scene.takes(*(("i am leaving",) if word == "isolated" else ("second person", C, "affirm")))
    other = accepted(Sense.GATE, gate_text("clear", tuple(A.split())) if word == "isolated"
                     else gate_text("isolated", tuple(C.split())))  # fmt: skip
    was = scene.state.interlock.locks
    scene.tell(replace(other, voice="doubtful"))
    assert scene.told == [say("gate-voice-again")]
    assert scene.state.interlock.locks == was


# ---- refusals ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("lines", "word"), [
    (to.TO_GATE, "isolated"), (to.TO_ARM, "isolated"), (to.TWO_AT_GATE, "isolated"), (to.TO_JOIN, "isolated"),
    (to.TO_CLEAR, "clear"), (to.TWO_CLEAR, "clear"), (to.TO_LEAVE, "clear"),
])  # fmt: skip
@pytest.mark.parametrize("kind", ["denial", "wrong number", "other voice", "no phrase", "asked again"])
def test_each_refusal_sounds_its_tone_says_why_and_changes_nobodys_lock(
    lines: tuple[str, ...], word: str, kind: str,
) -> None:  # fmt: skip
    scene = at(*lines)
    was = scene.state
    mine = gate_text(word, was.interlock.lock)
    utterance = {
        "denial": replace(accepted(Sense.DENIAL, Denial.NEGATION), verdict=Verdict.ASKED_AGAIN),
        "wrong number": accepted(Sense.GATE, gate_text(word, ("nine", "nine"))),
        "other voice": replace(accepted(Sense.GATE, mine), voice="other"),
        "no phrase": accepted(Sense.PHRASE, "warm"),
        "asked again": replace(accepted(Sense.GATE, mine), verdict=Verdict.ASKED_AGAIN),
    }[kind]
    scene.tell(utterance)
    assert scene.tones[-1] == "gate shut"
    assert scene.roles[0][0] == "refusal"
    assert scene.told[0] == say({
        "denial": "gate-denied-negation", "wrong number": "gate-again", "other voice": "gate-other-voice",
        "no phrase": "gate-not-phrase", "asked again": "gate-again",
    }[kind])  # fmt: skip
    assert (scene.state.awaiting, scene.state.frames) == (was.awaiting, was.frames)
    assert (scene.state.interlock.locks, scene.state.interlock.people) == (was.interlock.locks, was.interlock.people)
    assert (scene.state.interlock.failures, scene.state.tries) == (1, 0)


# ---- who leaves -------------------------------------------------------------------------------------------------------


def test_who_is_alone_does_not_leave() -> None:
    scene = at(*to.TO_WAIT, "i am leaving")
    assert scene.told == [say("leave-alone")]
    assert scene.roles == [("refusal", True)]
    assert scene.here == ["the first person"]


def test_who_leaves_is_asked_by_name_the_first_before_the_second() -> None:
    scene = at(*to.TO_LEAVE)
    assert scene.told == [say("leave-need", owner="the first person")]
    assert scene.roles == [("question", False)]
    scene.takes("negative")
    assert scene.told == [say("leave-need", owner="the second person")]
    scene.takes(f"clear lock {B}")
    assert scene.told[0] == say("left", owner="the second person")
    assert scene.roles[0] == ("notice", True)
    assert (scene.here, scene.owners) == (["the first person"], {"the first person"})
    assert scene.state.awaiting is Awaiting.WAIT


def test_who_leaves_while_the_second_is_asked_for_their_phrase_is_the_first_all_the_same() -> None:
    """And what was refused to another before is not counted against them."""
    scene = at(*to.TWO_AT_GATE, f"isolated lock {A}")
    scene.one("next step")
    scene.one("next step")
    scene.takes("i am leaving")
    assert scene.told == [say("leave-need", owner="the first person")]
    scene.one("next step")
    assert scene.state.interlock.failures == 1


def test_nobody_leaves_while_no_other_lock_is_on_and_hears_why() -> None:
    """Both are here, one lock is on: its owner's phrase was heard, and it stays."""
    scene = at(*to.TWO_AT_GATE, f"isolated lock {A}", "i am leaving", f"clear lock {A}")
    assert scene.told[0] == say("leave-first", owner="the first person")
    assert scene.roles[0] == ("refusal", False)
    assert len(scene.here) == 2
    assert scene.owners == {"the first person"}
    assert scene.state.awaiting is Awaiting.SEEN, "the isolation begins again"
    assert len(scene.told) > 1, "and what is to be done now is said"


# ---- who is gone ------------------------------------------------------------------------------------------------------


def test_each_step_for_an_owner_who_is_gone_is_affirmed_and_then_the_lock_comes_off() -> None:
    scene = at(*to.TWO_CLEAR, f"clear lock {A}", "negative")
    for key in ("absent-not-here", "absent-tried", "absent-directed", "absent-will-know"):
        assert scene.told == [say(key, owner="the second person")]
        assert scene.roles == [("question", False)]
        assert scene.owners == {"the second person"}
        assert scene.ignores(accepted(Sense.PHRASE, "warm")) == say(key, owner="the second person")
        scene.takes("affirm")
    assert scene.told[0] == say("absent-off", owner="the second person")
    assert scene.roles[0] == ("notice", False)
    assert [one.how for one in scene.last if isinstance(one, LockChanged)] == ["without its owner"] * 2
    assert (scene.here, scene.owners) == (["the first person"], set())
    assert scene.state.awaiting is Awaiting.RESTORE_POWER


@pytest.mark.parametrize("steps", [0, 1, 3])
def test_an_owner_who_may_come_back_keeps_the_lock_and_all_is_asked_anew(steps: int) -> None:
    """Here, after all: their own phrase takes it off. Away: the lock stays."""
    scene = at(*to.TWO_CLEAR, f"clear lock {A}", "negative", *["affirm"] * steps, "negative")
    assert scene.told[0] == say("absent-clears", owner="the second person")
    assert scene.roles[0] == ("refusal", False)
    assert scene.state.awaiting is Awaiting.RESTORE_GATE
    assert scene.takes("negative").told == [say("absent-not-here", owner="the second person")]
    scene = stopped(*to.TWO_CLEAR).takes(A, "affirm", *["next step"] * 3, f"clear lock {A}")
    assert scene.state.awaiting is Awaiting.OWNER_GONE
    scene.takes(*["affirm"] * steps, "negative")
    assert scene.told[0] == say("absent-stays", owner="the second person")
    assert scene.roles[0] == ("refusal", False)
    assert scene.told[1:] == [say("absent-not-here", owner="the second person")]
    assert scene.owners == {"the second person"}


@pytest.mark.parametrize("live", ["plug", "arm", "all of them"])
def test_who_is_here_and_states_a_number_anew_is_asked_on_before_their_lock(live: str) -> None:
    """What they were asked is asked at once, and never later: it came up again where nobody had stated anything."""
    scene = Followed().takes(*to.TO_JOIN)
    scene.one(f"isolated lock {C}")
    scene.one("correction")
    assert scene.state.awaiting is Awaiting.LOCK_NUMBER
    scene.takes(B)
    assert scene.state.awaiting is Awaiting.LOCK_AFFIRM
    scene.takes("power is on", live)
    assert (scene.state.awaiting, scene.state.coming) == (Awaiting.LOCK_AFFIRM, Awaiting.NOTHING)
    scene.takes("affirm")
    if live != "all of them":
        assert scene.state.awaiting is Awaiting.JOIN_GATE
        scene.takes(f"isolated lock {B}")
    assert scene.state.coming is Awaiting.NOTHING


def test_a_break_asks_a_newcomer_on_aloud() -> None:
    scene = Followed().takes(*to.TO_WAIT, "second person")
    asked = scene.told[-1]
    scene.tell(accepted(Sense.COMMAND, "faster"), after=1860.0)
    assert scene.state.awaiting is Awaiting.LOCK_NUMBER
    assert scene.told[-1] == asked
