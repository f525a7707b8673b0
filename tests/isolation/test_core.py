"""The trusted core by itself: every rule of `rules`, `people`, `interlock` and `energy`, and every way round them tried."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import pytest

from handsfree.isolation import interlock as lock
from handsfree.isolation import people as folk
from handsfree.isolation import rules
from handsfree.isolation.energy import Catalogue, EnergyKind, Hazard, Method, Source, needed
from handsfree.isolation.interlock import Interlock
from handsfree.isolation.people import Lock, Person
from handsfree.isolation.rules import LIVE, Hold, Power, SourceEvent
from handsfree.journal.events import Utterance
from handsfree.language import base
from handsfree.language.meaning import Sense, Verdict, gate_text

MAINS = EnergyKind("mains", proofs=("try", "meter"))
CHARGE = EnergyKind("charge", lock=False, proofs=("meter",), returns=30.0)
PLUG, TAP, CAP = Source("plug", MAINS), Source("tap", MAINS), Source("cap", CHARGE, behind=("plug",))
SOURCES = {"plug": PLUG, "tap": TAP, "cap": CAP}
TRY, METER = Method("try", "try"), Method("meter", "measure", unit="volt", most=5, points=("a",))
ANN, BEN = Person("Ann", ("one", "two")), Person("Ben", ("three", "four"))
CLAIMED, DEAD = Hold(Power.ISOLATING, claimed=True), Hold(Power.ISOLATED, claimed=True)
HOLDS = [Hold(power, claimed, proofs) for power, claimed, proofs in
         product(Power, (False, True), (frozenset(), frozenset({"try"})))]  # fmt: skip


def phrase(word: str, person: Person, **changes: object) -> Utterance:
    return replace(Utterance(Verdict.ACCEPTED, Sense.GATE, gate_text(word, person.number), ended=5.0), **changes)  # type: ignore[arg-type]  # fields by name


def begun(*names: str, people: tuple[Person, ...] = (ANN,)) -> Interlock:
    return lock.turn(Interlock(SOURCES, people=people), names, SourceEvent.ISOLATION_BEGUN, 1.0)


# ---- rules ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("hold", HOLDS)
@pytest.mark.parametrize("what", list(SourceEvent))
def test_no_turn_makes_anything_isolated_or_keeps_a_claim(hold: Hold, what: SourceEvent) -> None:
    after = rules.turned(hold, what)
    wanted = {SourceEvent.ISOLATION_BEGUN: Power.ISOLATING, SourceEvent.RESTORE_BEGUN: Power.RESTORING}.get(what, Power.LIVE)
    assert after == Hold(wanted)


@pytest.mark.parametrize("hold", HOLDS)
def test_a_proof_isolates_what_was_claimed_and_nothing_else(hold: Hold) -> None:
    after = rules.proved(PLUG, "meter", hold)
    fit = hold.power is Power.ISOLATED or (hold.power is Power.ISOLATING and hold.claimed)
    assert (after.power is Power.ISOLATED) is fit
    assert after == LIVE or "meter" in after.proofs
    assert fit or after == LIVE


def test_every_proof_that_is_asked_for_is_needed_and_no_other_counts() -> None:
    strict = replace(PLUG, proofs=("try", "meter"))
    once = rules.proved(strict, "try", CLAIMED)
    assert once.power is Power.ISOLATING
    assert rules.proved(strict, "try", once).power is Power.ISOLATING
    assert rules.proved(strict, "meter", once).power is Power.ISOLATED
    assert rules.proved(PLUG, "a look", CLAIMED).power is Power.ISOLATING
    assert rules.proved(Source("x", EnergyKind("?")), "meter", CLAIMED).power is Power.ISOLATING


def test_only_what_is_being_isolated_is_claimed_and_a_charge_behind_what_is() -> None:
    begins = {"plug": Hold(Power.ISOLATING), "cap": Hold(Power.ISOLATING)}
    assert rules.claimed(SOURCES, ["plug", "cap"], begins) == {"plug": CLAIMED, "cap": Hold(Power.ISOLATING)}
    assert rules.claimed(SOURCES, ["cap"], begins) == begins
    assert rules.claimed(SOURCES, ["cap"], {**begins, "plug": CLAIMED})["cap"] == CLAIMED
    assert rules.claimed(SOURCES, ["plug"], {"plug": Hold(Power.RESTORING)}) == {"plug": Hold(Power.RESTORING)}
    assert rules.claimed(SOURCES, ["plug"], {}) == {}
    assert rules.by_phrase(SOURCES, ["cap"]) == ()
    assert rules.by_phrase(SOURCES, ["cap", "plug"]) == ("plug",)
    assert rules.unready(CAP, {}) == ("plug",)
    assert rules.unready(CAP, {"plug": DEAD}) == ()


def test_what_is_behind_falls_with_what_fills_it() -> None:
    assert rules.settled(SOURCES, {"plug": Hold(Power.RESTORING), "cap": DEAD, "tap": DEAD}) == {
        "plug": Hold(Power.RESTORING), "cap": LIVE, "tap": DEAD
    }  # fmt: skip
    assert rules.settled(SOURCES, {"plug": CLAIMED, "cap": DEAD})["cap"] == DEAD
    chain = {**SOURCES, "far": Source("far", CHARGE, behind=("cap",))}
    assert rules.settled(chain, {"plug": LIVE, "cap": DEAD, "far": DEAD, "none": DEAD}) == {
        "plug": LIVE, "cap": LIVE, "far": LIVE, "none": DEAD
    }  # fmt: skip


def test_a_measurement_waits_for_relief_and_a_try_for_what_ran() -> None:
    assert rules.unrelieved(PLUG, METER, SOURCES, {}) == ("cap",)
    assert rules.unrelieved(PLUG, METER, SOURCES, {"cap": CLAIMED}) == ()
    assert rules.unrelieved(PLUG, TRY, SOURCES, {}) == ()
    assert rules.unrelieved(TAP, METER, SOURCES, {}) == ()
    assert not rules.tells_dead(TRY, CLAIMED)
    assert rules.tells_dead(TRY, replace(CLAIMED, seen=True))
    assert rules.tells_dead(METER, CLAIMED)
    assert rules.seen_running(Hold(Power.ISOLATING), True).seen
    assert not rules.seen_running(DEAD, True).seen
    assert rules.missing(["plug", "tap", "?gas"], {"plug": DEAD, "tap": CLAIMED}) == ("tap", "?gas")
    assert (CLAIMED.held, DEAD.held, Hold(Power.ISOLATED).held, Hold(Power.ISOLATING).held) == (True, True, True, False)


# ---- energy ---------------------------------------------------------------------------------------------------------


def test_what_a_step_needs() -> None:
    known = Catalogue({"mains": MAINS, "charge": CHARGE}, {"shock": Hazard("shock", ("mains",)), "cut": Hazard("cut"),
                      "bite": Hazard("bite", ("mains", "charge"))})  # fmt: skip
    assert needed(known, ["cut"], False, SOURCES) == ()
    assert needed(known, ["shock"], False, SOURCES) == ("plug", "tap")
    assert needed(known, ["bite", "shock"], False, SOURCES) == ("plug", "tap", "cap")
    assert needed(known, ["bite"], False, {"plug": PLUG}) == ("plug", "?charge")
    assert needed(known, ["dragon"], False, SOURCES) == ("?dragon",)
    assert needed(known, ["dragon", "shock"], False, SOURCES) == ("?dragon", "plug", "tap")  # it hides none
    assert needed(known, [], True, SOURCES) == ("plug", "tap")
    assert needed(known, [], True, {"cap": CAP}) == ("?",)
    assert known.kind_called("mains") is MAINS
    assert known.kind_called("nothing") is None
    assert Catalogue({"m": replace(MAINS, also=("cord",))}).kind_called("cord") is not None


def test_a_source_that_is_needed_and_not_there_has_nobodys_name() -> None:
    kind = EnergyKind("mains", proofs=("switch",))
    catalogue = Catalogue({"mains": kind}, {"wet": Hazard("wet", ("water",))}, {})
    sources = {name: Source(name, kind) for name in ("?water", "??water", "?fire", "?")}
    assert needed(catalogue, ("wet", "fire"), False, sources) == ("???water", "??fire")
    loose = {name: replace(one, kind=replace(kind, lock=False)) for name, one in sources.items()}
    assert needed(catalogue, (), True, loose) == ("??",)


def test_what_a_file_leaves_out_asks_for_nothing_and_proves_nothing() -> None:
    assert Method("look", "look") == Method("look", "look", quantity="", unit="", most=0.0, points=(), instead="")
    assert EnergyKind("x") == EnergyKind("x", lock=True, behind=(), proofs=(), returns=None, also=())
    assert Hazard("x") == Hazard("x", fed_by=(), caution=False)
    assert Catalogue() == Catalogue({}, {}, {})
    assert Source("x", MAINS) == Source("x", MAINS, behind=(), proofs=())
    assert Method("look", "look").most < 0.001  # no reading is below it: nothing is dead by a limit that nobody set
    assert not Source("x", EnergyKind("x")).proved_by(["try", "meter", "look"])


# ---- people ---------------------------------------------------------------------------------------------------------


def test_only_the_own_phrase_of_who_is_here_opens() -> None:
    assert folk.opens(ANN, "isolated", phrase("isolated", ANN))
    assert folk.opens(ANN, "isolated", phrase("isolated", ANN, voice="doubtful"))
    for wrong in (
        phrase("clear", ANN), phrase("isolated", BEN), phrase("isolated", ANN, verdict=Verdict.ASKED_AGAIN),
        phrase("isolated", ANN, verdict=Verdict.PROPOSED), phrase("isolated", ANN, verdict=Verdict.NOT_FOR_ME),
        phrase("isolated", ANN, sense=Sense.PHRASE), phrase("isolated", ANN, sense=Sense.DENIAL),
        phrase("isolated", ANN, voice="other"),
    ):  # fmt: skip
        assert not folk.opens(ANN, "isolated", wrong)
    for nobody in (replace(ANN, here=False), Person("x"), Person("x", ("one",)), Person("x", tuple("12345"))):
        assert not folk.opens(nobody, "isolated", phrase("isolated", nobody))


def test_numbers_are_two_to_four_figures_and_no_two_the_same() -> None:
    assert folk.numbered((ANN,), "Ben", BEN.number) == (ANN, BEN)
    assert folk.numbered((ANN,), "Ben", ANN.number) == (ANN,)
    assert folk.numbered((ANN, BEN), "Ben", ("nine", "nine"))[1].number == ("nine", "nine")
    assert folk.numbered((ANN,), "Ann", ANN.number) == (ANN,)
    for bad in ((), ("one",), tuple("12345")):
        assert folk.numbered((ANN,), "Ben", bad) == (ANN,)
    assert folk.numbered((), "Ann", tuple("1234")) == (Person("Ann", tuple("1234")),)
    assert folk.gone((ANN,)) == (replace(ANN, here=False),)
    assert folk.here((replace(ANN, here=False), BEN)) == (BEN,)
    assert folk.named((ANN,), "Ben") is None
    assert folk.taken((ANN,), "Ben", ANN.number)
    assert not folk.taken((ANN,), "Ann", ANN.number)


def test_another_number_is_another_person_where_a_lock_is_on() -> None:
    """After a stop everybody states a number anew; whoever's lock is on is known by theirs."""
    gone, on = folk.gone((ANN,)), frozenset({Lock("plug", "Ann")})
    assert folk.another(gone, on, "Ann", BEN.number)
    assert not folk.another(gone, on, "Ann", ANN.number)
    assert not folk.another(gone, frozenset(), "Ann", BEN.number)
    assert not folk.another(gone, frozenset({Lock("plug", "Ben")}), "Ann", BEN.number)
    assert not folk.another((), on, "Ann", BEN.number)
    assert folk.numbered(gone, "Ann", BEN.number, on) == gone
    assert folk.numbered(gone, "Ann", ANN.number, on) == (ANN,)
    assert folk.numbered(gone, "Ann", BEN.number) == (Person("Ann", BEN.number),)
    state = Interlock(SOURCES, people=gone, locks=on)
    assert lock.join(state, "Ann", BEN.number) == state
    assert lock.join(state, "Ann", ANN.number).people == (ANN,)


