"""The echo guard: the program must never accept its own speech. Whatever is heard while it speaks is judged here, twice.

Rules of this file:

- Before recognition, by sound: what was played is fitted to what was heard (least squares over delay and room). If the fit
  explains nearly all of every stretch of the utterance, the program heard itself, and the utterance goes no further.
- After recognition, by words: if the words understood also occur, in a row, in what was being played, they are not
  accepted, whoever said them. If the sound is plainly somebody else's, they are accepted with a headset, and where hardly
  any of it was said before the prompt had died away ("Affirm", right after "Affirm or negative?"). To answer in a prompt's
  own words, let it end first.
- A gate's phrase is heard only when nothing is playing and the last word has died away. This holds with a headset, too: it
  is less than full duplex, on purpose. A headset leaks a little, and a wait of a second costs nobody anything.
- With a headset (`headset=True`) the first two rules have far less echo to go by; they stay in force.

An answer that follows a prompt at once is cut as one utterance with the end of that prompt. It began when the prompt ended,
if all before that is the program's own, and if what the fit leaves of that is CLEARLY fainter than the answer. If it is so
faint, noise and all, that no word of the same person is in it (NO_WORD), it is taken away even where something is at stake.

The figures come from `python -m tests.bench.echo --cases 240` (simulated rooms, none real), and FOREIGN was set with
them; in brackets those of 120 others, drawn afterwards (`--seed 5`). FOREIGN: of 240 stretches of the program's own
voice, the worst had 0.08 unexplained (0.06). Of people who spoke over the echo as loudly as it or louder, all pass
(all), of those 5 dB fainter at least 7 to 9 in 10 (8 to 9). CLEARLY: of 960 who answered 0.2 or 0.6 s after the end of a
prompt at 5 or 10 dB over its echo, all are said to begin after it, of 480 as loud as it 478 (all of 480, all of 240). Of
960 who began half a second before its end, 5 dB fainter to 10 dB louder, 15 are (4 of 480). NO_WORD: of 1,920 who began
0.3 or 0.5 s before its end none (none of 960). A "not", "no" or "never" over its end, as loud as the answer to 14 dB
fainter, counted as no word in none of 1,440 cases, all drawn afterwards, 18 dB fainter in 25 of 360. The first quarter
of a second of a sentence is at most 7 dB under its loudest moment, in 741 recordings of two women (Asterisk's core
sounds, English and Spanish): 13 dB more than NO_WORD allows.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterable
from dataclasses import dataclass, field, replace

import numpy as np

from handsfree.language.meaning import Heard, Sense, Verdict
from handsfree.sound.filters import least_squares
from handsfree.sound.prompts import Played
from handsfree.sound.samples import RATE, Samples, silence

DIES_AWAY = 0.35  # s for which a prompt's echo may still be heard after its last sample
TAPS = 3200  # 200 ms of room after the delay
CHUNK = 2.0  # s fitted at a time
SEARCH = 0.35  # s that the delay between played and heard may be off either way
WINDOW = 0.4  # s: the stretch in which somebody else must be heard
LOUD = 0.05  # of the loudest stretch's power (13 dB under it): fainter ones are pauses, noise that no fit explains
NOISY = 1.5  # times its usual power that the noise is allowed, since it is not steady
FOREIGN = 0.2  # share of a stretch's sound that the fit does not explain: below this, it is the program's own
SURELY_FOREIGN = 0.6  # the same, where the words are the program's own too
AFTER = 0.25  # of an answer in the program's own words, while its echo may still be heard
CLEARLY, MOMENT = 0.2, 0.1  # of an answer's power in its loudest moment (7 dB under it); seconds of a moment
NO_WORD, WHOLE = 0.01, 0.8  # the same, 20 dB under it; seconds of prompt, four times TAPS: a fit of less explains any word


@dataclass(frozen=True)
class Judgement:
    """`own`: the program heard itself. `foreign`: the unexplained share, 0 to 1, of the stretch that what was played
    explains least (1 where nothing was playing). `overlap`: share of the utterance during playback. `cleaned`: the sound
    less what was explained. `began`: seconds at its beginning that are the program's own voice alone, before an answer;
    `wordless`: what the fit leaves of these is so faint that no word of that answer is among it."""

    own: bool
    why: str
    cleaned: Samples = field(repr=False, compare=False)
    overlap: float = 0.0
    foreign: float = 1.0
    texts: tuple[str, ...] = ()
    began: float = 0.0
    wordless: bool = False


class EchoGuard:
    def __init__(self, headset: bool = False, foreign: float = FOREIGN, surely: float = SURELY_FOREIGN) -> None:
        self.headset, self._foreign, self._surely = headset, foreign, surely

    def judge(
        self, samples: Samples, started: float, ended: float, played: Iterable[Played], cleaned: Samples | None = None,
        noise: float = 0.0, lead: float = 0.0,
    ) -> Judgement:
        """`samples`: as the microphone gave them. `cleaned`: the same after the canceller, if there is one; handed on when
        nothing was playing. `started`, `ended`: on the clock of `played`. `noise`: mean square when nobody speaks. `lead`:
        seconds at the beginning before anything was said."""
        spoken = started + lead
        during = heard_over(played, spoken, ended)
        handed_on = samples if cleaned is None else cleaned
        if not during or not len(samples):
            return Judgement(False, "", handed_on)
        overlap = _overlap(during, spoken, ended)
        texts = tuple(p.text for p in during if p.text)
        fit = _explained_by(during, samples, started)
        foreign = _least_explained(samples, fit, noise)
        own = foreign < self._foreign
        why = "the program's own voice" if own else ""
        heard = Judgement(own, why, samples - fit, overlap, foreign, texts)
        return heard if own else self._before_an_answer(heard, samples, started, ended, during, noise)

    def _before_an_answer(
        self, heard: Judgement, samples: Samples, started: float, ended: float, during: list[Played], noise: float
    ) -> Judgement:
        """Where an answer follows the end of a prompt, the prompt is fitted by itself: an answer in the same stretch bends
        its fit. The same filter then takes its dying away out of the answer. Fitted to the answer itself, it took out the
        first word: the little that sounds on of a prompt leaves a filter of TAPS free to make anything."""
        seconds = max(_over(p, ended) for p in during) - started
        at = round(seconds * RATE)
        if not 0 < at < len(samples) - WINDOW / 2 * RATE:
            return heard
        fit = _explained_by(during, samples[:at], started, len(samples) - at)
        if at < WHOLE * RATE:
            fit[at:] = 0.0
        left, answer = (_loudest(part, noise) for part in (samples[:at] - fit[:at], samples[at:]))
        if _least_explained(samples[:at], fit[:at], noise) >= self._foreign or left >= CLEARLY * answer:
            return heard
        # the noise counts as left here: what is taken for it may be the prompt's echo, and a word would hide below it
        wordless = at >= WHOLE * RATE and left + noise < NO_WORD * answer
        return replace(heard, cleaned=samples - fit, began=seconds, wordless=wordless)

    def allow(self, heard: Heard, judgement: Judgement) -> Heard:
        """`heard`, with its verdict withdrawn where it may be the program's own speech."""
        acts = heard.verdict in (Verdict.ACCEPTED, Verdict.PROPOSED)
        if not acts or heard.meaning is None or not judgement.overlap:
            return heard
        witnesses = (*heard.witnesses, ("foreign", round(judgement.foreign, 3)), ("overlap", round(judgement.overlap, 3)))
        gate = heard.meaning.sense == Sense.GATE
        heard = replace(heard, witnesses=witnesses)
        if gate:
            return replace(heard, verdict=Verdict.ASKED_AGAIN, reason="said while the program was speaking")
        theirs = judgement.foreign >= self._surely and (self.headset or judgement.overlap <= AFTER)
        if not theirs and any(says(text, heard) for text in judgement.texts):
            return replace(heard, verdict=Verdict.NOT_FOR_ME, reason="the program's own words")
        return heard


