"""The state of a visit: everything that `advance` knows, frozen.

`awaiting` says which answer the visit waits for; `overlay` is something that interrupts it for a moment (stand by, a note,
the question whether to stop) while it is kept. What is in force follows from the two and the step.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from handsfree.isolation.interlock import Interlock
from handsfree.journal.events import FindingMade, ListenFor, Utterance
from handsfree.language.base import Language
from handsfree.procedure.model import Book, Procedure, Step


class Awaiting(StrEnum):
    NOTHING = "nothing"
    WHO = "who it is"
    LOCK_NUMBER = "lock number"
    LOCK_AFFIRM = "lock number affirmed"
    DONE = "step done"
    UNDERSTOOD = "caution understood"
    ANSWER = "answer"
    ALSO_SAID = "also said"
    READING = "reading"
    READING_AFFIRM = "reading affirmed"
    SEEN = "seen running before"
    GATE = "gate phrase"
    RELIEVED = "relieved"
    TESTER_BEFORE = "tester proved before"
    SWITCH_TRIED = "switch tried"
    OFF_AGAIN = "switched off again"
    LOOKED = "looked at"
    DEAD_READING = "reading of dead"
    DEAD_AFFIRM = "reading of dead affirmed"
    TESTER_AFTER = "tester proved after"
    RESTORE_CHECK = "restore check"
    RESTORE_GATE = "clear phrase"
    OWNER_GONE = "owner of a lock gone"
    JOIN_GATE = "gate phrase of another"
    LEAVE_GATE = "clear phrase of who leaves"
    WHICH_SOURCE = "which source is on"
    RESTORE_POWER = "power put on"
    WAIT = "wait"
    CUT_WAIT = "wait cut short"
    DESK_ASKS = "what the desk asks"


class Overlay(StrEnum):
    NONE = ""
    STAND_BY = "stand by"
    NOTE = "note"
    STOP_ONCE = "stop asked once"
    STOP_TWICE = "stop asked twice"
    PROPOSAL = "was it that"


@dataclass(frozen=True)
class Frame:
    """Where one procedure of the stack is."""

    procedure: str
    step: str


FrameStack = tuple[Frame, ...]
#: Where, what is asked there, and which check or point of it.
Asking = tuple[FrameStack, Awaiting, int]
#: The step that gave a result: (procedure path, step id).
Origin = tuple[tuple[str, ...], str]
#: A complaint that came besides: the answer it means, '' for none, and the words it came in.
Besides = tuple[str, str]


class Form(StrEnum):
    """How much is said."""

    FULL = "full"  # every choice is read
    USUAL = "usual"
    SHORT = "short"  # a step's name and what is new


@dataclass(frozen=True)
class Result:
    """The result of a step. `value` in the step's unit; `state` over range / unsteady; `text` as a reader should see it."""

    text: str
    value: float | None = None
    unit: str = ""
    state: str = ""


@dataclass(frozen=True)
class Fact:
    """What is known since `at` (seconds on the visit's clock), from `origin`, for `keeps` seconds or the whole visit."""

    result: Result
    at: float
    origin: Origin
    keeps: float | None = None


@dataclass(frozen=True)
class Sample:
    """A reading of a series: which series, where it counts, when it was taken (minutes of the visit), and its value;
    temperatures in degrees Celsius, whatever they were given in. `given`: the step that it was given at."""

    series: str
    path: tuple[str, ...]
    step: str
    minute: float
    value: float
    given: Origin = ((), "")


@dataclass(frozen=True)
class Pending:
    """A reading that was heard but not yet accepted: in the step's unit, and as it was given."""

    value: float
    given: float
    given_unit: str


#: `Result.state` of a photo or the like that nobody took.
NOT_TAKEN = "not taken"
#: In `State.lost`: the loss cleared an isolation, which is said again when it can be heard.
CLEARED = "isolation"


