"""Evidence added to a finished visit: kept, bound by hash, and found out when it is exchanged."""

from __future__ import annotations

from pathlib import Path

import pytest

from handsfree.errors import Trouble
from handsfree.journal.verify import verify
from handsfree.journal.writer import Journal
from handsfree.procedure import load
from handsfree.visit import sessions
from tests.visit.scenes import Scene

PHOTO = """
procedure: photo
title: A photo
steps:
  - {id: shot, kind: evidence, what: photo, say: Take a photo of the wiring.}
  - {id: done, kind: end, outcome: done, say: That was it.}
"""


def visit(folder: Path) -> Path:
    """A finished visit, written by the real journal from what the machine did in memory."""
    scene = Scene(load.book_of(load.parse_procedure(PHOTO))).open().words("next step")
    with Journal.create(folder / "v") as journal:
        for entry in scene.record:
            journal.append(entry.event)
        journal.seal()
    return folder / "v"


def test_a_photo_is_bound_to_its_step_and_its_hash(tmp_path: Path) -> None:
    folder, photo = visit(tmp_path), tmp_path / "wiring.jpg"
    photo.write_bytes(b"not really a picture")
    name = sessions.attach(folder, photo, "shot")
    assert verify(folder).holds
    (folder / name).write_bytes(b"another picture")
    assert not verify(folder).holds


def test_a_step_that_asked_for_nothing_is_named(tmp_path: Path) -> None:
    folder, photo = visit(tmp_path), tmp_path / "wiring.jpg"
    photo.write_bytes(b"x")
    with pytest.raises(Trouble, match="it was taken at: shot"):
        sessions.attach(folder, photo, "done")
    with pytest.raises(Trouble, match="cannot be attached"):
        sessions.attach(folder, tmp_path / "absent.jpg", "shot")
    assert verify(folder).holds