def heard_over(played: Iterable[Played], spoken: float, ended: float) -> list[Played]:
    """What was playing, or had not died away yet, between these two times."""
    return [p for p in played if p.started < ended and _over(p, ended) + DIES_AWAY > spoken]


def says(text: str, heard: Heard) -> bool:
    """The words of the matched phrase occur in `text`, in a row; or nearly all the words that the engine heard do."""
    own = _words(text)
    for form in (heard.meaning.spoken, heard.meaning.text) if heard.meaning else ():
        wanted = _words(form)
        if wanted and any(own[i : i + len(wanted)] == wanted for i in range(len(own) - len(wanted) + 1)):
            return True
    engine = _words(heard.words)
    return bool(engine) and sum(word in own for word in engine) >= 0.8 * len(engine)


def _words(text: str) -> list[str]:
    return re.findall(r"[^\W_]+", text.lower())


def _over(played: Played, now: float) -> float:
    """When it ended; `now` while it still plays."""
    return now if played.ended is None else played.ended


def _overlap(during: list[Played], started: float, ended: float) -> float:
    covered = sum(
        max(0.0, min(ended, _over(p, ended) + DIES_AWAY) - max(started, p.started)) for p in during
    )
    return min(1.0, covered / max(ended - started, 1e-6))


def _reference(during: list[Played], begins: float, length: int) -> Samples:
    """What was played, laid out from `begins` on."""
    out = silence(length / RATE)
    for p in during:
        first = round((p.started - begins) * RATE)
        low, high = max(0, first), min(length, first + len(p.samples))
        if high > low:
            out[low:high] += p.samples[low - first : high - first]
    return out