def test_a_lock_without_its_owner_comes_off_after_every_step_of_the_procedure() -> None:
    on = frozenset({Lock("plug", "Ann"), Lock("plug", "Ben")})
    for affirmed in range(len(folk.WITHOUT_OWNER)):
        assert folk.without_owner(on, "Ann", affirmed) == on
    assert folk.without_owner(on, "Ann", len(folk.WITHOUT_OWNER)) == {Lock("plug", "Ben")}
    assert folk.left_on(on) == (("Ann", "plug"), ("Ben", "plug"))
    assert folk.owners(on, "plug") == ("Ann", "Ben")
    assert folk.owners(on, "tap") == ()
    state = Interlock(SOURCES, locks=on)
    for _ in range(3):
        state = lock.absent_affirmed(state, "Ann")
        assert state.locks == on
    state = lock.absent_affirmed(state, "Ann")
    assert (state.locks, state.absent) == (frozenset({Lock("plug", "Ben")}), 0)


# ---- the interlock --------------------------------------------------------------------------------------------------


def test_one_person_one_source() -> None:
    state = begun("plug")
    assert (state.power, state.isolated, state.held) == (Power.ISOLATING, False, False)
    state = lock.hear_phrase(state, ("plug",), phrase("isolated", ANN), 2.0)
    assert (state.hold("plug"), state.locks, state.last_heard) == (CLAIMED, frozenset({Lock("plug", "Ann")}), 5.0)
    state = lock.prove(state, "plug", "meter", 9.0)
    assert (state.power, state.isolated, state.since["plug"], state.proved_at["plug"]) == (Power.ISOLATED, True, 9.0, 9.0)
    assert state.missing(["plug"]) == ()
    assert state.missing(["plug", "tap"]) == ("tap",)
    assert replace(state, doubt=True).missing(["plug"]) == ("plug",)
    assert not replace(state, doubt=True).isolated


