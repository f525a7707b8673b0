"""The model of a procedure: what a procedure file may say.

Rules of this file:

- A procedure is a list of steps. A step goes to the step named in `go`, or to the next one in the list.
- Each kind of step is one class; `kind` tells them apart. A field a kind does not have is an error.
- Hazards are named on the step that meets them. Which of them need isolation is in the hazard files, nowhere else.
- Everything is frozen: a procedure never changes while it runs.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from itertools import zip_longest
from typing import Annotated, ClassVar, Literal

from pydantic import BeforeValidator, Field, model_validator
from pydantic_core import PydanticCustomError

from handsfree.isolation import energy
from handsfree.language.quantities import convert, unit_fits
from handsfree.procedure.fields import NAME as NAME
from handsfree.procedure.fields import Duration as Duration
from handsfree.procedure.fields import Facts as Facts
from handsfree.procedure.fields import HazardName
from handsfree.procedure.fields import Level as Level
from handsfree.procedure.fields import Name as Name
from handsfree.procedure.fields import Range as Range
from handsfree.procedure.fields import Sentence as Sentence
from handsfree.procedure.fields import Series as Series
from handsfree.procedure.fields import SourceName as SourceName
from handsfree.procedure.fields import Tells as Tells
from handsfree.procedure.fields import is_fed as is_fed
from handsfree.procedure.fields import seconds_of as seconds_of
from handsfree.procedure.parts import Frozen, Instrument, by_name
from handsfree.procedure.parts import SourceOf as SourceOf
from handsfree.procedure.sources import Energy


def text_digest(text: str) -> str:
    """What `sound_of` holds: the SHA-256 (FIPS 180-4) of a step's text in UTF-8."""
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def in_words(name: str) -> str:
    """'who-lifts' -> 'Who lifts.'"""
    return f"{name[:1].upper()}{name[1:].replace('-', ' ')}."


class _Step(Frozen):
    #: False for the steps that only warn of a hazard, or are themselves the way in or out of isolation.
    works: ClassVar[bool] = True

    id: Name = Field(description="the step's name in this file, in the record and in expressions")
    say: Sentence = Field(description="what is read aloud")
    with_page: Sentence | None = Field(
        None, description="what is read aloud instead if the cabinet's page gives every {name} in it"
    )
    hazards: tuple[HazardName, ...] = Field((), description="what this step meets, or, on a caution, warns of")
    needs_isolation: bool = Field(False, description="ask for isolation even if no hazard named here needs it")
    people: int = Field(1, ge=1, le=2, description="how many people must have a lock on what this step needs isolated")
    go: Name | None = Field(None, description="the step that follows; the next in the list if left out")
    minutes: float | None = Field(None, gt=0, le=100_000, description="how long the work of this step takes")
    short: Annotated[str, Field(max_length=120)] | None = Field(
        None, description="what is said in the short form; the step's name in words if left out"
    )
    makes: Facts = Field((), description="facts that are known in the visit after this step")
    spoils: tuple[Name, ...] = Field((), description="facts that are no longer known after this step")
    sound: str | None = Field(None, description="the writer's own recording of this step, a file beside the procedure")
    sound_of: str | None = Field(None, description="SHA-256 of the text that `sound` speaks")

    @property
    def own_sound(self) -> str:
        """The writer's recording while it speaks this text; '' where there is none, or the text was edited since."""
        return self.sound if self.sound is not None and self.sound_of == text_digest(self.say) else ""

    @property
    def behind_gate(self) -> bool:
        return self.works and (self.needs_isolation or any(map(is_fed, self.hazards)))


class _Passable(_Step):
    unless: Facts = Field((), description="skipped silently if all of these are known to be true")


class _Asked(_Passable):
    """A question. There are also ways on without an answer: 'can't tell' goes to `unknown`, 'not fitted' to `absent` and
    'skip it' to `skip`; the last two go to `unknown` if left out. Without `unknown` a reading goes to the step after it, and
    so does a question that has an answer without `go`."""

    unknown: Name | None = Field(None, description="where the answer 'can't tell' leads")
    absent: Name | None = Field(None, description="where the answer 'not fitted' leads; to `unknown` if left out")
    skip: Name | None = Field(None, description="where the answer 'skip it' leads; to `unknown` if left out")
    fact: Name | None = Field(None, description="the whole visit knows the answer by this name, and does not ask again")
    keeps: Duration | None = Field(None, description="how long the fact is known; for the whole visit if left out")

    @property
    def lasting(self) -> float | None:
        """`keeps` in seconds."""
        return None if self.keeps is None else seconds_of(self.keeps)


