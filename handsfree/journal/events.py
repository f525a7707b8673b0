"""The events of a visit: one class per kind, one line of JSON each.

Rules of this file:

- A *happening* came from outside (heard, a timer, a device lost). `advance` takes nothing else.
- An *effect* is what `advance` returns (say this, listen for that). It is recorded, then performed.
- The journal is each happening and the effects that it led to, in order. Replay runs `advance` over the happenings and
  compares.
- Fields are plain JSON values, tuples and frozen data classes of them: a line reads with any JSON tool.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field
from typing import Any, get_args

from handsfree.journal.conversation import Alarm as Alarm
from handsfree.journal.conversation import AlsoSaid as AlsoSaid
from handsfree.journal.conversation import DeskAnswered as DeskAnswered
from handsfree.journal.conversation import DeskAsked as DeskAsked
from handsfree.journal.conversation import FactUsed as FactUsed
from handsfree.journal.conversation import SetForm as SetForm
from handsfree.journal.conversation import SetVoice as SetVoice
from handsfree.journal.conversation import StepPassed as StepPassed
from handsfree.journal.marks import EndOpen as EndOpen
from handsfree.journal.marks import Sealed as Sealed
from handsfree.journal.marks import SignedBy as SignedBy
from handsfree.journal.marks import SoundRemoved as SoundRemoved
from handsfree.journal.marks import TailDropped as TailDropped
from handsfree.journal.outside import Attached as Attached
from handsfree.journal.outside import ClockMoved as ClockMoved
from handsfree.journal.outside import NoteKept as NoteKept
from handsfree.journal.outside import SoundBack as SoundBack
from handsfree.journal.outside import SoundDropped as SoundDropped
from handsfree.journal.outside import SoundLost as SoundLost
from handsfree.journal.values import made, with_lists

# ---- happenings ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Opened:
    """The visit begins. `copies`: name and text of each procedure as read that day; `digests`: their SHA-256.
    `page`, `page_copy`, `page_sha256`: name, text and digest of the cabinet's page, '' where it has none.
    `rules`: the number of the machine's rules that wrote this record; 0 before they were numbered. `hazards`: digest
    of the hazard files and of the fault model as read that day. `emergency`: whom to call, as it is said; `form`: how
    much is said, '' for the usual. `known`: facts that the visit begins with: (name, an answer's words, or a number and
    its unit). `technicians`: names of who may come. `questions`: the desk's, about earlier visits: (finding, who asks,
    words)."""

    visit: str
    procedure: str
    language: str
    technician: str
    site: str
    cabinet: str
    program: str
    engine: str
    digests: tuple[tuple[str, str], ...] = ()
    copies: tuple[tuple[str, str], ...] = ()
    page: str = ""
    page_copy: str = ""
    page_sha256: str = ""
    rules: int = 0
    hazards: str = ""
    emergency: str = ""
    form: str = ""
    known: tuple[tuple[str, str], ...] = ()
    technicians: tuple[str, ...] = ()
    questions: tuple[tuple[str, str, str], ...] = ()


@dataclass(frozen=True)
class Utterance:
    """One utterance, judged. The meaning's fields are flat so that any reader can filter on them; `sense` is '' where
    nothing was understood. `rivals` are (sense, text, value) of meanings too near to tell apart. `clip`: file name beside
    the journal, '' where the sound is not kept; `clip_sha256` binds it. Times in seconds on the visit's clock. `voice`:
    'same', 'doubtful' or 'other', compared with the voice that stated the lock number or, of what was not taken where no
    gate or proof is asked for, with the voices whose answers were taken; '' where voices were not compared.
    `meant`: probability that this speech was addressed to the program; 0 in older journals. `level`: of the speech without
    the noise around it, dB full scale; 0 where it was not measured."""

    verdict: str
    sense: str = ""
    text: str = ""
    value: float | None = None
    unit: str | None = None
    spoken: str = ""
    sure: float = 0.0
    words: str = ""
    rivals: tuple[tuple[str, str, float | None], ...] = ()
    witnesses: tuple[tuple[str, float], ...] = ()
    engine: str = ""
    started: float = 0.0
    ended: float = 0.0
    clip: str = ""
    clip_sha256: str = ""
    reason: str = ""
    typed: bool = False
    voice: str = ""
    meant: float = 0.0
    level: float = 0.0


@dataclass(frozen=True)
class TimerRang:
    timer: str


@dataclass(frozen=True)
class PromptEnded:
    """`said`: the number of the Say effect; `cut`: somebody spoke and stopped it before its end (barge-in)."""

    said: int
    cut: bool = False


@dataclass(frozen=True)
class Resumed:
    """After a crash, a stop or a day's wait. `unrecorded`: not every effect of the happening before it is on record.
    `technician`: who resumes, '' for the same as before. `barred`: why its procedure may no longer run; then only its locks
    come off."""

    why: str
    program: str = ""
    unrecorded: bool = False
    technician: str = ""
    barred: tuple[str, ...] = ()


@dataclass(frozen=True)
class StopAsked:
    """A stop that nobody spoke: a signal, a full disk."""

    why: str


@dataclass(frozen=True)
class FaultMet:
    """Something outside the machine failed. `part`: ear, mouth, clock, watcher, record or program; `what`: its error."""

    part: str
    what: str


# ---- effects -------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Say:
    """`number` counts the visit's prompts. `role`: step, caution, answer, refusal, question, readback, help, notice.
    `cuttable`: barge-in may stop it. `step`: where it belongs. `sound`: the writer's recording to play instead, or ''.
    `front`: how many characters at the beginning of `text` repeat what was just accepted."""

    number: int
    text: str
    role: str
    cuttable: bool = True
    step: str = ""
    sound: str = ""
    front: int = 0


@dataclass(frozen=True)
class Tone:
    """'heard', 'not understood', 'gate open', 'gate shut', 'waiting'."""

    name: str


@dataclass(frozen=True)
class ListenFor:
    """What is in force from now on: the fields of `language.meaning.Listening`, flat."""

    phrases: tuple[str, ...] = ()
    number_unit: str | None = None
    number_low: float = 0.0
    number_high: float = 0.0
    gate: str = ""
    lock: tuple[str, ...] = ()
    digits: tuple[int, int] | None = None
    commands: tuple[str, ...] | None = None
    note: bool = False
    proof: bool = False
    asides: tuple[str, ...] = ()
    also: tuple[str, ...] = ()
    gist: str = ""
    own_words: bool = False


@dataclass(frozen=True)
class SetTimer:
    """`whole`: of a wait, how long it lasts in all: its timer may ring at half time first. 0 in records of before."""

    timer: str
    seconds: float
    whole: float = 0.0


@dataclass(frozen=True)
class DropTimer:
    timer: str


@dataclass(frozen=True)
class StepEntered:
    """`path`: procedure names from the main one down."""

    path: tuple[str, ...]
    step: str
    kind: str
    isolation: str


@dataclass(frozen=True)
class AnswerTaken:
    path: tuple[str, ...]
    step: str
    answer: str
    corrected: bool = False


@dataclass(frozen=True)
class ReadingTaken:
    """`value` in the step's `unit`; `given`, `given_unit` as spoken; ranges as the step says; `state`: '' or
    'over range' or 'unsteady' (then value is None)."""

    path: tuple[str, ...]
    step: str
    quantity: str
    value: float | None
    unit: str
    given: float | None
    given_unit: str
    state: str = ""
    plausible: tuple[float, float] | None = None
    expected: tuple[float, float] | None = None
    accuracy: str = ""
    affirmed: bool = False


@dataclass(frozen=True)
class CautionTaken:
    path: tuple[str, ...]
    step: str
    level: str


@dataclass(frozen=True)
class Gate:
    """`was`, `now`: LIVE, ISOLATING, ISOLATED, RESTORING, of `source` ('' if there is only one). `why`: the words for it.
    `how`: phrase, proof, relieved, refused, denied, 'without its owner', or a `SourceEvent` of `isolation.rules`."""

    was: str
    now: str
    how: str
    why: str
    step: str = ""
    source: str = ""


@dataclass(frozen=True)
class LockChanged:
    """A lock went on or came off. `owner`: by name, never by number. `how`: phrase, or 'without its owner' by the procedure
    of 29 CFR 1910.147 (e)(3)."""

    owner: str
    source: str
    on: bool
    how: str = "phrase"


@dataclass(frozen=True)
class Corrected:
    path: tuple[str, ...]
    step: str


@dataclass(frozen=True)
class FindingMade:
    path: tuple[str, ...]
    step: str
    finding: str
    text: str
    evidence: tuple[tuple[str, str], ...] = ()
    means: str = ""


@dataclass(frozen=True)
class HandedOver:
    path: tuple[str, ...]
    step: str
    to: str
    summary: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Decided:
    path: tuple[str, ...]
    step: str
    case: str
    because: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class KeepNote:
    """Record the next utterance as a note."""

    step: str


@dataclass(frozen=True)
class EvidenceTaken:
    """`taken`: somebody said so; False where they went on without it."""

    path: tuple[str, ...]
    step: str
    what: str
    taken: bool = True


@dataclass(frozen=True)
class FaultCaught:
    """The program failed: isolation is cleared, the visit stopped. `during`: the kind of happening; `path`, `step`: where it
    was; `what`: the error."""

    during: str
    path: tuple[str, ...]
    step: str
    what: str


@dataclass(frozen=True)
class Closed:
    """`outcome`: that of the End step, or 'stopped', 'to be continued'. `not_before`: seconds on the visit's clock."""

    outcome: str
    not_before: float | None = None
    text: str = ""