def test_everybody_here_gives_their_phrase_before_it_is_claimed() -> None:
    state = begun("plug", people=(ANN, BEN))
    state = lock.hear_phrase(state, ("plug",), phrase("isolated", ANN), 2.0)
    assert (state.hold("plug").claimed, state.speaker) == (False, "Ben")
    again = lock.hear_phrase(state, ("plug",), phrase("isolated", ANN), 2.0)
    assert (again.failures, again.hold("plug").claimed) == (1, False)
    assert lock.hear_phrase(state, ("plug",), phrase("isolated", BEN), 2.0).hold("plug") == CLAIMED


def test_a_phrase_where_nothing_was_begun_claims_nothing() -> None:
    for state in (Interlock(SOURCES, people=(ANN,)), lock.turn(begun("plug"), ["plug"], SourceEvent.RESTORE_BEGUN, 2.0)):
        after = lock.hear_phrase(state, ("plug",), phrase("isolated", ANN), 2.0)
        assert (after.failures, after.locks, after.holds) == (1, frozenset(), state.holds)
    nobody = lock.hear_phrase(begun("plug", people=()), ("plug",), phrase("isolated", ANN), 2.0)
    assert nobody.failures == 1


def test_what_has_a_lock_is_never_claimed_by_relieving_it() -> None:
    state = begun("plug", "cap")
    assert lock.relieved(state, ("plug",), 2.0) == state
    assert lock.relieved(state, ("plug", "cap"), 2.0) == state
    assert not lock.relieved(state, ("cap",), 2.0).hold("cap").claimed  # what fills it is on
    state = lock.hear_phrase(state, ("plug",), phrase("isolated", ANN), 2.0)
    assert lock.relieved(state, ("cap",), 3.0).hold("cap") == CLAIMED