@dataclass(frozen=True)
class State:
    """Everything that the machine knows between two happenings."""

    book: Book
    language: Language
    frames: FrameStack = ()  # the stack of procedures, the innermost last; () before the start and after the end
    awaiting: Awaiting = Awaiting.NOTHING
    overlay: Overlay = Overlay.NONE
    interlock: Interlock = field(default_factory=Interlock)
    trail: tuple[FrameStack, ...] = ()  # places that 'go back' may return to, the latest last
    # for each source the isolation step last entered: a cleared isolation is made again there
    covering: Mapping[str, FrameStack] = field(default_factory=dict)
    return_to: FrameStack = ()  # where to go once it is made again
    # results by (procedure path, step)
    remembered: Mapping[tuple[tuple[str, ...], str], Result] = field(default_factory=dict)
    answered: Origin | None = None  # the step of the last answer or reading that was given; what was known is not said
    # what each step told the fault model, the latest last: 'check=answer', '' for nothing
    tellings: Mapping[tuple[tuple[str, ...], str], str] = field(default_factory=dict)
    facts: Mapping[str, Fact] = field(default_factory=dict)  # what is known in the whole visit, by name
    besides: tuple[Besides, ...] = ()  # complaints that are still to be taken up, the oldest first
    just_kept: tuple[Besides, ...] = ()  # those of the last addition, while the question stands to which it came
    arrived: str = ""  # the step at which a photo came in while it was asked for
    warned: frozenset[str] = frozenset()  # the cautions that were understood, by their text
    halted: bool = False  # cleared after a shock: what to do next is said once somebody says to go on
    proposed: Utterance | None = None  # what was likely heard, read back
    beneath: Overlay = Overlay.NONE  # the overlay that it is asked over, which comes back
    heard_out: float = 0.0  # when the last prompt had ended
    ended: int = -1  # its number
    unanswered: Utterance | None = None  # the last speech that got no answer
    found: tuple[FindingMade, ...] = ()  # findings of the last turn
    waited: bool = False  # how a wait goes was explained
    half: bool = False  # half time of this wait is still to be told
    learned: frozenset[str] = frozenset()  # how answers are worded, of what the person has worded so once
    level: float = 0.0  # how loud the person who is heard usually is, dB full scale; 0 before it is known
    lost: frozenset[str] = frozenset()  # the parts of the sound that are gone, and CLEARED
    form: Form = Form.USUAL
    emergency: str = ""  # whom to call, as it is said
    series: tuple[Sample, ...] = ()
    pending: Pending | None = None
    half_heard: str = ""  # what was asked again here and held a figure; '' for nothing
    lock_offered: tuple[str, ...] = ()
    joining: str = ""  # who states a number
    another: bool = False  # one more comes then
    coming: Awaiting = Awaiting.NOTHING  # what somebody who comes is asked on, once it is known which source is on
    technician: str = ""  # who works, by name; '' where nobody said
    technicians: tuple[str, ...] = ()  # who may come besides
    questions: tuple[tuple[str, str, str], ...] = ()  # of the desk, to be put at close-out: (finding, who asks, words)
    voice_doubted: bool = False  # the phrase was right and the voice in doubt, once
    voice_told: bool = False  # they were told that no voice is compared
    check: int = 0  # which check of a restore
    point: int = 0  # which point of a proof
    wait_ends: float = 0.0
    tries: int = 0  # askings-again in a row
    said: int = 0  # how many prompts so far
    spoken: frozenset[Asking] = frozenset()  # the questions whose words were said
    listening: ListenFor | None = None
    rate: int = 0
    volume: int = 0
    began: float = 0.0
    now: float = 0.0
    wall: str = ""
    told_quiet: bool = False
    outcome: str = ""
    not_before: float | None = None
    fault: str = ""  # what broke the visit off; '' for nothing
    failed_at: FrameStack = ()  # the step at which the program last failed
    broken: frozenset[FrameStack] = frozenset()  # steps that are not tried again

    @property
    def closed(self) -> bool:
        return bool(self.outcome)

    @property
    def speaking(self) -> bool:
        """The last prompt has not ended."""
        return self.ended < self.said - 1

    @property
    def asked(self) -> Awaiting | Overlay:
        """The row of `visit.questions.QUESTIONS` that is asked now."""
        return self.overlay or self.awaiting

    @property
    def asking(self) -> Asking:
        """What `spoken` keeps of the words that are said now."""
        return self.frames, self.awaiting, self.check if self.awaiting is Awaiting.RESTORE_CHECK else self.point

    @property
    def below(self) -> Awaiting | Overlay:
        """What is asked, or what lies under a read-back."""
        return (self.beneath or self.awaiting) if self.overlay is Overlay.PROPOSAL else self.asked

    @property
    def needs(self) -> tuple[str, ...]:
        """The sources that the step needs ISOLATED."""
        step = self.step
        return () if step is None else self.book.energy.needs(step)

    @property
    def shut(self) -> bool:
        """The step may not be reached or spoken now."""
        return bool(self.interlock.missing(self.needs))

    @property
    def waiting(self) -> bool:
        """A wait of the procedure: nobody is expected to speak."""
        return self.awaiting is Awaiting.WAIT

    @property
    def told(self) -> Mapping[str, str]:
        """Check of the fault model -> its answer."""
        parts = (telling.partition("=") for telling in self.tellings.values() if telling)
        return {check: answer for check, _, answer in parts}

    @property
    def path(self) -> tuple[str, ...]:
        return tuple(frame.procedure for frame in self.frames)

    @property
    def procedure(self) -> Procedure:
        return self.book.procedures[self.frames[-1].procedure]

    @property
    def break_seconds(self) -> float:
        """How long a silence may be: the shortest that a procedure on the stack allows."""
        return 60 * min((self.book.procedures[name].break_minutes for name in self.path), default=0.0)

    @property
    def step(self) -> Step | None:
        return self.book.at(self.frames[-1].procedure, self.frames[-1].step) if self.frames else None
