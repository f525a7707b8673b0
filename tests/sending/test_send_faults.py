"""Sending over a line that fails, by the hundred schedules: stored whole and once, or not at all; killed in the middle.

HANDSFREE_SCHEDULES sets another number of schedules than CI's; `python -m pytest -s` prints what happened in them.
"""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest

from handsfree.journal.events import Attached, Opened, Utterance
from handsfree.journal.verify import verify
from handsfree.journal.writer import Journal
from handsfree.sending import forward
from handsfree.sending.line import Destination, Uplink
from handsfree.sending.queue import STORED, Queue
from tests.desk.test_uploads import same
from tests.journal.made import clip
from tests.sending.badline import FAULTS, BadLine, Served, served

SCHEDULES = int(os.environ.get("HANDSFREE_SCHEDULES", "150"))


@pytest.fixture(scope="module")
def line_and_desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[BadLine, Served]]:
    line = BadLine(0)
    with served(tmp_path_factory.mktemp("bad"), line.port) as desk:
        line.desk_port = desk.port
        with line:
            yield line, desk


def made(place: Path, name: str, seed: int, clips: int, photo: int) -> Path:
    """A small visit written by the real journal: clips, and a photo of `photo` bytes. The first two clips are the same."""
    chance = random.Random(seed)
    folder = place / name
    with Journal.create(folder) as journal:
        journal.append(Opened(name, "summit-check", "en", "A. Brandner (invented)", "Hochgrat", "HK-4", "0", "typed"))
        for number in range(clips):
            kept = journal.keep_sound(clip(0.05 + 0.01 * max(0, number - 1)))
            journal.append(Utterance("accepted", "command", "next step", clip=kept[0], clip_sha256=kept[1]))
        picture = place / "photo.jpg"
        picture.write_bytes(chance.randbytes(photo))
        journal.append(Attached("photo", *journal.attach(picture)))
        journal.seal()
    return folder


class _Died(BaseException):
    """In place of the process's end: nothing that runs afterwards belongs to it."""


class _Mortal(Uplink):
    """Dies before or after a request, once in a while."""

    def __init__(self, to: Destination, piece: int, chance: random.Random, dies: float) -> None:
        super().__init__(to, piece)
        self._chance, self._dies = chance, dies

    def ask(self, method: str, path: str, content: bytes = b"", **headers: str) -> tuple[int, bytes]:
        if self._chance.random() < self._dies:
            raise _Died
        answer = super().ask(method, path, content, **headers)
        if self._chance.random() < self._dies:
            raise _Died
        return answer


def _until_stored(queue: Path, to: Destination, piece: int, chance: random.Random, dies: float, look: object) -> int:
    """One life after another, each with the queue opened anew. How many lives."""
    clock = [1e9]
    assert callable(look)

    def passes(seconds: float) -> None:
        clock[0] += seconds

    for life in range(1, 500):
        pace = forward.Pace(lambda: clock[0], passes, chance, look=1e6)
        try:
            with _Mortal(to, piece, chance, dies) as line:
                forward.work(Queue(queue), to, lambda news: look(), pace, line)
            return life
        except _Died:
            look()
    raise AssertionError("it never came to an end")


def test_over_hundreds_of_bad_lines_a_visit_is_stored_once_and_whole(
    line_and_desk: tuple[BadLine, Served], tmp_path: Path
) -> None:
    line, desk = line_and_desk
    folders = [made(tmp_path, f"2026-02-{day:02d}-visit", day, clips=day % 3 + 2, photo=day * 500) for day in range(1, 6)]
    lives: list[int] = []
    for seed in range(SCHEDULES):
        chance = random.Random(seed)
        folder = folders[seed % len(folders)]
        line.again(seed, chance.choice([0.2, 0.4, 0.6]))
        desk.emptied()

        def look(folder: Path = folder) -> None:
            assert desk.visits in ([], [folder.name])
            if desk.visits:
                assert same(desk.desk.visits / folder.name, folder)

        queue = tmp_path / f"queue-{seed}.sqlite3"
        forward.enqueue(Queue(queue), folder, line.address)
        piece = chance.choice([500, 1500, 1 << 20])
        lives.append(_until_stored(queue, Destination(line.address, desk.key), piece, chance, chance.choice([0, 0.1]), look))
        assert [row.state for row in Queue(queue).rows()] == [STORED]
        desk.quiet()
        assert desk.visits == [folder.name]
        assert same(desk.desk.visits / folder.name, folder)
        assert verify(desk.desk.visits / folder.name).holds
        assert desk.statuses.count(201) == 1, "stored once, however often it was asked for"
    happened = Counter(line.counts)
    print(f"\n{SCHEDULES} schedules, {sum(happened.values())} requests, {sum(lives) - len(lives)} deaths: {dict(happened)}")
    if SCHEDULES >= 100:
        assert {fault for fault in FAULTS if happened[fault] == 0} == set(), "every fault happened"
        assert sum(lives) > len(lives)