def ready(people: tuple[Person, ...] = (ANN,)) -> Interlock:
    state = begun("plug", people=people)
    for person in people:
        state = lock.hear_phrase(state, ("plug",), phrase("isolated", person), 2.0)
    return lock.prove(state, "plug", "meter", 3.0)


def test_each_lock_comes_off_by_its_owner() -> None:
    state = lock.turn(ready((ANN, BEN)), ["plug"], SourceEvent.RESTORE_BEGUN, 4.0)
    assert lock.owner_awaited(state, ["plug"]) == "Ann"
    wrong = lock.lock_off(replace(state, speaker="Ann"), ["plug"], phrase("clear", BEN))
    assert (wrong.failures, len(wrong.locks)) == (1, 2)
    state = lock.lock_off(replace(state, speaker="Ann"), ["plug"], phrase("clear", ANN))
    assert lock.owner_awaited(state, ["plug"]) == "Ben"
    assert lock.owner_awaited(state, ["tap"]) == ""
    state = lock.lock_off(replace(state, speaker="Ben"), ["plug"], phrase("clear", BEN))
    assert (state.locks, lock.owner_awaited(state, ["plug"])) == (frozenset(), "")


def test_another_lock_joins_and_the_first_leaves_while_it_stays_on() -> None:
    state = lock.join(ready(), "Ben", BEN.number)
    assert lock.join(state, "Cem", ANN.number) == state
    assert lock.lock_on(state, BEN, phrase("isolated", ANN)).failures == 1
    assert state.locked_by(["plug"]) == 1
    assert state.locked_by(["cap"]) == state.locked_by([]) == 2  # where none has a lock: who is here
    assert lock.leave(state, ["plug"], phrase("clear", ANN)).failures == 1  # nobody else's lock is on
    state = lock.lock_on(state, BEN, phrase("isolated", BEN))
    assert (state.locked_by(["plug"]), state.locked_by(["plug", "tap"])) == (2, 0)
    assert lock.leave(state, ["plug"], phrase("clear", BEN)).failures == 1
    state = lock.leave(state, ["plug"], phrase("clear", ANN))
    assert (state.locks, state.hold("plug").power) == (frozenset({Lock("plug", "Ben")}), Power.ISOLATED)
    assert [one.here for one in state.people] == [False, True]
    assert state.person == BEN