class Instruct(_Passable):
    """Do one thing, then say 'next step'."""

    kind: Literal["instruct"]
    part: Annotated[str, Field(min_length=1, max_length=80)] | None = Field(None, description="a part that it puts in new")


class Caution(_Step):
    """Read before the step it protects; acknowledged with 'understood'. `protects` names that step (default: the one it
    goes to). Its `hazards` are those it warns of."""

    works: ClassVar[bool] = False

    kind: Literal["caution"]
    level: Level = Field(description="how grave it is")
    protects: Name | None = Field(None, description="the step it stands before; the one it goes to if left out")


class Answer(Frozen):
    """One spoken answer: `say` is its name in the record and in expressions; `also` other ways to say it."""

    say: Annotated[str, Field(min_length=1, max_length=60)] = Field(description="the answer, as it is said and recorded")
    also: tuple[str, ...] = Field((), description="other ways to say it")
    go: Name | None = Field(None, description="where it leads; where the step goes if left out")
    tells: Tells | None = Field(None, description="what it tells the fault model")
    stands_for: Literal["yes", "no"] | None = Field(None, description="a plain yes or no also counts as this answer")
    makes: Facts = Field((), description="facts that are known in the visit after this answer")


class Ask(_Asked):
    """A question with a small set of spoken answers."""

    kind: Literal["ask"]
    gist: Annotated[str, Field(pattern=r"^[a-z]*$")] = Field(
        "", description="people may answer in their own words; the file grammar/LANGUAGE.NAME.yaml of this name says which"
    )
    answers: tuple[Answer, ...] = Field(min_length=2, max_length=12)


def way_out_of(step: Ask | Read, name: str) -> tuple[bool, str | None]:
    """Whether 'cannot tell', 'not fitted' or 'skip it' leads anywhere from the step, and where; None for what follows it."""
    to = {"cannot tell": None, "not fitted": step.absent, "skip it": step.skip}[name] or step.unknown
    follows = isinstance(step, Read) or any(answer.go is None for answer in step.answers)
    return to is not None or follows, to


class Read(_Asked):
    """A reading taken by the technician and spoken.

    `plausible`: outside it the program doubts the hearing; `expected`: outside it the program doubts the cabinet.
    `accuracy`: the instrument's, as '0.5 degC' or '1 %'. `over_range`, `unsteady`: where those answers lead."""

    kind: Literal["read"]
    quantity: str = Field(description="what is measured, in words")
    unit: str = Field(description="a pint unit name: degF, degC, volt, ampere, ohm, psi, kelvin… or empty for a count")
    plausible: Range = Field(description="lowest and highest; outside it the program doubts the hearing")
    expected: Range | None = Field(None, description="lowest and highest; outside it the program doubts the cabinet")
    accuracy: str | None = Field(None, description="the instrument's, as '0.5 degC' or '1 %'")
    instrument: str | None = Field(None, description="what it is taken with")
    over_range: Name | None = Field(None, description="where the answer 'over range' leads")
    unsteady: Name | None = Field(None, description="where the answer 'unsteady' leads")
    series: tuple[Series, ...] = Field(
        (), description="kept, with its time, with the others of the series; in expressions rows(...) gives them all"
    )
    decides: bool = Field(False, description="a branch depends on it: it needs 'affirm'")


class Isolate(_Step):
    """Isolation: what to switch off, unplug or lock, then everybody's gate phrase. For sources that have no lock (a charge):
    how to relieve them. 29 CFR 1910.147 (d)."""

    works: ClassVar[bool] = False

    kind: Literal["isolate"]
    do: tuple[Sentence, ...] = Field(min_length=1, description="one sentence each: switch off, unplug, lock, tag")
    sources: tuple[SourceName, ...] = Field(min_length=1, description="each energy source this isolates, by name")
    least_seconds: float = Field(
        10.0, ge=0, description="least time the work takes after its last word; a faster confirmation is a finding"
    )


