"""The live loop: microphone, end of speech, recogniser, and the loudspeaker that falls silent when it is spoken to.

Rules of this file:

- There are two threads. One reads the microphone, takes out the echo and cuts utterances; it waits for nothing else. The
  other judges and recognises. Between them is a queue of WAITING utterances. One too many is counted, told and lost.
- An utterance is judged against what was in force when it ended. If that has changed before its turn comes, it is no longer
  for the program: two quick words never act on a step that nobody has heard.
- While the end of speech is awaited, and nothing plays or waits, what was said so far is recognised ahead. The result counts
  only if the utterance turns out to be exactly that sound and the same is still in force. If the person goes on speaking,
  it is dropped. A recognition already under way runs to its end, and a verdict may wait for that. The cutter may shorten or
  lengthen its wait by the result.
- The program's own last words, cut together with an answer that followed at once, are no part of that answer.
- An utterance that lost some of its sound is never accepted: '(not) running' must not become 'running'.
- Only an accepted utterance stops a prompt, and it does so before anybody else learns of it.
- Everything that happens is told in one queue, in order: utterances, prompts that ended, devices lost and back, sound lost,
  the end.
"""

from __future__ import annotations

import contextlib
import threading
import time
from collections import deque
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from handsfree.journal.events import SoundDropped
from handsfree.language.meaning import Heard, Listening, Verdict
from handsfree.sound.canceller import Follower
from handsfree.sound.echo import EchoGuard, Judgement, heard_over
from handsfree.sound.happenings import Ended, Happenings, HeardPiece, ThreadFailed
from handsfree.sound.levels import QUIETEST, decibels, power
from handsfree.sound.memory import LONG, give_back
from handsfree.sound.prompts import Sink
from handsfree.sound.samples import LEAD, RATE, Clock, Piece, Samples, silence
from handsfree.sound.sources import BLOCK, Block, SoundSource

WAITING = 4  # utterances
KEPT = 40.0  # s of raw sound, to judge an utterance by
NOISE_OVER = 10.0  # s over which the noise is followed
LOSSES_EVERY = 10.0  # s after a loss is told: further losses are added up and told together when it has passed


class Cutter(Protocol):
    """Finds utterances in the sound fed to it. `speaking`: one is under way. `supposed`: the utterance as it will be if
    nothing more is said, where that is known already."""

    @property
    def speaking(self) -> bool: ...
    @property
    def supposed(self) -> Piece | None: ...

    def feed(self, samples: Samples) -> Iterable[Piece]: ...


class HearsSound(Protocol):
    def hear(self, samples: Samples, listening: Listening) -> Heard: ...


@dataclass(frozen=True)
class PieceInLine:
    cleaned: Samples
    raw: Samples
    started: float
    ended: float
    listening: Listening
    noise: float
    torn: bool


class HearingQueue:
    """Utterances that wait to be judged, WAITING at most. The supposed utterance waits beside them and takes none of their
    places: only the newest is kept, and it is given out only when nothing else waits. `busy`: one has been given out and the
    next has not yet been asked for."""

    def __init__(self) -> None:
        self._waiting: deque[PieceInLine] = deque()
        self._supposed: PieceInLine | None = None
        self._changed = threading.Condition()
        self._closed = self.busy = False

    def put(self, waiting: PieceInLine) -> bool:
        """Whether there was room."""
        with self._changed:
            room = len(self._waiting) < WAITING
            if room:
                self._waiting.append(waiting)
                self._changed.notify()
        return room

    def suppose(self, supposed: PieceInLine | None) -> None:
        with self._changed:
            self._supposed = supposed
            self._changed.notify()

    def close(self) -> None:
        """What waits is still given out."""
        with self._changed:
            self._closed = True
            self._changed.notify()

    def next(self) -> tuple[PieceInLine, bool] | None:
        """The next utterance, and whether it is only supposed. None when all are given out and no more will come."""
        with self._changed:
            self.busy = False
            self._changed.wait_for(lambda: self._waiting or self._supposed or self._closed)
            if self._waiting:
                self.busy = True
                return self._waiting.popleft(), False
            if self._closed or self._supposed is None:
                return None
            self.busy, supposed, self._supposed = True, self._supposed, None
            return supposed, True

    def settled(self) -> bool:
        with self._changed:
            return not self._waiting and not self.busy


@dataclass(frozen=True)
class _HeardAhead:
    samples: Samples
    listening: Listening
    heard: Heard


