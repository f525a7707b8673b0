"""Measuring recognition on a manifest of clips: `handsfree evaluate MANIFEST`.

The manifest is JSON Lines; `manifest.Clip` says what a line holds. Every line counts once:

- right: what was said was accepted; or, where nothing may be accepted, nothing was accepted or proposed.
- proposed right: what was said was proposed, to be affirmed.
- proposed wrong: something else was proposed, or something where nothing may be.
- asked again: something was said, and nothing was accepted or proposed.
- wrong: something else than what was said was accepted.
- accepted: something was accepted where nothing may be.

A line of several clips is one person saying the same thing again, as in a visit: each is weighed together with those before
it, and the first that is accepted, or rightly proposed (and so affirmed), ends the line. A wrong proposal is refused, and
the next clip is heard; what the last one comes to is what the line comes to.

One exception: where nothing may be accepted, what can only shut a gate counts as right
("power is on" at a gate) and so does what the line names as harmless ("it runs" where dead works are to be proved).
"""

from __future__ import annotations

import json
import os
import time
from collections.abc import Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from handsfree.language.meaning import Heard, Listening, Meaning, Verdict
from handsfree.speech.manifest import Clip, read_manifest
from handsfree.speech.processes import arithmetic_threads, recogniser_here

if TYPE_CHECKING:
    from handsfree.speech.recogniser import Recogniser

OUTCOMES = ("right", "proposed_right", "proposed_wrong", "asked_again", "wrong", "accepted")
_Z = 1.959964  # standard deviations of a normal distribution that hold 95 %: mathematics, not a threshold
_LAG_CLIPS = 40
_BETWEEN, _LONG_AFTER = 3.0, 600.0  # s between two sayings of one line, and between two lines


@dataclass(frozen=True)
class Verdicted:
    """One line's outcome. `verdict`: the last one; `heard`: all of it, in words. Seconds: `cpu` of this process, `lag` of
    the clock, `sound` of the clips."""

    clip: Clip
    outcome: str
    verdict: str
    heard: str
    cpu: float
    lag: float
    sound: float


@dataclass
class Tally:
    kind: str
    snr: str
    counts: dict[str, int] = field(default_factory=lambda: dict.fromkeys(OUTCOMES, 0))
    silent: int = 0  # lines in which nothing may be accepted
    kept: int = 0  # of these, right

    @property
    def total(self) -> int:
        return sum(self.counts.values())


@dataclass(frozen=True)
class EvaluationReport:
    tallies: tuple[Tally, ...]
    clips: int
    cpu_per_audio_s: float
    lag_p50_ms: float
    lag_p95_ms: float
    engine: str
    mistakes: tuple[Verdicted, ...]

    def as_json(self) -> str:
        by = [{"kind": t.kind, "snr": t.snr, **t.counts} for t in self.tallies]
        lag = {"p50": round(self.lag_p50_ms, 1), "p95": round(self.lag_p95_ms, 1)}
        return json.dumps({
            "clips": self.clips, "by": by, "cpu_per_audio_s": round(self.cpu_per_audio_s, 4),
            "lag_ms": lag, "engine": self.engine,
        })  # fmt: skip


def wilson(count: int, total: int) -> tuple[float, float]:
    """The 95 % interval of a rate: Wilson, J. Am. Stat. Assoc. 22 (1927), 209-212 (formula from memory)."""
    if total == 0:
        return 0.0, 1.0
    rate, z2 = count / total, _Z * _Z
    middle = (rate + z2 / (2 * total)) / (1 + z2 / total)
    half = _Z / (1 + z2 / total) * ((rate * (1 - rate) + z2 / (4 * total)) / total) ** 0.5
    return max(0.0, middle - half), min(1.0, middle + half)


