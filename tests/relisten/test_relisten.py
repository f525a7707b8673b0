"""Listening again to an archive, with a real engine: on this machine's cores, and on a real Dask cluster on loopback."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import distributed
import pytest

from handsfree.errors import Trouble
from handsfree.journal.disk import RealDisk
from handsfree.journal.events import SoundRemoved
from handsfree.journal.writer import Journal
from handsfree.relisten import again
from handsfree.relisten.again import (
    Batch,
    HearingChange,
    ListenedFor,
    Relistened,
    RelistenReport,
    batches,
    change_of,
    hear_batch,
    report_of,
    shown,
)
from handsfree.relisten.spreading import on_cluster, on_cores
from tests.relisten import heard
from tests.relisten.heard import CROOKED, ENGINE

MODELS = Path("no-models")


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Not to be changed by a test."""
    visits = tmp_path_factory.mktemp("archive")
    honest = heard.heard_visit(visits, "2026-05-01-heard", 1, 70)
    heard.copied(honest, 1)
    heard.crooked_visit(visits)
    return visits


def everything(visits: Path) -> list[Batch]:
    """In small batches, two of each visit, so that there is something to spread."""
    return [replace(each, part=part, parts=2) for each in batches(visits, ENGINE, MODELS) for part in (0, 1)]


@pytest.fixture(scope="module")
def here(archive: Path) -> RelistenReport:
    """The answer of one process, one batch a visit."""
    return report_of(hear_batch(each) for each in batches(archive, ENGINE, MODELS))


def test_what_the_present_recogniser_heard_it_hears_again(here: RelistenReport) -> None:
    assert here.visits == 3
    assert here.clips == 2 * 2 + len(CROOKED)
    assert here.left_out == []
    assert {again.visit for again in here.changed} == {"2026-05-02-crooked"}
    assert here.engine == ENGINE


def test_what_would_be_otherwise_is_told_gates_first(here: RelistenReport) -> None:
    found = [(again.stake, again.change, again.now.verdict) for again in here.changed]
    assert found[:2] == [
        (ListenedFor.GATE, HearingChange.ACCEPTED, "accepted"),
        (ListenedFor.GATE, HearingChange.SILENT, "not for me"),  # the cheap engine writes "isolated lot for free"
    ], "a command, once refused; the wrong number that was once accepted"
    assert (ListenedFor.READING, HearingChange.OTHER, "accepted") in found
    assert (ListenedFor.ANSWER, HearingChange.OTHER, "accepted") in found
    assert [stake for stake, _, _ in found] == sorted((s for s, _, _ in found), key=list(ListenedFor).index)
    assert here.alarming == 1


def test_no_lock_number_is_in_the_report(here: RelistenReport) -> None:
    text = json.dumps(here.to_json())
    assert "four two" not in text
    assert "isolated, lock (the number)" in text


def test_it_is_heard_under_what_was_in_force_then(archive: Path, tmp_path: Path) -> None:
    """The same clip under other listening comes to something else: so the listening of the record is what counts."""
    place = tmp_path / "2026-05-03-turned"
    listening = replace(CROOKED[0][0], phrases=("cool", "dead"))
    clip = archive / "2026-05-02-crooked" / "sound" / "00001.flac"
    with Journal.create(place) as journal:
        journal.append(heard.opened(place.name), CROOKED[0][0], listening)
        name, digest = journal.keep_sound(clip.read_bytes())
        journal.append(heard.Utterance("accepted", "phrase", "warm", engine=ENGINE, clip=name, clip_sha256=digest))
        journal.append(CROOKED[0][0])
        journal.seal()
    (again,) = report_of(hear_batch(each) for each in batches(place, ENGINE, MODELS)).changed
    assert again.now.meaning != "warm"


def test_on_the_cores_it_is_the_same(archive: Path, here: RelistenReport) -> None:
    assert report_of(on_cores(hear_batch, everything(archive), 2)) == here


@pytest.mark.skipif(os.name != "posix", reason="SIGKILL")
def test_a_core_that_is_killed_is_said(archive: Path) -> None:
    with pytest.raises(Trouble, match="was killed"):
        list(on_cores(_falls, everything(archive), 2))