def test_a_line_given_up_leaves_nothing_half_at_the_desk(line_and_desk: tuple[BadLine, Served], tmp_path: Path) -> None:
    """`until` in the middle: what is there is a whole visit or none; then a good line goes on from what arrived."""
    line, desk = line_and_desk
    folder = made(tmp_path, "2026-03-01-visit", 1, clips=3, photo=40_000)
    halves = 0
    for seed in range(20):
        desk.emptied()
        line.again(seed, 0.8)
        queue, clock = Queue(tmp_path / f"queue-{seed}.sqlite3"), [0.0]
        forward.enqueue(queue, folder, line.address)
        to = Destination(line.address, desk.key)
        wait = lambda s, at=clock: at.__setitem__(0, at[0] + s)  # noqa: E731
        pace = forward.Pace(lambda at=clock: at[0], wait, random.Random(seed), 20.0)  # type: ignore[misc]  # a default binds it now
        with Uplink(to, 3000) as bad:
            forward.work(queue, to, lambda news: None, pace, bad)
        assert desk.visits in ([], [folder.name])
        if not desk.visits:
            halves += any(path.is_dir() for path in desk.desk.incoming.place.glob("*"))
        line.again(seed, 0.0)
        clock[0] = 1e6
        pace.until = float("inf")
        with Uplink(to, 3000) as good:
            forward.work(queue, to, lambda news: None, pace, good)
        assert same(desk.desk.visits / folder.name, folder)
    assert halves >= 5, "most were in the middle when they were given up"


def _start(folder: Path | None, to: str, key: Path, place: Path) -> subprocess.Popen[bytes]:
    named = [str(folder)] if folder else []
    words = [sys.executable, "-m", "handsfree", "send", *named, "--to", to, "--key", str(key)]
    env = {**os.environ, "HANDSFREE_OUTBOX": str(place / "outbox.sqlite3"), "HANDSFREE_SETTINGS": str(place / "none.toml")}
    return subprocess.Popen(words, env=env, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)


@pytest.mark.skipif(os.name != "posix", reason="SIGKILL")
def test_a_process_that_is_killed_goes_on_when_it_is_started_again(
    line_and_desk: tuple[BadLine, Served], tmp_path: Path
) -> None:
    line, desk = line_and_desk
    desk.emptied()
    line.again(7, 0.1)
    line.rest = 0.05
    out = tmp_path / "out"
    folders = [made(out, f"2026-04-{day:02d}-visit", day, clips=4, photo=1000 * day) for day in range(1, 4)]
    key = tmp_path / "key"
    key.write_text(desk.key)
    key.chmod(0o600)
    kills = 0
    while True:
        before = sum(line.counts.values())
        process = _start(out if not kills else None, line.address, key, tmp_path)
        more = random.Random(kills).randrange(3, 12)
        while process.poll() is None and (kills >= 6 or sum(line.counts.values()) < before + more):
            time.sleep(0.005)
        if process.poll() is not None:
            assert process.returncode == 0, process.stderr.read() if process.stderr else ""
            break
        process.send_signal(signal.SIGKILL)
        process.wait()
        kills += 1
        for name in desk.visits:
            assert same(desk.desk.visits / name, out / name)
    line.rest = 0.0
    print(f"\n{kills} kills")
    assert kills >= 3
    assert desk.visits == [folder.name for folder in folders]
    assert all(same(desk.desk.visits / folder.name, folder) for folder in folders)
    assert desk.statuses.count(201) == 3
