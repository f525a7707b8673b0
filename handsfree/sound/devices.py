"""Keeping a sound device open: opening it, noticing that it is gone, opening it again.

Rules of this file:

- A stream is opened by one of the shapes in SHAPES, 16 kHz mono first; what comes is converted by whoever opened it.
- A device is gone when its stream ends unasked, or when its callback has not been called for SILENT seconds. A stream just
  opened has STARTING seconds, because some devices take two before the first callback.
- A lost device is tried again every RETRY seconds: first the same one, after PATIENCE the system's own choice, then any
  other. Each is tried in a process of its own first (`trial` says why).
- PortAudio sees new devices only when it starts. When the list of devices has changed, PortAudio is restarted, and all
  streams with it.
- Only one thread at a time may use PortAudio; two inside it end the process. A call that overruns its time is abandoned, and
  no other thread goes in while it is there. After LEFT_INSIDE seconds one may: by then, sound is worth the risk.
"""

from __future__ import annotations

import atexit
import contextlib
import threading
import time
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, Protocol

from handsfree.errors import Trouble
from handsfree.journal.events import SoundBack, SoundLost
from handsfree.sound.cards import OPENING, Direction, StreamShape, device_number, every_device, library, shapes
from handsfree.sound.hush import hush, unhush
from handsfree.sound.prompts import Tell
from handsfree.sound.trial import Found, tried

SILENT = 3.0  # s without a callback; most devices end the stream at once when they go
STARTING = 5.0  # s, the same for a stream just opened
RETRY = 0.5  # s
PATIENCE = 2.0  # s for the same device before another is taken
LEFT_INSIDE = 20.0  # s for a call that overran, before another is made beside it
LOOK_EVERY = 6.0  # s between looks at the list while something is lost
#: Asked of the device, s. Measured on PulseAudio: 0.05 stops in 61 ms but runs dry on a busy machine.
LATENCY = 0.1
class DeviceTimes(Protocol):
    """PortAudio's, s: now, when the first sample was in the air, and when it will be. The names are sounddevice's."""

    @property
    def currentTime(self) -> float: ...
    @property
    def inputBufferAdcTime(self) -> float: ...
    @property
    def outputBufferDacTime(self) -> float: ...


class Flags(Protocol):
    """What PortAudio noticed; false where it is nothing."""

    @property
    def input_overflow(self) -> bool: ...
    @property
    def output_underflow(self) -> bool: ...


if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Callback = Callable[[NDArray[np.float32], int, DeviceTimes, Flags], None]  # sound, frames, times, what was noticed


class _Attempt:
    """Opens one stream in a thread of its own: PortAudio can wait for ever on a device that is just vanishing."""

    def __init__(self, keeper: Keeper, number: int, rate: int, channels: int) -> None:
        self.stream: Any = None
        self.fault = ""
        self._abandoned, self._lock = False, threading.Lock()
        self.ended, self.done = threading.Event(), threading.Event()
        self.thread = threading.Thread(target=self._work, args=(keeper, number, rate, channels), daemon=True)
        self.thread.start()

    def _work(self, keeper: Keeper, number: int, rate: int, channels: int) -> None:
        sd = library()
        kind = sd.InputStream if keeper.way == "input" else sd.OutputStream
        stream = None
        try:
            stream = kind(
                device=number, samplerate=rate, channels=channels, dtype="float32", latency=keeper.latency,
                callback=keeper.callback, finished_callback=self.ended.set,
            )
            keeper.opened(rate, channels)
            keeper.alive = time.monotonic() + STARTING - SILENT
            stream.start()
            self.stream = stream
        except (sd.PortAudioError, ValueError) as trouble:
            self.fault = str(trouble).splitlines()[0]
            if stream is not None:
                _close(stream)
        with self._lock:
            self.done.set()
            unwanted = self._abandoned and self.stream is not None
        if unwanted:
            _close(self.stream)

    def in_time(self) -> bool:
        """Whether it is done within OPENING; if not, what it may still open is closed again."""
        self.done.wait(OPENING)
        with self._lock:
            self._abandoned = not self.done.is_set()
        return not self._abandoned


def _close(stream: Any) -> None:
    """Closes a stream, whatever error it raises: a device that is gone can fail in many ways."""
    with contextlib.suppress(Exception):
        stream.abort()
    with contextlib.suppress(Exception):
        stream.close()


