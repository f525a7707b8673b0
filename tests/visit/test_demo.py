"""The demo, by the real command, engine and synthesiser: what README's first command runs, with what it must contain."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from handsfree.journal import reader
from handsfree.journal.events import Closed, Gate, Say, Stamped, Utterance

TOP = Path(__file__).resolve().parents[2]


def run(*arguments: str, cwd: Path, **environment: str) -> subprocess.CompletedProcess[str]:
    import os

    return subprocess.run(
        [sys.executable, "-m", "handsfree", *arguments], cwd=cwd, capture_output=True, text=True, check=False,
        env={**os.environ, "PYTHONPATH": str(TOP), **environment}, stdin=subprocess.DEVNULL,
    )


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[dict[str, object], list[Stamped], Path]:
    folder = tmp_path_factory.mktemp("demo")
    done = run("demo", "--visits", "visits", "--sound-out", "spoken.flac", "--json", cwd=folder)
    assert done.returncode == 0, done.stderr
    result = json.loads(done.stdout.splitlines()[-1])
    return result, list(reader.read(folder / str(result["visit"]))), folder


def test_the_demo_finishes(demo: tuple[dict[str, object], list[Stamped], Path]) -> None:
    result, entries, _ = demo
    assert result["finished"] is True
    assert [e.event.outcome for e in entries if isinstance(e.event, Closed)] == ["done"]


def test_it_was_heard_by_a_real_engine_from_the_recordings(demo: tuple[dict[str, object], list[Stamped], Path]) -> None:
    _, entries, _ = demo
    heard = [e.event for e in entries if isinstance(e.event, Utterance)]
    assert len(heard) >= 20
    assert all(utterance.engine not in ("", "typed") and not utterance.typed for utterance in heard)
    kept = [utterance for utterance in heard if utterance.clip]
    assert {utterance.verdict for utterance in kept} == {"accepted"}


def test_it_shows_what_it_promises(demo: tuple[dict[str, object], list[Stamped], Path]) -> None:
    """A wrong word asked again, a reading corrected, a way past the gate refused, a denial refused, and the good phrase."""
    _, entries, _ = demo
    gates = [e.event for e in entries if isinstance(e.event, Gate)]
    said = " ".join(e.event.text for e in entries if isinstance(e.event, Say))
    heard = [e.event for e in entries if isinstance(e.event, Utterance)]
    assert any(utterance.verdict == "asked again" for utterance in heard)
    assert any(utterance.verdict == "accepted" and utterance.text == "correction" for utterance in heard)
    assert "Not past isolation." in said
    assert any(gate.how == "denied" for gate in gates)
    assert [gate.how for gate in gates if gate.now == "ISOLATED" and gate.was != gate.now] == ["proof"]
    first_open = next(n for n, gate in enumerate(gates) if gate.how == "phrase")
    assert any(gate.how in ("refused", "denied") for gate in gates[:first_open])
    assert sum("seven three nine" in e.event.text.casefold() for e in entries if isinstance(e.event, Say)) == 1


def test_its_record_holds_and_follows(demo: tuple[dict[str, object], list[Stamped], Path]) -> None:
    result, _, folder = demo
    visit = str(result["visit"])
    verified = run("verify", visit, cwd=folder)
    assert verified.returncode == 0, verified.stderr
    replayed = run("replay", visit, cwd=folder)
    assert replayed.returncode == 0, replayed.stderr
    assert "ISOLATING to ISOLATED" in replayed.stdout


def test_the_sound_of_both_sides_is_written(demo: tuple[dict[str, object], list[Stamped], Path]) -> None:
    import soundfile

    _, _, folder = demo
    facts = soundfile.info(folder / "spoken.flac")
    assert facts.samplerate == 16_000
    assert facts.duration > 120