def _falls(batch: Batch) -> Relistened:
    os.kill(os.getpid(), signal.SIGKILL)
    return Relistened(batch)


# ---- a cluster -----------------------------------------------------------------------------------------------------


@contextlib.contextmanager
def cluster(place: Path, workers: int) -> Iterator[tuple[str, list[subprocess.Popen[bytes]]]]:
    """A scheduler and its workers, each a process, one thread each, on loopback."""
    file = place / "scheduler.json"
    env = {**os.environ, "DASK_DISTRIBUTED__ADMIN__TICK__LIMIT": "1h", "PYTHONPATH": os.getcwd()}

    def start(*words: str) -> subprocess.Popen[bytes]:
        command = [sys.executable, "-m", "dask", *words, "--no-dashboard"]
        return subprocess.Popen(command, cwd=place, env=env, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)

    scheduler = start("scheduler", "--host", "127.0.0.1", "--port", "0", "--scheduler-file", str(file))
    running = [scheduler]
    try:
        while not file.exists() or not file.read_text().rstrip().endswith("}"):  # there, but not written to its end
            assert scheduler.poll() is None
            time.sleep(0.05)
        address = json.loads(file.read_text())["address"]
        options = ("--nthreads", "1", "--no-nanny", "--host", "127.0.0.1", "--local-directory", str(place))
        running += [start("worker", address, *options) for _ in range(workers)]
        with distributed.Client(address, set_as_default=False) as client:
            if workers:
                client.wait_for_workers(workers, timeout=60)
        yield address, running[1:]
    finally:
        for process in running:
            process.kill()
            process.wait()


def test_on_a_cluster_it_is_the_same_even_when_a_worker_is_killed(
    archive: Path, here: RelistenReport, tmp_path: Path
) -> None:
    with cluster(tmp_path, 2) as (address, workers):
        killed: list[int] = []

        def kill() -> None:
            if not killed:
                workers[0].send_signal(signal.SIGKILL)
                workers[0].wait()
                killed.append(workers[0].pid)

        assert _watched(on_cluster(hear_batch, everything(archive), address), kill) == here
        assert killed, "a worker was killed when the first answer was there"


def _watched(answers: Iterator[Relistened], after_first: Callable[[], None]) -> RelistenReport:
    def told() -> Iterator[Relistened]:
        for answer in answers:
            yield answer
            after_first()

    return report_of(told())


def test_a_scheduler_that_is_not_there_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from handsfree.relisten import spreading

    monkeypatch.setattr(spreading, "WAIT", 1.0)
    with pytest.raises(Trouble, match="cannot be reached"):
        list(on_cluster(hear_batch, [], "tcp://127.0.0.1:9"))
    with pytest.raises(Trouble, match="not the address of a scheduler"):
        list(on_cluster(hear_batch, [], "desk.example.org"))
    with cluster(tmp_path, 0) as (address, _), pytest.raises(Trouble, match="has no worker"):
        list(on_cluster(hear_batch, [], address))


# ---- what cannot be heard ------------------------------------------------------------------------------------------


def test_what_cannot_be_heard_is_left_out_and_said(tmp_path: Path) -> None:
    visits = tmp_path / "visits"
    visits.mkdir()
    for name in ("swapped", "lost", "torn", "removed"):
        heard.crooked_visit(visits, name, 3)
    shutil.copyfile(visits / "swapped/sound/00001.flac", visits / "swapped/sound/00002.flac")
    shutil.copyfile(visits / "swapped/sound/00001.flac", visits / "swapped/sound/00003.flac")
    (visits / "lost/sound/00001.flac").unlink()
    lines = (visits / "torn/journal.jsonl").read_bytes().splitlines(keepends=True)
    (visits / "torn/journal.jsonl").write_bytes(b"".join(lines[:3] + lines[4:]))
    clip = visits / "removed/sound/00001.flac"
    with Journal.resume(visits / "removed", disk=RealDisk()) as journal:
        import hashlib

        journal.append(SoundRemoved((("sound/00001.flac", hashlib.sha256(clip.read_bytes()).hexdigest()),), "old"))
        journal.seal()
    clip.unlink()
    report = report_of(hear_batch(each) for each in batches(visits, ENGINE, MODELS))
    assert report.removed == 1
    assert report.clips == 3 * 3 - 3, "of the swapped one is the same sound as was there, and holds"
    assert [(visit, why.split(":")[0][:40]) for visit, _, why in report.left_out if visit != "lost"] == [
        ("swapped", "00003.flac is not the clip that was reco"),
        ("torn", f"The record of {visits / 'torn'} is broken"[:40]),
    ]
    assert [visit for visit, _, _ in report.left_out].count("lost") == 1