class Keeper:
    """Keeps one stream open on a device for as long as it lives.

    `opened(rate, channels)` is called with the shape each time before the stream starts; `lost()` each time the device is
    lost. The first opening is done at once and raises Trouble. Later ones happen in a thread, told as SoundLost and
    SoundBack."""

    _library = threading.RLock()

    def __init__(
        self, way: Direction, wanted: str | None, callback: Callback, opened: Callable[[int, int], None],
        lost: Callable[[], None], tell: Tell, shape: StreamShape | None = None, latency: float = LATENCY,
    ) -> None:
        self.way: Direction = way
        self.what = "microphone" if way == "input" else "loudspeaker"
        self.callback, self.opened, self.latency = callback, opened, latency
        self._wanted, self._lost, self._tell, self._shape = wanted, lost, tell, shape
        self._stream: Any = None
        self._ended = threading.Event()  # set when the stream finishes or the keeper closes
        self._closing = False
        self.alive = time.monotonic()  # of the last callback; the callback's owner sets it
        self.name = ""
        self.shape: StreamShape | None = None  # at which it is open, or was last
        self.losses = 0
        hush()
        try:
            with Keeper._library:
                number = device_number(wanted, way)
                self._open(number, self._tried_shape(number) if any(k.present for k in _keepers) else shape)
                _keepers.append(self)
        except BaseException:
            unhush()
            raise
        self._thread = threading.Thread(target=self._watch, name=f"{self.what} keeper", daemon=True)
        self._thread.start()

    @property
    def present(self) -> bool:
        return self._stream is not None

    def close(self) -> None:
        if self._closing:
            return
        self._closing = True
        self._ended.set()
        with Keeper._library:
            if self in _keepers:
                _keepers.remove(self)
            self._shut()
        unhush()

    def _tried_shape(self, number: int) -> StreamShape | None:
        """The device that works, tried in another process. Trouble where none does; None where the trial did not end."""
        found = tried(self.way, [str(number)], False, self._shape, self.latency)
        if found is not None and found.name is None:
            raise self._cannot(every_device()[number].name, found.fault)
        return found.shape if found else self._shape

    def _cannot(self, name: str, fault: str) -> Trouble:
        return Trouble(f"The {self.what} '{name}' cannot be opened ({fault}); choose another with 'handsfree sound'.")

    def _open(self, number: int, shape: StreamShape | None) -> None:
        """At `shape`, or at the first that works. Trouble where none does, or where the device does not answer."""
        _wait_for_overrun()
        device = every_device()[number]
        fault = "it does not answer"
        for rate, channels in [shape] if shape else shapes(device, self.way):
            attempt = _Attempt(self, number, rate, channels)
            if not attempt.in_time():
                _overrun[attempt.thread] = time.monotonic()
                _leave_library_running()
                break
            if attempt.stream is not None:
                self._stream, self._ended = attempt.stream, attempt.ended
                self.name, self.shape = device.name, (rate, channels)
                return
            fault = attempt.fault
        raise self._cannot(device.name, fault)

    def _shut(self) -> None:
        stream, self._stream = self._stream, None
        if stream is not None:
            _wait_for_overrun()
            closing = threading.Thread(target=_close, args=(stream,), daemon=True)
            closing.start()
            closing.join(OPENING)
            if closing.is_alive():
                _overrun[closing] = time.monotonic()

    def _watch(self) -> None:
        while not self._closing:
            self._ended.wait(0.1)
            if self._closing:
                return
            with Keeper._library:
                stream = self._stream  # None: it could not be opened again when PortAudio was started anew
                gone = stream is None or not stream.active or time.monotonic() - self.alive > SILENT
                if gone:
                    self._shut()
            if gone:
                self.losses += 1
                self._lost()
                self._tell(SoundLost(self.name, self.what))
                self._take_up()

    def _take_up(self) -> None:
        went = looked = time.monotonic()
        while not self._closing:
            time.sleep(RETRY)
            now = time.monotonic()
            anything = now - went >= PATIENCE
            found = tried(
                self.way, [self.name, self._wanted, *([None] if anything else [])], anything, self._shape, self.latency
            )
            if found is None:
                continue
            with contextlib.suppress(library().PortAudioError, Trouble), Keeper._library:
                if self._closing:
                    return
                if now - looked > LOOK_EVERY or not any(keeper.present for keeper in _keepers):
                    looked = now
                    _start_library_anew_if_changed(found.names)
                self._open_found(found)
            if self._stream is not None:
                self._tell(SoundBack(self.name, self.what))
                return

    def _open_found(self, found: Found) -> None:
        """What the trial opened, where PortAudio knows it here too."""
        having = [d for d in every_device() if d.name == found.name and (d.inputs if self.way == "input" else d.outputs)]
        if having and self._stream is None:
            self._open(having[0].number, found.shape)


_keepers: list[Keeper] = []
#: Threads still inside PortAudio after their time was up, and since when. Guarded by the library's lock.
_overrun: dict[threading.Thread, float] = {}


def _wait_for_overrun() -> bool:
    """Whether nobody is left inside. To be called with the library's lock held."""
    for thread, since in list(_overrun.items()):
        thread.join(max(0.0, since + LEFT_INSIDE - time.monotonic()))
        if not thread.is_alive():
            del _overrun[thread]
    return not _overrun


def _leave_library_running() -> None:
    """Leaves ending PortAudio to the system: with an opening inside that never returns, ending it aborts the process."""
    handler = getattr(library(), "_exit_handler", None)
    if handler is not None:
        atexit.unregister(handler)


def _start_library_anew_if_changed(seen: tuple[str, ...]) -> None:
    """If `seen`, the devices there are, differs from the list that PortAudio knows: close every stream, restart PortAudio,
    and open again those that were open. What plays has a gap of a few hundredths of a second. To be called with the
    library's lock held."""
    sd = library()
    if not seen or not _wait_for_overrun() or seen == tuple(d.name for d in every_device()):
        return
    open_ones = [keeper for keeper in _keepers if keeper.present]
    for keeper in open_ones:
        keeper._shut()
    if _overrun:
        return  # they are lost for the moment, and taken up again like any other
    sd._terminate()
    sd._initialize()
    for keeper in open_ones:
        with contextlib.suppress(Trouble):
            keeper._open(device_number(keeper.name, keeper.way), keeper.shape)
