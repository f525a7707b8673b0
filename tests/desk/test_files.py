"""Sound in stores that fsspec reaches: a folder, memory, and S3 as the `moto` server speaks it."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from handsfree.desk.files import Files
from handsfree.errors import Trouble


@pytest.fixture(scope="module")
def s3() -> Iterator[dict[str, Any]]:
    """fsspec's options for a real S3 server on loopback."""
    from moto.server import ThreadedMotoServer

    os.environ.update(AWS_ACCESS_KEY_ID="x", AWS_SECRET_ACCESS_KEY="x", AWS_DEFAULT_REGION="us-east-1")
    server = ThreadedMotoServer("127.0.0.1", 0, verbose=False)
    server.start()
    host, port = server.get_host_and_port()
    options = {"endpoint_url": f"http://{host}:{port}"}
    import fsspec

    fsspec.filesystem("s3", **options).mkdir("hochgrat-sounds")
    yield options
    server.stop()


@pytest.fixture(params=["folder", "memory", "s3"])
def store(request: pytest.FixtureRequest, tmp_path: Path) -> Files:
    (tmp_path / "visits").mkdir()
    if request.param == "s3":
        return Files(tmp_path / "visits", "s3://hochgrat-sounds/desk", request.getfixturevalue("s3"))
    urls = {"folder": (tmp_path / "store").as_uri(), "memory": f"memory://{tmp_path.name}"}
    return Files(tmp_path / "visits", urls[request.param])


def test_what_is_kept_comes_back_and_what_was_changed_does_not(store: Files, tmp_path: Path) -> None:
    source = tmp_path / "clip"
    source.write_bytes(b"fLaC and so on")
    digest = hashlib.sha256(source.read_bytes()).hexdigest()
    for path in ("sound/00001.flac", "sound/00002.flac", "attached/001-x.png"):
        store.keep("v", path, source)
        store.keep("v", path, source)
        assert store.fetch("v", path, digest) == source.read_bytes()
    with pytest.raises(Trouble, match="hash differs") as wrong:
        store.fetch("v", "sound/00001.flac", "0" * 64)
    assert wrong.value.status == 3
    with pytest.raises(Trouble, match="not there any more") as gone:
        store.fetch("v", "sound/00009.flac", digest)
    assert gone.value.status == 2
    store.drop("v", {"sound/00002.flac", "attached/001-x.png"})
    assert store.fetch("v", "sound/00001.flac", digest)
    for path in ("sound/00002.flac", "attached/001-x.png"):
        with pytest.raises(Trouble, match="not there any more"):
            store.fetch("v", path, digest)
    store.drop("never-there", {"sound/00001.flac"})


def test_the_folder_of_the_visit_comes_before_the_store(store: Files, tmp_path: Path) -> None:
    local = tmp_path / "visits" / "other" / "sound" / "00001.flac"
    local.parent.mkdir(parents=True)
    local.write_bytes(b"here")
    assert store.fetch("other", "sound/00001.flac", hashlib.sha256(b"here").hexdigest()) == b"here"
    local.unlink()
    local.symlink_to("/etc/hostname")
    with pytest.raises(Trouble, match="not there any more"):
        store.fetch("other", "sound/00001.flac", "0" * 64)


def test_a_store_that_is_none_is_said_so(tmp_path: Path) -> None:
    with pytest.raises(Trouble, match="cannot be used"):
        Files(tmp_path, "no-such-store://x")