def test_clearing_one_leaves_the_other_and_clearing_all_ends_the_doubt() -> None:
    state = lock.turn(replace(ready(), holds={"plug": DEAD, "tap": DEAD}), ["tap"], SourceEvent.POWER_IS_ON, 7.0)
    assert (state.hold("plug"), state.hold("tap"), state.since["tap"]) == (DEAD, LIVE, 7.0)
    assert "plug" in state.since
    assert state.since["plug"] == 3.0
    gone = lock.turn_all(replace(state, doubt=True), SourceEvent.RESUMED, 8.0)
    assert (gone.power, gone.doubt, gone.locks) == (Power.LIVE, False, state.locks)
    assert lock.nobody(gone).lock == ()


def test_the_least_safe_is_told_of_the_whole() -> None:
    def power(*powers: Power) -> Power:
        return Interlock(SOURCES, dict(zip(SOURCES, map(Hold, powers), strict=False))).power

    assert power() is Power.LIVE
    assert power(Power.ISOLATED, Power.LIVE) is Power.ISOLATED
    assert power(Power.ISOLATED, Power.ISOLATING) is Power.ISOLATING
    assert power(Power.RESTORING, Power.ISOLATING) is Power.RESTORING


def test_silence_and_what_comes_back_are_counted_from_the_last_word_and_the_proof() -> None:
    state = ready()
    assert lock.overstayed(state, 3.0 + 60.1, 60.0)
    assert not lock.overstayed(state, 3.0 + 60.0, 60.0)
    assert not lock.overstayed(lock.spoke(state, 50.0), 110.0, 60.0)
    assert not lock.overstayed(begun("plug"), 1e9, 60.0)
    state = replace(state, holds={**state.holds, "cap": DEAD}, proved_at={"plug": 0.0, "cap": 10.0})
    assert lock.came_back(state, 10.0 + 1800.0) == ()
    assert lock.came_back(state, 10.1 + 1800.0) == ("cap",)
    assert lock.came_back(replace(state, holds={"cap": CLAIMED}), 1e9) == ()
    assert lock.came_back(replace(state, proved_at={}), 1e9) == ()
    assert lock.waits_for(replace(state, given=frozenset({"Ann"}))) is None
    assert lock.saw(begun("plug"), ["plug"], True).hold("plug").seen


def test_a_source_is_shut_while_somebody_here_has_no_lock_on_it() -> None:
    """Who has joined works here too: their lock goes on before the next step (29 CFR 1910.147 (f)(3)(ii)(D))."""
    state = replace(ready(), holds={"plug": DEAD, "cap": DEAD})
    assert state.missing(["plug", "cap"]) == ()
    joined = lock.join(state, BEN.name, BEN.number)
    assert joined.missing(["plug", "cap"]) == ("plug",)  # a charge takes no lock
    assert lock.lock_on(joined, BEN, phrase("isolated", BEN)).missing(["plug", "cap"]) == ()