class LiveLoop:
    """Give it a source, a cutter, a sink (made with the same `happenings.tell`) and a recogniser. Call `start` once and
    `listen` each time what is in force changes, and fetch from `happenings`. A Loudspeaker as the sink has a `tap`; without
    one, or with a headset, no echo is taken out, but sound is still judged for echo. `first`: called by the recognising
    thread before its first utterance, while the program already speaks and listens; what the recogniser loads, it loads
    then. `ahead`: told what the utterance under way has been heard as so far."""

    def __init__(
        self, source: SoundSource, cutter: Cutter, sink: Sink, recogniser: HearsSound, happenings: Happenings, clock: Clock,
        guard: EchoGuard | None = None, first: Callable[[], object] | None = None,
        ahead: Callable[[Samples, Heard, Listening], object] | None = None,
    ) -> None:
        self._source, self._cutter, self._sink, self._recogniser = source, cutter, sink, recogniser
        self.happenings, self._clock = happenings, clock
        self._guard = guard or EchoGuard()
        tap = sink.tap
        self._follower = Follower(tap) if tap is not None and not self._guard.headset else None
        self._listening = Listening()
        self._line = HearingQueue()
        self._raw: deque[Samples] = deque(maxlen=round(KEPT * RATE / BLOCK))
        self._count = 0  # samples fed to the cutter
        self._supposed: Piece | None = None
        self._ahead: _HeardAhead | None = None
        self._gaps: deque[int] = deque(maxlen=1000)  # places in that count where sound is missing
        self._first, self._told_ahead = first, ahead
        #: Whether an utterance that began then may act; the ear knows. One that comes too early must not cut off the words
        #: that come after it.
        self.in_time: Callable[[float, Heard], bool] = lambda started, heard: True
        self._powers: deque[float] = deque(maxlen=round(NOISE_OVER * RATE / BLOCK))
        self._closing = False
        self._untold_loss = SoundDropped(0, False)
        self._loss_told = -LOSSES_EVERY
        self.level = QUIETEST  # dB full scale, of the last blocks: for a meter
        self.judged = self.own = self.stale = self.crowded = self.faults = self.foreseen = 0
        self._threads = [
            threading.Thread(target=self._telling, args=(work,), name=name, daemon=True)
            for name, work in (("listening", self._listen), ("recognising", self._recognise))
        ]

    def start(self) -> None:
        for thread in self._threads:
            thread.start()

    def listen(self, listening: Listening) -> None:
        """What is in force from now on."""
        self._listening = listening

    def cut(self) -> None:
        """Break off the prompt being spoken, as a person who speaks does."""
        self._sink.cut()

    @property
    def speaking(self) -> bool:
        return self._cutter.speaking

    @property
    def noise(self) -> float:
        """Mean square of what is there when nobody speaks: the quieter blocks of the last seconds."""
        return float(np.percentile(np.array(self._powers), 20)) if self._powers else 0.0

    def settled(self, timeout: float) -> bool:
        """Wait until every utterance cut so far is judged."""
        until = time.monotonic() + timeout
        while not self._line.settled():
            if time.monotonic() > until:
                return False
            time.sleep(0.01)
        return True

    def close(self) -> None:
        self._closing = True
        self._source.close()
        self._threads[0].join(2)
        self._line.close()
        self._threads[1].join(10)

    # ---- listening ----

    def _telling(self, work: Callable[[], None]) -> None:
        """Runs `work` and tells if it fails: a thread must not end in silence."""
        try:
            work()
        except Exception as error:
            self.happenings.tell(ThreadFailed(error))

    def _listen(self) -> None:
        while not self._closing:
            block = self._source.read(0.1)
            if block is not None:
                self._block(block)
            elif self._source.ended:
                break
            self._tell_losses()
        self._tell_losses(whenever=True)
        self._line.close()

    def _block(self, block: Block) -> None:
        if block.lost or block.broken:
            self._gaps.append(self._count)
        if block.lost:
            self._lost(block.lost, self._cutter.speaking)
        cleaned = self._follower.clean(block) if self._follower is not None else block.samples
        self._raw.append(block.samples)
        self._count += len(block.samples)
        here = block.started + len(block.samples) / RATE - self._count / RATE  # the cutter's zero, on the clock
        loud = power(cleaned)
        self._powers.append(loud)
        self.level = max(decibels(loud), self.level - 1.0)
        for piece in self._cutter.feed(cleaned):
            self._cut(piece, here)
        if self._cutter.supposed is not self._supposed:
            self._supposed = self._cutter.supposed
            self._line.suppose(self._waiting(self._supposed, here) if self._supposed is not None else None)

    def _waiting(self, piece: Piece, zero: float) -> PieceInLine:
        torn = any(piece.start_s * RATE < gap < piece.end_s * RATE for gap in self._gaps)
        return PieceInLine(
            piece.samples, self._raw_of(piece), zero + piece.start_s, zero + piece.end_s, self._listening, self.noise, torn
        )

    def _cut(self, piece: Piece, zero: float) -> None:
        if not self._line.put(self._waiting(piece, zero)):
            self.crowded += 1
            self._lost(len(piece.samples), speech=True)

    def _lost(self, samples: int, speech: bool) -> None:
        so_far = self._untold_loss
        self._untold_loss = SoundDropped(so_far.samples + samples, so_far.speech or speech)

    def _tell_losses(self, whenever: bool = False) -> None:
        """A machine that cannot keep up loses sound again and again. Telling every loss would drown what is asked."""
        now = self._clock.now()
        if self._untold_loss.samples and (whenever or now - self._loss_told >= LOSSES_EVERY):
            self.happenings.tell(self._untold_loss)
            self._untold_loss, self._loss_told = SoundDropped(0, False), now

    def _raw_of(self, piece: Piece) -> Samples:
        """The same stretch as the microphone gave it."""
        if self._follower is None or not self._raw:
            return piece.samples
        kept = np.concatenate(list(self._raw))
        first = round(piece.start_s * RATE) - (self._count - len(kept))
        found = kept[max(0, first) : max(0, first) + len(piece.samples)]
        return found if len(found) else silence(0)

    # ---- recognising ----

    def _recognise(self) -> None:
        if self._first is not None:
            with contextlib.suppress(Exception):  # what is wrong with the recogniser shows again when it is needed
                self._first()
            give_back()  # 170 MB left over from loading the neural engine
        while (given := self._line.next()) is not None:
            waiting, supposed = given
            if supposed:
                self._hear_ahead(waiting)
            else:
                self._judge(waiting)
            if waiting.ended - waiting.started > LONG:
                give_back()
        if not self._closing:
            self.happenings.tell(Ended())

    def _hear_ahead(self, waiting: PieceInLine) -> None:
        """Recognises ahead. Nothing is told of it; a fault is left to show when it matters. It is not done over a prompt,
        whose echo must be taken out first, nor for a note, which is not recognised."""
        listening = waiting.listening
        if listening.note or listening != self._listening:
            return
        if heard_over(self._sink.history(), waiting.started + LEAD, waiting.ended):
            return
        with contextlib.suppress(Exception):
            self._ahead = _HeardAhead(waiting.cleaned, listening, self._recogniser.hear(waiting.cleaned, listening))
            if self._told_ahead is not None:
                self._told_ahead(waiting.cleaned, self._ahead.heard, listening)

    def _judge(self, waiting: PieceInLine) -> None:
        self.judged += 1
        judgement = self._guard.judge(
            waiting.raw, waiting.started, waiting.ended, self._sink.history(), waiting.cleaned, waiting.noise, LEAD
        )
        if judgement.own:
            self.own += 1
            self._tell(waiting, _not_for_me(judgement.why), judgement)
            return
        if waiting.listening != self._listening:
            self.stale += 1
            self._tell(waiting, _not_for_me("said before what is asked had changed"), judgement)
            return
        waiting, judgement = _from_the_answer(waiting, judgement)
        if waiting.listening.note:
            self._sink.cut()
            self._tell(waiting, None, judgement)
        else:
            heard = self._guard.allow(self._heard(judgement.cleaned, waiting.listening), judgement)
            if waiting.torn and heard.verdict == Verdict.ACCEPTED:
                heard = replace(heard, verdict=Verdict.ASKED_AGAIN, reason="sound was lost in the middle of it")
            if heard.verdict == Verdict.ACCEPTED and self.in_time(waiting.started, heard):
                self._sink.cut()
            self._tell(waiting, heard, judgement)

    def _heard(self, samples: Samples, listening: Listening) -> Heard:
        """A recogniser that fails once must not leave the program deaf: what it failed on is asked again."""
        ahead, self._ahead = self._ahead, None
        if ahead is not None and ahead.listening == listening and np.array_equal(ahead.samples, samples):
            self.foreseen += 1
            return ahead.heard
        try:
            return self._recogniser.hear(samples, listening)
        except Exception as fault:
            self.faults += 1
            return Heard(Verdict.ASKED_AGAIN, None, 0.0, reason=f"the recogniser failed: {type(fault).__name__}: {fault}")

    def _tell(self, waiting: PieceInLine, heard: Heard | None, judgement: Judgement) -> None:
        if heard is not None:
            heard = replace(heard, started=waiting.started, ended=waiting.ended)
        self.happenings.tell(
            HeardPiece(heard, judgement.cleaned, waiting.started, waiting.ended, waiting.listening, judgement)
        )


def _from_the_answer(waiting: PieceInLine, judgement: Judgement) -> tuple[PieceInLine, Judgement]:
    """The utterance without the program's own words that were cut with it: it began after them. Its sound keeps what a first
    sound in their echo may need, and all of it unless no word is in it (`wordless`) or nothing is at stake (`own_words`): no
    'not' is taken away of what may take off a lock, count a caution as heard or prove works dead."""
    parts = waiting.listening.own_words or judgement.wordless
    kept = max(0, round((judgement.began - LEAD) * RATE)) if parts else 0
    begun = replace(waiting, started=waiting.started + judgement.began)
    return begun, replace(judgement, cleaned=judgement.cleaned[kept:])


def _not_for_me(reason: str) -> Heard:
    return Heard(Verdict.NOT_FOR_ME, None, 0.0, reason=reason)