def test_programs_that_differ_are_not_put_together(archive: Path) -> None:
    (batch,) = batches(archive / "2026-05-02-crooked", ENGINE, MODELS)
    with pytest.raises(Trouble, match="different versions of handsfree"):
        report_of(iter([Relistened(batch, program="a"), Relistened(batch, program="b")]))


def test_an_archive_the_worker_cannot_reach_is_said(tmp_path: Path) -> None:
    with pytest.raises(Trouble, match="every machine must reach"):
        hear_batch(Batch(str(tmp_path / "none"), 0, 1, ENGINE, "no-models"))


def test_a_long_visit_is_several_batches_and_they_are_the_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    visit = heard.crooked_visit(tmp_path, rows=3)
    monkeypatch.setattr(again, "BATCH", 500)
    many = batches(visit, ENGINE, MODELS)
    assert len(many) > 3
    assert [again.n for batch in many for again in hear_batch(batch).heard] == [2, 4, 6]


@pytest.mark.parametrize(
    ("then", "now", "change"),
    [
        (("accepted", "warm"), ("accepted", "warm"), HearingChange.SAME),
        (("accepted", "warm"), ("accepted", "cold"), HearingChange.OTHER),
        (("accepted", "warm"), ("asked again", "warm"), HearingChange.ASKED),
        (("accepted", "warm"), ("not for me", ""), HearingChange.SILENT),
        (("asked again", "warm"), ("accepted", "warm"), HearingChange.ACCEPTED),
        (("not for me", ""), ("accepted", "warm"), HearingChange.ACCEPTED),
        (("asked again", "warm"), ("asked again", "cold"), HearingChange.SAME),
        (("not for me", ""), ("asked again", "warm"), HearingChange.ASKED),
    ],
)
def test_then_and_now(then: tuple[str, str], now: tuple[str, str], change: HearingChange) -> None:
    assert change_of(then[0], ("phrase", then[1], None, None), now[0], ("phrase", now[1], None, None)) is change


def test_meanings_in_words_without_a_lock_number() -> None:
    assert shown("number", "", 43.5, "degF") == "43.5 degF"
    assert shown("digits", "four two", None, None) == "(a lock number)"
    assert shown("gate", "clear, lock four two", None, None) == "clear, lock (the number)"
    assert shown("denial", "wrong number", None, None) == "denial: wrong number"
    assert shown("denial", "isolated lock four three", None, None) == "denial: as said"
    assert shown("command", "say again", None, None) == "say again"


def test_the_verb(
    archive: Path, here: RelistenReport, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from handsfree.cli import main

    crooked = str(archive / "2026-05-02-crooked")
    with pytest.raises(SystemExit) as done:
        main(["relisten", crooked, "--engine", ENGINE, "--jobs", "1", "--json"])
    assert done.value.code == 1, "something at a gate is accepted now that was not"
    said = capsys.readouterr().out.splitlines()
    found: dict[str, Any] = json.loads(said[-1])
    assert found["changed"] == here.to_json()["changed"]
    assert any(line.startswith("at a gate: now accepted, was not: 2026-05-02-crooked event 12") for line in said)
    with pytest.raises(SystemExit) as done:
        main(["relisten", str(archive / "none"), "--engine", ENGINE])
    assert done.value.code == 2