def test_who_came_late_is_late_until_their_lock_is_on_or_nothing_is_held() -> None:
    """A lock from before does not count for who comes while something is held."""
    held = replace(ready(), holds={"plug": DEAD, "tap": DEAD}, late=frozenset({"Ben"}))
    assert lock.turn(held, ["tap"], SourceEvent.POWER_IS_ON, 7.0).late == {"Ben"}
    assert lock.turn(held, ["plug", "tap"], SourceEvent.POWER_IS_ON, 7.0).late == frozenset()
    worn = replace(lock.join(held, BEN.name, BEN.number), failures=2, speaker="Ben")
    on = lock.lock_on(worn, BEN, phrase("isolated", BEN))
    assert (on.late, on.failures, on.speaker, on.last_heard) == (frozenset(), 0, "", 5.0)


@pytest.mark.parametrize("ended", [0.0, 3999.0, 4000.0])
def test_a_phrase_never_makes_it_look_as_if_nobody_had_spoken(ended: float) -> None:
    """Whatever times an utterance carries, a silence is counted from when somebody last spoke (rule 4)."""
    spoke = lock.spoke(begun("plug"), 4000.0)
    claimed = lock.hear_phrase(spoke, ("plug",), phrase("isolated", ANN, ended=ended), 4000.0)
    assert claimed.held
    assert not lock.overstayed(claimed, 4001.0, 1800.0)
    isolated = lock.prove(claimed, "plug", "try", 4000.0)
    for after in (lock.lock_on(isolated, BEN, phrase("isolated", BEN, ended=ended)),
                  lock.lock_off(isolated, (), phrase("clear", ANN, ended=ended))):  # fmt: skip
        assert after.held
        assert after.failures == 0
        assert not lock.overstayed(after, 4001.0, 1800.0)


def test_the_words_that_stand_in_records_stay_what_they_are() -> None:
    """A record of years ago is read by them."""
    assert [str(power) for power in Power] == ["LIVE", "ISOLATING", "ISOLATED", "RESTORING"]
    assert [str(what) for what in SourceEvent] == [
        "isolation begun", "restore begun", "restored", "found live", "isolation left", "power is on", "break",
        "may have come back", "resume", "handover", "fault", "visit closed",
    ]  # fmt: skip


def test_a_source_of_which_nothing_is_known_is_live_unclaimed_unproved_and_unseen() -> None:
    assert (LIVE.power, LIVE.claimed, LIVE.proofs, LIVE.seen) == (Power.LIVE, False, frozenset(), False)
    assert LIVE.seen is False
    assert LIVE.claimed is False


def test_each_step_of_an_absent_owner_has_its_sentence() -> None:
    for code in ("en", "es"):
        for key in folk.WITHOUT_OWNER:
            assert "Ann" in base.load(code).prompt(key, owner="Ann")


@pytest.mark.parametrize(("figures", "locks"), [(1, False), (2, True), (3, True), (4, True), (5, False)])
def test_a_number_has_two_to_four_figures(figures: int, locks: bool) -> None:
    number = ("one", "two", "three", "four", "five")[:figures]
    assert Person("Ann", number).may_lock is locks
    assert bool(folk.numbered((), "Ann", number)) is locks


def test_who_states_another_number_changes_nobody_elses() -> None:
    after = folk.numbered((ANN, BEN), "Ben", ("five", "six"))
    assert after == (ANN, Person("Ben", ("five", "six")))
    assert folk.numbered((ANN, BEN), "Ann", ("five", "six")) == (Person("Ann", ("five", "six")), BEN)


def test_an_interlock_begins_with_nobody_nothing_and_no_doubt() -> None:
    new = Interlock()
    assert (new.sources, new.holds, new.people, new.locks) == ({}, {}, (), frozenset())
    assert (new.speaker, new.given, new.failures, new.absent, new.doubt) == ("", frozenset(), 0, 0, False)
    assert (new.last_heard, new.since, new.proved_at) == (0.0, {}, {})
    assert new.doubt is False
    assert new.locked_by(()) == 0


def test_once_nobody_is_known_to_be_here_nobodys_phrase_is_awaited_and_none_counts() -> None:
    after = lock.nobody(replace(begun("plug", people=(ANN, BEN)), speaker="Ben", given=frozenset({"Ann"})))
    assert (after.speaker, after.given) == ("", frozenset())
    assert after.people == (replace(ANN, here=False), replace(BEN, here=False))


WORN = {"given": frozenset({"Ann"}), "failures": 2, "absent": 1, "speaker": "Ben", "doubt": True}