def _explained_by(during: list[Played], samples: Samples, started: float, beyond: int = 0) -> Samples:
    """Fits each stretch of at most CHUNK seconds on its own, because the delay changes by a few hundredths of a second
    between prompts and where a device stumbled. `beyond`: so many samples more, by the filter of the last stretch."""
    fit = np.zeros(len(samples) + beyond, np.float32)
    pieces = max(1, round(len(samples) / RATE / CHUNK))
    bounds = [round(i * len(samples) / pieces) for i in range(pieces + 1)]
    for p in during:
        for first, last in itertools.pairwise(bounds):
            begins = started + first / RATE
            more = beyond if last == len(samples) else 0
            reference = _reference([p], begins - SEARCH, last + more - first + round(2 * SEARCH * RATE))
            fit[first : last + more] += explained(samples[first:last] - fit[first:last], reference, beyond=more)
    return fit


def explained(samples: Samples, reference: Samples, taps: int = TAPS, beyond: int = 0) -> Samples:
    """The part of `samples` that a filter of `taps` over `reference` makes, least squares; `reference` begins SEARCH seconds
    earlier and ends as much later. The delay comes from the cross-correlation, whitened (GCC-PHAT; Knapp and Carter, IEEE
    Trans. ASSP 24 (1976), from memory), and the filter begins a little before it. `beyond`: so many samples more that the
    same filter makes; `reference` is longer by as many."""
    n, more = len(samples), len(samples) + beyond
    if float(np.dot(reference, reference)) <= 1e-9 * len(reference) or n < taps:
        return np.zeros(more, np.float32)
    x, d = np.asarray(reference, dtype=np.float64), np.asarray(samples, dtype=np.float64)
    delay = _delay(d, x[: len(x) - beyond]) + taps // 8
    lagged = np.zeros(more + taps)  # x at sample i of `samples` less up to `taps`
    low = delay - taps
    take = x[max(0, low) : max(0, min(len(x), low + more + taps))]
    lagged[max(0, -low) : max(0, -low) + len(take)] = take
    return least_squares(lagged, d, taps).astype(np.float32)


def _delay(d: np.ndarray, x: np.ndarray) -> int:
    """Where in `x` the first sample of `d` was played, 0 to len(x) - len(d)."""
    return best_match(d, x)[0]


def best_match(d: np.ndarray, x: np.ndarray) -> tuple[int, float]:
    """Where in `x` `d` begins, and how far that match stands out, in standard deviations of all the matches."""
    size = 1 << (len(x) + len(d) - 1).bit_length()
    cross = np.fft.rfft(x, size) * np.conj(np.fft.rfft(d, size))
    magnitude = np.abs(cross)
    match = np.fft.irfft(cross / (magnitude + 1e-3 * magnitude.max() + 1e-12))[: max(1, len(x) - len(d))]
    at = int(np.argmax(match))
    return at, float(match[at] / (match.std() + 1e-12))


def _loudest(samples: Samples, noise: float) -> float:
    """The power of its loudest moment, less the noise."""
    size = round(MOMENT * RATE)
    starts = range(0, max(1, len(samples) - size + 1), size // 2)
    return max(float(np.mean(np.square(samples[s : s + size], dtype=np.float64))) for s in starts) - noise


def _least_explained(samples: Samples, fit: Samples, noise: float) -> float:
    """The greatest share of sound, noise apart, that the fit leaves unexplained in any stretch loud enough to be speech."""
    size = min(len(samples), round(WINDOW * RATE))
    starts = range(0, max(1, len(samples) - size + 1), max(1, size // 2))
    rest = samples - fit
    total = np.array([np.mean(np.square(samples[s : s + size], dtype=np.float64)) for s in starts])
    left = np.array([np.mean(np.square(rest[s : s + size], dtype=np.float64)) for s in starts])
    loud = total > max(LOUD * float(total.max()), 2.0 * noise)
    if not loud.any():
        return 0.0
    share = np.maximum(0.0, left - NOISY * noise) / (total + 1e-15)
    return float(np.clip(share[loud].max(), 0.0, 1.0))