def outcome(clip: Clip, heard: Heard) -> str:
    meaning = heard.meaning if heard.verdict in (Verdict.ACCEPTED, Verdict.PROPOSED) else None
    proposed = heard.verdict is Verdict.PROPOSED
    if clip.expect is None:
        if meaning is None or harmless(clip, meaning):
            return "right"
        return "proposed_wrong" if proposed else "accepted"
    if meaning is None:
        return "asked_again"
    met = clip.expect.met_by(meaning, clip.unit)
    if proposed:
        return "proposed_right" if met else "proposed_wrong"
    return "right" if met else "wrong"


def harmless(clip: Clip, meaning: Meaning) -> bool:
    """What may be accepted although nothing was expected: it can only shut a gate or keep the works live."""
    shuts = clip.harmless if clip.listen_for.gate is None else (*clip.harmless, "power is on")
    return meaning.text in shuts


def hear_in_turn(recogniser: Recogniser, sounds: Sequence[Any], clip: Clip, listening: Listening) -> tuple[Heard, str]:
    """The last of the clips that had to be heard, and its verdict, each weighed with those before it as in a visit: one
    after another, and long after anything from an earlier line."""
    now = _Clock.now = _Clock.now + _LONG_AFTER
    for samples in sounds:
        ended = now + len(samples) / 16_000
        heard = recogniser.together(replace(recogniser.hear(samples, listening), started=now, ended=ended), listening)
        came_to = outcome(clip, heard)
        if heard.verdict is Verdict.ACCEPTED or came_to == "proposed_right":
            break
        now = _Clock.now = ended + _BETWEEN
    return heard, came_to


class _Clock:
    """Of this process; sayings are weighed together by when they were said."""

    now = 0.0


# ---- in the worker processes


def _judge(job: tuple[Clip, Path, str | None, str, str]) -> Verdicted:
    from handsfree.sound.files import read_sound

    clip, folder, engine, language, models = job
    recogniser = recogniser_here(engine, language, models)
    sounds = [read_sound(folder / name) for name in clip.sayings]
    listening = clip.listen_for.listening()
    _warm(recogniser, listening)
    cpu, clock = time.process_time(), time.perf_counter()
    heard, came_to = hear_in_turn(recogniser, sounds, clip, listening)
    cpu, clock = time.process_time() - cpu, time.perf_counter() - clock
    said = f"{heard.verdict}: {heard.meaning.sense} {heard.meaning.text}" if heard.meaning else str(heard.verdict)
    told = f"{said} ({heard.sure:.3f}); heard '{heard.words}'"
    length = sum(len(samples) for samples in sounds) / 16_000
    return Verdicted(clip, came_to, str(heard.verdict), told, cpu, clock, length)


def _warm(recogniser: Recogniser, listening: Listening) -> None:
    """A visit prepares what is in force while it talks, before anybody speaks; so this is not part of the lag."""
    import numpy as np

    if listening not in _WARMED:
        _WARMED.add(listening)
        recogniser.hear(np.random.default_rng(0).normal(0, 0.01, 8000).astype(np.float32), listening)


_WARMED: set[Listening] = set()


# ---- the whole