@pytest.mark.parametrize("what", list(SourceEvent))
def test_after_any_turn_phrases_are_given_anew_and_only_the_answer_ends_the_doubt(what: SourceEvent) -> None:
    worn = replace(begun("plug", people=(ANN, BEN)), **WORN)  # type: ignore[arg-type]  # fields by name
    after = lock.turn(worn, ("plug",), what, 9.0)
    assert (after.given, after.failures, after.absent, after.speaker) == (frozenset(), 0, 0, "")
    assert after.doubt is (what is not SourceEvent.POWER_IS_ON)
    assert lock.turn_all(worn, what, 9.0).doubt is False
    assert lock.turn(replace(worn, doubt=False), ("plug",), what, 9.0).doubt is False


def test_who_is_awaited_in_doubt_and_asked_from_the_first() -> None:
    worn = replace(Interlock(SOURCES, people=(ANN, BEN)), **WORN)  # type: ignore[arg-type]  # fields by name
    assert lock.in_doubt(Interlock()).doubt is True
    assert (lock.awaits(worn, "Ann").speaker, lock.awaits(worn, "Ann").failures) == ("Ann", 0)
    assert lock.absent_anew(worn) == replace(worn, absent=0)


def test_who_leaves_takes_off_every_lock_of_theirs_while_anothers_is_on_each() -> None:
    on = frozenset({Lock("plug", "Ann"), Lock("plug", "Ben"), Lock("tap", "Ann")})
    held = Interlock(SOURCES, people=(ANN, BEN), locks=on, speaker="Ann")
    stays = lock.leave(held, ("plug",), phrase("clear", ANN))
    assert (stays.locks, stays.failures) == (on, 1), "nobody else has a lock on the tap"
    gone = lock.leave(replace(held, locks=on | {Lock("tap", "Ben")}), ("plug",), phrase("clear", ANN))
    assert gone.locks == {Lock("plug", "Ben"), Lock("tap", "Ben")}
    assert [one.name for one in gone.people if one.here] == ["Ben"]
    assert lock.leave(replace(held, locks=on | {Lock("tap", "Ben")}), (), phrase("clear", BEN)).failures == 1


def test_a_phrase_that_counts_leaves_nothing_of_what_failed_before() -> None:
    worn = replace(begun("plug", people=(ANN, BEN)), failures=2, speaker="Ann")
    first = lock.hear_phrase(worn, ("plug",), phrase("isolated", ANN), 5.0)
    assert (first.failures, first.speaker, first.given, first.last_heard) == (0, "Ben", frozenset({"Ann"}), 5.0)
    last = lock.hear_phrase(replace(first, failures=1), ("plug",), phrase("isolated", BEN), 5.0)
    assert (last.failures, last.speaker, last.hold("plug").claimed) == (0, "", True)


def test_what_was_relieved_counts_from_now() -> None:
    worn = replace(Interlock(SOURCES, {"plug": DEAD, "cap": Hold(Power.ISOLATING)}, people=(ANN,)), failures=3)
    after = lock.relieved(worn, ("cap",), 7.0)
    assert (after.failures, after.last_heard, after.hold("cap").claimed) == (0, 7.0, True)
    assert lock.relieved(worn, ("plug",), 7.0) == worn


def test_a_further_lock_goes_on_what_is_held_and_can_be_locked_and_on_nothing_else() -> None:
    held = Interlock(SOURCES, {"plug": DEAD, "cap": DEAD, "tap": Hold(Power.ISOLATING)}, people=(ANN, BEN), speaker="Ben")
    after = lock.lock_on(replace(held, failures=2), BEN, phrase("isolated", BEN))
    assert after.locks == {Lock("plug", "Ben")}
    assert (after.failures, after.speaker, after.holds) == (0, "", held.holds)
    refused = lock.lock_on(held, BEN, phrase("isolated", ANN))
    assert (refused.locks, refused.failures) == (frozenset(), 1)