Happening = (
    Opened | Utterance | TimerRang | PromptEnded | NoteKept | Attached | SoundLost | SoundBack | SoundDropped
    | ClockMoved | Resumed | StopAsked | FaultMet
)
Effect = (
    Say | Tone | ListenFor | SetTimer | DropTimer | StepEntered | AnswerTaken | ReadingTaken | CautionTaken | Gate
    | LockChanged | Corrected | FindingMade | HandedOver | Decided | SetVoice | SetForm | Alarm | FactUsed | StepPassed
    | KeepNote | EvidenceTaken | FaultCaught | Closed | DeskAsked | DeskAnswered | AlsoSaid
)
Mark = Sealed | SoundRemoved | SignedBy | TailDropped | EndOpen
Event = Happening | Effect | Mark

HAPPENINGS: tuple[type[Any], ...] = get_args(Happening)
EFFECTS: tuple[type[Any], ...] = get_args(Effect)
KINDS: dict[str, type[Any]] = {kind.__name__: kind for kind in (*HAPPENINGS, *EFFECTS, *get_args(Mark))}


@dataclass(frozen=True)
class Stamped:
    """An event with its place: `n` from 0; `wall` RFC 3339 with offset; `mono` seconds on the visit's clock, which never
    goes back, not even at a resume; `prev` hash of the line before ('' at the first)."""

    n: int
    wall: str
    mono: float
    event: Any  # Event; a union this wide is not worth narrowing at every reader
    prev: str = ""
    signature: str = field(default="", compare=False)


def to_data(event: Any) -> dict[str, Any]:
    """A flat JSON object: the fields, no kind."""
    return {f.name: with_lists(getattr(event, f.name)) for f in dataclasses.fields(event)}


def from_data(kind: str, data: dict[str, Any]) -> Any:
    """The event back. ValueError names a kind or field that is unknown, missing or of the wrong type."""
    known = KINDS.get(kind)
    if known is None:
        raise ValueError(f"no event is called '{kind}'")
    return made(known, data)
