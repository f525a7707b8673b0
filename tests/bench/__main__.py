"""All benchmarks at a small size, in one table: `python -m tests.bench [--long] [--only NAME,…] [--out FILE]`.

Ratios and counts are to be trusted; absolute times only where the load beside them is small. What cannot be measured here
says so in its row. Each benchmark by itself, with all it prints, is a module of this folder (README.md there lists them).
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import random
import re
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import redirect_stdout, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib.metadata import PackageNotFoundError, version
from io import StringIO
from pathlib import Path

TOP = Path(__file__).resolve().parents[2]
VERSIONS = ("handsfree", "numpy", "ctranslate2", "pocketsphinx", "vosk", "sqlalchemy", "rfc8785")
VISIT_MEMORY_MB, VERIFY_SHARE, HELP_TIMES = 300, 0.1, 3  # what issue and design ask for


@dataclass(frozen=True)
class Row:
    what: str
    found: str
    wanted: str = ""


# ---- recognition ----------------------------------------------------------------------------------------------------


def recognition(long: bool) -> Iterator[Row]:
    """The committed clips (or every fifth), by engine and noise; the corpus of tests.bench.corpus is the larger one."""
    from handsfree import settings
    from handsfree.speech.evaluate import evaluate, totals

    lines = (TOP / "audio_fixtures" / "manifest.jsonl").read_text(encoding="utf-8").splitlines()
    with tempfile.TemporaryDirectory() as place:
        manifest = Path(place) / "manifest.jsonl"
        clips = [json.loads(line) for line in (lines if long else lines[::5])]
        for clip in clips:
            clip["audio"] = str(TOP / "audio_fixtures" / clip["audio"])
        manifest.write_text("\n".join(json.dumps(clip) for clip in clips), encoding="utf-8")
        for engine in ("whisper", "vosk", "pocketsphinx"):
            try:
                report = evaluate(manifest, engine, settings.load_settings().models, quiet=True)
            except Exception as error:
                yield Row(f"recognition, {engine}", f"not measured: {error}")
                continue
            by_noise: dict[str, list[int]] = {}
            for tally in report.tallies:
                sums = by_noise.setdefault(tally.snr if tally.snr == "clean" else f"{tally.snr} dB", [0, 0])
                sums[0] += tally.counts["right"]
                sums[1] += tally.total
            rates = "; ".join(f"{noise} {right} of {clips_}" for noise, (right, clips_) in by_noise.items())
            yield Row(f"recognition, {engine}: right (nothing accepted counts where nothing may be)", rates)
            wrong = "; ".join(f"{what} {count} of {of}" for what, (count, of) in totals(report).items())
            yield Row(f"recognition, {engine}: mistakes", wrong, "0")
            yield Row(f"lag, {engine}: median, 95 %", f"{report.lag_p50_ms / 1000:.2f} s, {report.lag_p95_ms / 1000:.2f} s")
            yield Row(f"processor a second of sound, {engine}", f"{report.cpu_per_audio_s:.2f} s")


# ---- the record -----------------------------------------------------------------------------------------------------


def record(long: bool) -> Iterator[Row]:
    from handsfree.journal.verify import verify
    from tests.bench.journal import as_a_visit_writes, make

    with tempfile.TemporaryDirectory(prefix="handsfree-bench-") as place:
        some = 5000 if long else 500
        took = as_a_visit_writes(Path(place) / "live", some)
        yield Row(f"append with fsync, {some} events", f"{took / some * 1000:.2f} ms an event")
        events = 1_000_000 if long else 50_000
        folder = Path(place) / "big"
        make(folder, events)
        path = folder / "journal.jsonl"
        plain = processor(["sha256sum", str(path)])
        began = time.process_time()
        assert verify(folder).holds
        ours = time.process_time() - began
        size = path.stat().st_size / 1e6
        yield Row(f"verify {events} events ({size:.0f} MB), processor", f"{ours:.2f} s, {size / ours:.0f} MB/s")
        yield Row("verify against sha256sum over the same bytes", f"{plain / ours:.2f} of its speed", f"≥ {VERIFY_SHARE}")


def replay(long: bool) -> Iterator[Row]:
    """A real visit's record, followed by the real machine again and again."""
    from handsfree.journal.follow import departure
    from tests.journal.made import read_list
    from tests.journal.visited import MACHINE, visit

    with tempfile.TemporaryDirectory(prefix="handsfree-bench-") as place, redirect_stdout(StringIO()):
        entries = read_list(visit(Path(place) / "visits"))
        times = max(1, (1_000_000 if long else 10_000) // len(entries))
        began = time.process_time()
        for _ in range(times):
            assert departure(entries, MACHINE) is None
        took = time.process_time() - began
    done = times * len(entries)
    yield Row(f"replay of {done} events, processor", f"{took:.1f} s, {took / done * 1e6:.0f} µs an event")


# ---- procedures, advice, desk ---------------------------------------------------------------------------------------


def procedures(long: bool) -> Iterator[Row]:
    """The procedures that ship, copied under other names until there are enough; each is loaded, proved and checked."""
    from handsfree.procedure.check import check_path

    shipped = sorted((TOP / "procedures").glob("*.yaml"))
    copies = max(1, round((1000 if long else 44) / len(shipped)))
    took, count = 0.0, 0
    for _ in range(copies):
        began = time.process_time()
        reports = check_path(TOP / "procedures")
        took += time.process_time() - began
        count += len(reports)
    yield Row(f"check of {count} procedures (those that ship, {copies} times), processor", f"{took:.1f} s, "
              f"{took / count * 1000:.0f} ms each")  # fmt: skip


def advice(long: bool) -> Iterator[Row]:
    """`next_check` at what a visit knows after no, one, two … answers."""
    from handsfree.trade import whatnext
    from handsfree.trade.faultmodel import COMPLAINT, shipped
    from tests.bench.whatnext import draw

    model, chance, times = shipped(), random.Random(1), []
    for _ in range(50 if long else 8):
        cabinet = draw(model, chance)
        known, isolated = {COMPLAINT: cabinet.complaint}, False
        for _ in range(6):
            began = time.process_time()
            advised = whatnext.next_check(model, known, isolated, [])
            times.append(time.process_time() - began)
            if advised is None:
                break
            known[advised.check.id] = cabinet.answers[advised.check.id]
            isolated = isolated or advised.check.needs == "isolation"
    yield Row(f"what next, {len(times)} questions, processor: median, worst",
              f"{statistics.median(times) * 1000:.2f} ms, {max(times) * 1000:.2f} ms")  # fmt: skip


def desk(long: bool) -> Iterator[Row]:
    """tests.bench.desk in a process of its own; its last table is read."""
    sizes, kind = ("10000,100000", "postgresql") if long else ("1000", "sqlite")
    out = told(["-m", "tests.bench.desk", "--sizes", sizes, "--database", kind])
    kept = ("put in", "newest visits", "visits to a cabinet", "search: a rare", "readings of a cabinet", "returns, a month")
    for line in re.findall(r"^\| (.+) \|$", out, re.M):
        name, *values = line.split(" | ")
        if name.startswith(kept) and "team" not in name:
            unit = "" if "a second" in name else " ms"
            yield Row(f"desk, {kind}, {sizes.replace(',', ' and ')} visits: {name}", ", ".join(v + unit for v in values))


# ---- starting and memory --------------------------------------------------------------------------------------------


#: A program of one empty command: what typer itself takes to say how it is used.
TYPER = """
import typer
app = typer.Typer(add_completion=False, rich_markup_mode=None)
@app.command()
def nothing(): ...
app(["--help"])
"""


def start(long: bool) -> Iterator[Row]:
    """Processor time, the median of several; the program's share beside the interpreter's and typer's own."""
    commands = ["-c", ""], ["-c", TYPER], ["-m", "handsfree", "--help"]
    bare, typer, ours = (
        1000 * statistics.median(processor([sys.executable, *words]) for _ in range(15 if long else 7)) for words in commands
    )
    yield Row("processor: python -c ''; typer's own help; handsfree --help", f"{bare:.0f} ms; {typer:.0f} ms; {ours:.0f} ms")
    share = (ours - (typer - bare)) / bare
    yield Row("handsfree --help without typer's own, in times of bare python", f"{share:.1f}", f"≤ {HELP_TIMES}")


def memory(long: bool) -> Iterator[Row]:
    """tests.bench.memory: a visit with the engine that needs nothing else, on the sound card of software."""
    out = told(["-m", "tests.bench.memory", "--engine", "pocketsphinx", "--minutes", "2" if long else "0.5", "--json"])
    found = json.loads(out.splitlines()[-1])["by"]
    seconds = [row["seconds"] for row in found if row["what"] != "resident" and "seconds" in row]
    sizes = [row["mb"] for row in found if row["what"] == "resident"]
    if len(seconds) == 2:
        yield Row("visit listening, and its engine alone", f"{seconds[1]} s, {seconds[0]} s", "no more than 1 s apart")
    if sizes:
        yield Row(f"memory of a visit with pocketsphinx, {len(sizes)} looks: first, last", f"{sizes[0]} MB, {sizes[-1]} MB",
                  f"≤ {VISIT_MEMORY_MB} MB")  # fmt: skip


# ---- the whole ------------------------------------------------------------------------------------------------------

MEASURES: dict[str, Callable[[bool], Iterator[Row]]] = {
    "start": start, "record": record, "replay": replay, "procedures": procedures, "advice": advice, "desk": desk,
    "memory": memory, "recognition": recognition,
}  # fmt: skip


def processor(words: list[str]) -> float:
    """Processor seconds of a command and what it starts."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(words, check=True, capture_output=True, cwd=TOP)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def told(words: list[str]) -> str:
    """What a benchmark prints. RuntimeError with its last line where it fails."""
    done = subprocess.run([sys.executable, *words], capture_output=True, text=True, cwd=TOP, check=False)
    if done.returncode:
        raise RuntimeError((done.stderr or done.stdout).strip().rpartition("\n")[2] or f"status {done.returncode}")
    return done.stdout


def machine() -> str:
    model = "unknown processor"
    with suppress(OSError):
        named = re.search(r"model name\s*: (.+)", Path("/proc/cpuinfo").read_text(encoding="utf-8"))
        model = named[1] if named else model
    with suppress(AttributeError):
        model += f", load {os.getloadavg()[0]:.1f}"
    found = []
    for name in VERSIONS:
        with suppress(PackageNotFoundError):
            found.append(f"{name} {version(name)}")
    when = datetime.now(UTC).strftime("%d %B %Y %H:%M UTC")
    return f"{os.cpu_count()} cores, {model}; {when}; Python {platform.python_version()}, {', '.join(found)}"


def measured(name: str, long: bool) -> Iterator[Row]:
    """A measure that cannot be taken is a row that says why: the others are still worth having."""
    try:
        yield from MEASURES[name](long)
    except Exception as error:
        yield Row(name, f"not measured: {type(error).__name__}: {error}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--long", action="store_true", help="the full sizes: a million events, a thousand procedures …")
    parser.add_argument("--only", default=",".join(MEASURES), help=f"some of: {', '.join(MEASURES)}")
    parser.add_argument("--out", type=Path, help="write the table there as well")
    given = parser.parse_args()
    names = given.only.split(",")
    if unknown := [name for name in names if name not in MEASURES]:
        parser.error(f"no such benchmark: {', '.join(unknown)}; there are: {', '.join(MEASURES)}")
    lines = [machine(), "", "| what | measured | wanted |", "| --- | --- | --- |"]
    print("\n".join(lines), flush=True)
    for name in names:
        for row in measured(name, given.long):
            lines.append(f"| {row.what} | {row.found} | {row.wanted} |")
            print(lines[-1], flush=True)
    if given.out:
        given.out.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