def test_a_lock_comes_off_by_its_owner_and_the_next_is_awaited_afresh() -> None:
    on = frozenset({Lock("plug", "Ann"), Lock("plug", "Ben"), Lock("tap", "Ann")})
    held = Interlock(SOURCES, people=(ANN, BEN), locks=on, speaker="Ann", failures=2)
    after = lock.lock_off(held, ("plug",), phrase("clear", ANN))
    assert after.locks == on - {Lock("plug", "Ann")}
    assert (after.failures, after.speaker, after.given, after.last_heard) == (0, "", frozenset({"Ann"}), 5.0)
    refused = lock.lock_off(held, ("plug",), phrase("clear", BEN))
    assert (refused.locks, refused.failures) == (on, 3)


def test_the_steps_of_an_absent_owner_are_counted_and_begin_anew_for_the_next() -> None:
    on = frozenset({Lock("plug", "Ann"), Lock("plug", "Ben")})
    held = Interlock(SOURCES, people=(ANN, BEN), locks=on)
    one = lock.absent_affirmed(held, "Ann")
    two = lock.absent_affirmed(one, "Ann")
    three = lock.absent_affirmed(two, "Ann")
    four = lock.absent_affirmed(three, "Ann")
    assert [(each.absent, each.locks) for each in (one, two, three)] == [(1, on), (2, on), (3, on)]
    assert (four.absent, four.locks) == (0, {Lock("plug", "Ben")})
    assert [each.people for each in (one, two, three)] == [(ANN, BEN)] * 3
    assert four.people == (replace(ANN, here=False), BEN)


def test_when_the_first_of_what_is_proved_may_be_back_is_told_to_the_second() -> None:
    slow = Source("tank", replace(CHARGE, name="tank", returns=60.0))
    sources = {**SOURCES, "tank": slow}
    held = Interlock(sources, {"plug": DEAD, "cap": DEAD, "tank": DEAD}, proved_at={"plug": 1.0, "cap": 100.0, "tank": 50.0})
    assert lock.next_return(held) == 100.0 + 30 * 60
    assert lock.next_return(replace(held, holds={"plug": DEAD, "cap": CLAIMED, "tank": DEAD})) == 50.0 + 60 * 60
    assert lock.next_return(replace(held, holds={"plug": DEAD})) is None
    assert lock.next_return(replace(held, proved_at={"plug": 1.0})) is None
    assert lock.next_return(Interlock(sources)) is None
    for seconds, back in ((100.0 + 30 * 60, ()), (100.5 + 30 * 60, ("cap",))):
        assert lock.came_back(held, seconds) == back
    assert lock.came_back(replace(held, proved_at={}), 1.0e9) == ()


def test_nothing_is_proved_while_somebody_here_has_no_lock_on_it() -> None:
    """Their lock goes on first; then it is proved for both (29 CFR 1910.147 (f)(3)(ii)(D))."""
    alone = lock.hear_phrase(begun("plug"), ("plug",), phrase("isolated", ANN), 2.0)
    joined = lock.join(alone, "Ben", BEN.number)
    assert lock.prove(alone, "plug", "meter", 3.0).hold("plug").power is Power.ISOLATED
    assert lock.prove(joined, "plug", "meter", 3.0).hold("plug").power is Power.LIVE
    locked = lock.lock_on(joined, BEN, phrase("isolated", BEN))
    assert lock.prove(locked, "plug", "meter", 3.0).hold("plug").power is Power.ISOLATED


def test_who_comes_back_puts_their_lock_on_anew_though_one_of_theirs_is_on_record() -> None:
    """Found by random books: whoever came back to what another had isolated was let in on their lock of the day before."""
    on = frozenset({Lock("plug", "Ben")})
    alone = lock.hear_phrase(replace(begun("plug"), locks=on), ("plug",), phrase("isolated", ANN), 2.0)
    dead = lock.prove(alone, "plug", "meter", 3.0)
    back = lock.join(dead, "Ben", BEN.number)
    assert (dead.missing(["plug"]), back.missing(["plug"])) == ((), ("plug",))
    assert (lock.latecomer(dead), lock.latecomer(back)) == (None, BEN)
    assert lock.latecomer(lock.join(back, "Ann", ANN.number)) == BEN
    locked = lock.lock_on(back, BEN, phrase("isolated", BEN))
    assert (locked.missing(["plug"]), lock.latecomer(locked), locked.late) == ((), None, frozenset())
    assert lock.turn(back, ["plug"], SourceEvent.RESTORE_BEGUN, 4.0).late == lock.nobody(back).late == frozenset()
    assert lock.join(Interlock(SOURCES), "Ben", BEN.number).late == frozenset()