class Prove(_Step):
    """Proves one source dead, 29 CFR 1910.147 (d)(6) and, by measuring, 1910.333 (b)(2)(iv): prove the tester, test every
    point, prove the tester again. `source`: the one that the procedure isolates, if left out."""

    works: ClassVar[bool] = False

    kind: Literal["prove"]
    method: str = Field(max_length=60, description="a proof from the hazard files: switch, meter…")
    source: SourceName | None = Field(None, description="which source; the one that is isolated here if left out")
    unit: str = Field("", description="what it is measured in; the method's own unit if left out")
    below: float | None = Field(None, gt=0, description="measured: dead is below this; never above the method's own limit")
    points: tuple[Sentence, ...] = Field((), max_length=12, description="what is measured; the method's own if left out")
    tester: Sentence = Field("Prove the tester on a known live source.", description="measured: how the tester is proved")

    def measured_in(self, method: energy.Method) -> str:
        return self.unit or method.unit

    def limit(self, method: energy.Method) -> float:
        """In `measured_in`, dead is below this: never more than the method allows."""
        unit = self.measured_in(method)
        most = convert(method.most, method.unit, unit) if unit_fits(unit, method.unit) else method.most
        return most if self.below is None else min(self.below, most)

    def measured(self, method: energy.Method) -> tuple[str, ...]:
        return self.points or method.points


class Restore(_Step):
    """29 CFR 1910.147 (e): tools and hands clear, covers back, the same person says 'clear, lock' and the number, then
    power."""

    works: ClassVar[bool] = False

    kind: Literal["restore"]
    sources: tuple[SourceName, ...] = Field((), description="which come back; all that this procedure isolates if left out")
    checks: tuple[Sentence, ...] = Field(min_length=1, description="each acknowledged with 'next step', in this order")
    power: Sentence = Field(description="tells the technician to take the lock off and put the supply on")


class Wait(_Passable):
    """`lasts`: '90 s', '5 min', '24 h', '2 d'. A wait of 12 hours or more closes the visit as to be continued. Unless it is
    `firm`, a wait may be cut short with 'next step' and 'affirm'; the record shows it."""

    kind: Literal["wait"]
    firm: bool = Field(False, description="it protects somebody, so nobody may cut it short")
    lasts: Duration = Field(description="how long it waits")
    because: Sentence = Field(description="the reason, as the printed copy gives it")

    @property
    def seconds(self) -> float:
        return seconds_of(self.lasts)

    @property
    def leaves_site(self) -> bool:
        return self.seconds >= 12 * 3600


class Evidence(_Passable):
    """A photo or other evidence to take; the record notes that it was taken and may carry a file."""

    kind: Literal["evidence"]
    what: Literal["photo", "video", "sound", "document", "sample"] = Field("photo", description="what is to be taken")


class Case(Frozen):
    when: Annotated[str, Field(max_length=500)] = Field(description="an expression over answers and readings")
    go: Name = Field(description="where it leads")
    tells: Tells | None = Field(None, description="what it tells the fault model")
    check: Annotated[str, Field(pattern=r"^[a-z_]+$", max_length=60)] | None = Field(
        None, description="the check of the fault model that is asked there. These cases come first, the one "
        "that tells most for its time at the head; one that tells nothing new is left out"
    )


class Decide(_Step):
    """Goes to the first case whose expression is true, else to `otherwise`. `say` explains it, and may be left out: it is
    spoken only if `aloud` is true. The fault model, if there is one, orders the cases that name a `check`. An expression
    that needs a borderline reading, or one not taken, leads to `otherwise`, and the record says so."""

    kind: Literal["decide"]
    say: Sentence = Field("", description="what it decides on, read aloud if `aloud` is true; its name if left out")
    cases: tuple[Case, ...] = Field(min_length=1, description="the first that is certainly true is taken")
    aloud: bool = Field(False, description="read `say` aloud before going on; a decision that only branches is silent")
    otherwise: Name = Field(description="where it leads if no case is certainly true; it may blame no part")
    otherwise_tells: Tells | None = Field(None, description="what `otherwise` tells the fault model")

    @model_validator(mode="after")
    def _said(self) -> Decide:
        if not self.say:
            raise PydanticCustomError("no_say", "Field required")
        return self

    @property
    def explained(self) -> bool:
        """Its sentence is the writer's, and not just its name."""
        return self.say != in_words(self.id)


class Call(_Passable):
    """Another procedure as a step."""

    kind: Literal["call"]
    procedure: Name = Field(description="which one; its outcome is the answer of this step")
    aloud: bool = Field(True, description="read `say` aloud, except in the short form; false if it tells nothing new")


class Finding(_Step):
    """A diagnosis, with the steps whose answers led to it."""

    kind: Literal["finding"]
    finding: Name = Field(description="what was found, as a name: `worn-seal`")
    means: Literal["fault", "sound", "proved", "advice"] | None = Field(
        None, description="a fault; something in order; the work proved; or advice. A fault if left out"
    )
    open: bool = Field(False, description="says that something is left open: it blames no part")
    evidence: tuple[Name, ...] = Field(min_length=1, description="ids of steps whose answers or readings led here")