def evaluate(
    manifest: Path, engine: str | None, models: Path, language: str = "en", jobs: int | None = None, quiet: bool = False
) -> EvaluationReport:
    """Hear every clip of the manifest. `jobs`: processes, by default one a core. Trouble for a bad manifest or clip."""
    clips = read_manifest(manifest)
    work = [(clip, manifest.parent, engine, language, str(models)) for clip in clips]
    name = recogniser_here(engine, language, str(models)).name
    results = list(_shown(_spread(work, jobs or os.cpu_count() or 1, threads=1), len(work), quiet))
    few = min(_LAG_CLIPS, max(6, len(work) // 8))
    lags = [v.lag for v in _spread(work[:: max(1, len(work) // few)][:few], 1, threads=os.cpu_count() or 1)]
    return _report(results, lags, name)


def _spread(work: Sequence[Any], jobs: int, threads: int) -> Iterator[Verdicted]:
    from multiprocessing import get_context

    with arithmetic_threads(threads), ProcessPoolExecutor(jobs, mp_context=get_context("spawn")) as pool:
        yield from pool.map(_judge, work, chunksize=max(1, min(8, len(work) // (4 * jobs))))


def _shown(results: Iterable[Verdicted], total: int, quiet: bool) -> Iterator[Verdicted]:
    from rich.console import Console
    from rich.progress import track

    yield from track(results, "Listening", total=total, console=Console(stderr=True, quiet=quiet), disable=quiet)


def _report(results: Sequence[Verdicted], lags: Sequence[float], engine: str) -> EvaluationReport:
    import numpy as np

    tallies: dict[tuple[str, str], Tally] = {}
    for verdicted in results:
        place = verdicted.clip.kind, verdicted.clip.snr
        tally = tallies.setdefault(place, Tally(*place))
        tally.counts[verdicted.outcome] += 1
        if verdicted.clip.expect is None:
            tally.silent += 1
            tally.kept += verdicted.outcome == "right"
    p50, p95 = (1000 * float(np.percentile(lags, q)) for q in (50, 95))
    return EvaluationReport(
        tuple(sorted(tallies.values(), key=lambda t: (t.kind, _loudness(t.snr)))), len(results),
        sum(v.cpu for v in results) / max(1e-9, sum(v.sound for v in results)), p50, p95, engine,
        tuple(v for v in results if v.outcome in ("wrong", "accepted", "proposed_wrong")),
    )  # fmt: skip


def _loudness(snr: str) -> float:
    """Cleanest first."""
    try:
        return -float(snr)
    except ValueError:
        return -1000.0


def table(report: EvaluationReport) -> Any:
    """A rich table of the report: counts, and each rate with its 95 % interval."""
    from rich.table import Table

    out = Table("kind", "noise", "clips", *(name.replace("_", " ") for name in OUTCOMES), "right, 95 % interval")
    for tally in report.tallies:
        low, high = wilson(tally.counts["right"], tally.total)
        rate = f"{tally.counts['right'] / tally.total:.1%} ({low:.1%} to {high:.1%})"
        level = tally.snr if tally.snr == "clean" else f"{tally.snr} dB"
        out.add_row(tally.kind, level, str(tally.total), *(str(tally.counts[name]) for name in OUTCOMES), rate)
    return out


def totals(report: EvaluationReport) -> Mapping[str, tuple[int, int]]:
    """The rates that must be close to zero: (count, of how many)."""
    silent = sum(t.silent for t in report.tallies)
    acted = _sum(report, "right") - sum(t.kept for t in report.tallies) + _sum(report, "wrong")
    proposed = _sum(report, "proposed_right") + _sum(report, "proposed_wrong")
    return {
        "wrong, of all that was accepted": (_sum(report, "wrong"), acted),
        "accepted, where nothing should be": (_sum(report, "accepted"), silent),
        "wrong, of all that was proposed": (_sum(report, "proposed_wrong"), proposed),
    }


def _sum(report: EvaluationReport, name: str) -> int:
    return sum(tally.counts[name] for tally in report.tallies)


def command(manifest: Path, engine: str | None, as_json: bool, models: Path, show: bool = False) -> int:
    """What the command prints. `show`: every line that was wrong, accepted or wrongly proposed."""
    from rich.console import Console

    report = evaluate(manifest, engine, models)
    console = Console()
    console.print(table(report))
    for name, (count, total) in totals(report).items():
        low, high = wilson(count, total)
        console.print(f"{name}: {count} of {total} (95 % interval {low:.2%} to {high:.2%})")
    speed = f"processor {report.cpu_per_audio_s:.3f} s a second of sound"
    lag = f"lag {report.lag_p50_ms:.0f} ms median, {report.lag_p95_ms:.0f} ms 95th percentile"
    console.print(f"engine {report.engine}; {speed}; {lag}")
    if show:
        for v in report.mistakes:
            console.print(f"{v.outcome}: {' '.join(v.clip.sayings)} {v.clip.tags} -> {v.heard}", markup=False)
    if as_json:
        print(report.as_json())
    return 0