class Handover(_Step):
    """To somebody else: licensed work, or the support desk, with the summary that they will ask for. Clears isolation."""

    works: ClassVar[bool] = False

    kind: Literal["handover"]
    to: str = Field(description="who takes over: the workshop, the support desk")
    summary: tuple[Name, ...] = Field(min_length=1, description="ids of steps whose answers make the summary")


class End(_Step):
    """Ends the procedure. Its outcome is the visit's, or the answer of the step that called it."""

    kind: Literal["end"]
    outcome: Literal["fixed", "not fixed", "handed over", "to be continued", "no fault found", "made safe", "done", "watch"]


Step = Annotated[
    Instruct | Caution | Ask | Read | Isolate | Prove | Restore | Wait
    | Evidence | Decide | Call | Finding | Handover | End,
    Field(discriminator="kind"),
]
GATES = (Isolate, Prove, Restore, Handover)  # 'go back' never crosses one


class Procedure(Frozen):
    procedure: Name = Field(description="the name of the file, without .yaml")
    title: str = Field(description="as it is spoken and printed")
    version: Annotated[int, Field(ge=1)] = Field(1, description="higher with each change")
    language: Annotated[str, Field(pattern=r"^[a-z]{2}$")] = Field("en", description="the language of every sentence in it")
    purpose: str = Field("", description="one sentence on what it is for")
    complaint: Annotated[str, Field(pattern=r"^[a-z_]*$")] = Field("", description="a complaint of the fault model")
    #: A longer silence under isolation clears it. 30 minutes: common practice, no source.
    break_minutes: float = Field(30.0, gt=0, le=240, description="a longer silence under isolation clears it")
    #: Above 25 kg two people are needed: common practice, no source.
    lift_kg: float | None = Field(None, gt=0, description="mass of what is lifted; above 25 kg two people are needed")
    sources: Annotated[tuple[SourceOf, ...], BeforeValidator(by_name)] = Field(
        (), description="what can be isolated here, by name: {cabinet plug: {kind: mains}}"
    )
    instruments: Annotated[tuple[Instrument, ...], BeforeValidator(by_name)] = Field(
        (), description="what readings share, by instrument: {thermometer: {unit: degF, accuracy: 1 degF}}"
    )
    steps: tuple[Step, ...] = Field(min_length=1, description="in order; a visit begins at the first")

    def __hash__(self) -> int:
        """By its name alone: it is the key of many caches, and hashing every field took most of the time of a walk."""
        return hash(self.procedure)

    def step(self, step_id: str) -> Step:
        """Raises KeyError for an id that is not here."""
        for step in self.steps:
            if step.id == step_id:
                return step
        raise KeyError(step_id)

    def following(self, step_id: str) -> str | None:
        """Where the step goes unless something else decides: its `go`, else the next in the list, None after the last."""
        for step, after in zip_longest(self.steps, self.steps[1:]):
            if step.id == step_id:
                return step.go if step.go is not None or isinstance(step, End) or after is None else after.id
        raise KeyError(step_id)


@dataclass(frozen=True)
class Book:
    """The procedures of a visit: the one that runs and every one it calls, by name, with what was read from each file:
    its SHA-256, its text, its name as shown to people, and the line each step begins on."""

    main: str
    procedures: Mapping[str, Procedure]
    digests: Mapping[str, str] = field(default_factory=dict)
    texts: Mapping[str, str] = field(default_factory=dict)
    files: Mapping[str, str] = field(default_factory=dict)
    lines: Mapping[str, Mapping[str, int]] = field(default_factory=dict)
    #: A question about the cabinet's page, allowed at any time -> its answer.
    asides: Mapping[str, str] = field(default_factory=dict)

    def at(self, procedure: str, step_id: str) -> Step:
        return self._steps[procedure][step_id]

    @cached_property
    def _steps(self) -> Mapping[str, Mapping[str, Step]]:
        """Asked some forty times a turn."""
        return {name: {step.id: step for step in reversed(one.steps)} for name, one in self.procedures.items()}

    @cached_property
    def energy(self) -> Energy:
        """Its sources, and what each step needs of them."""
        return Energy(self.procedures)

    def file(self, procedure: str) -> str:
        return self.files.get(procedure, f"{procedure}.yaml")

    def line(self, procedure: str, step_id: str) -> int:
        """0 where the book was not read from a file."""
        return self.lines.get(procedure, {}).get(step_id, 0)
