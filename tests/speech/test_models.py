"""Adding, listing and fetching models; and archives made to do harm."""

from __future__ import annotations

import json
import zipfile
from pathlib import Path

import pytest

from handsfree.errors import Trouble
from handsfree.speech import models
from handsfree.speech.models_unpack import UnpackLimits

FILES = {"am/final.mdl": b"m" * 5000, "conf/model.conf": b"--x=1\n", "graph/HCLr.fst": b"g" * 900, "README": b"invented\n"}


def a_zip(path: Path, files: dict[str, bytes], top: str = "vosk-model-small-en-us-0.0/") -> Path:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            archive.writestr(top + name, data)
    return path


def a_folder(path: Path) -> Path:
    for name, data in FILES.items():
        (path / name).parent.mkdir(parents=True, exist_ok=True)
        (path / name).write_bytes(data)
    return path


def left(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir()) if folder.exists() else []


def test_a_zip_becomes_an_installed_model(tmp_path: Path) -> None:
    store = tmp_path / "models"
    made = models.add(a_zip(tmp_path / "m.zip", FILES), store)
    assert (made.kind, made.name, made.language) == ("vosk", "vosk-model-small-en-us-0.0", "en")
    assert models.vosk_model(store, "en") == made
    assert json.loads((store / f"{made.name}.model.json").read_text())["sha256"] == made.sha256
    assert left(store) == [made.name, f"{made.name}.model.json"]
    assert models.unchanged(made)
    (made.path / "README").write_text("changed")
    assert not models.unchanged(made)


def test_a_folder_gives_the_same_hash_as_its_zip(tmp_path: Path) -> None:
    one = models.add(a_zip(tmp_path / "m.zip", FILES), tmp_path / "one")
    two = models.add(a_folder(tmp_path / "vosk-model-en-x"), tmp_path / "two")
    assert one.sha256 == two.sha256
    assert two.language == "en"
    models.remove(two.name, tmp_path / "two")
    assert left(tmp_path / "two") == []


def test_whisper_weights_are_named_for_what_they_are(tmp_path: Path) -> None:
    files = {"model.bin": b"x", "config.json": b"{}", "tokenizer.json": b"{}"}
    assert models.add(a_zip(tmp_path / "m.zip", files, "tiny.en/"), tmp_path / "m").name == "whisper-tiny.en"


@pytest.mark.parametrize("name", ["../out", "/etc/out", "a/../../out", "..\\out", "C:/out", "a/../b"])
def test_names_that_point_outside_are_refused(tmp_path: Path, name: str) -> None:
    path = a_zip(tmp_path / "m.zip", {**FILES})
    with zipfile.ZipFile(path, "a") as archive:
        archive.writestr(zipfile.ZipInfo(name), b"x")
    with pytest.raises(Trouble, match="outside"):
        models.add(path, tmp_path / "deep" / "models")
    assert not list(tmp_path.rglob("out"))
    assert left(tmp_path / "deep" / "models") == []


def test_links_are_refused(tmp_path: Path) -> None:
    link = zipfile.ZipInfo("vosk/link")
    link.external_attr = 0o120777 << 16
    path = a_zip(tmp_path / "m.zip", FILES, "vosk/")
    with zipfile.ZipFile(path, "a") as archive:
        archive.writestr(link, "/etc/passwd")
    with pytest.raises(Trouble, match="link"):
        models.add(path, tmp_path / "models")
    folder = a_folder(tmp_path / "model")
    (folder / "link").symlink_to("/etc/passwd")
    with pytest.raises(Trouble, match="link"):
        models.add(folder, tmp_path / "models")
    assert left(tmp_path / "models") == []


def test_bombs_are_refused(tmp_path: Path) -> None:
    swelling = a_zip(tmp_path / "b.zip", {**FILES, "zeros": bytes(30_000_000)})
    with pytest.raises(Trouble, match="is far too large when unpacked"):
        models.add(swelling, tmp_path / "m")
    many = a_zip(tmp_path / "c.zip", {**FILES, **{f"f{at}": b"" for at in range(50)}})
    with pytest.raises(Trouble, match="more than any model"):
        models.add(many, tmp_path / "m", limits=UnpackLimits(files=40))
    with pytest.raises(Trouble, match="unpack to more"):
        models.add(a_zip(tmp_path / "d.zip", FILES), tmp_path / "m", limits=UnpackLimits(total=5000))
    assert left(tmp_path / "m") == []


def test_what_is_no_model_is_refused(tmp_path: Path) -> None:
    with pytest.raises(Trouble, match="There is no"):
        models.add(tmp_path / "absent.zip", tmp_path / "m")
    (tmp_path / "n.zip").write_bytes(b"not a zip")
    with pytest.raises(Trouble, match="not a complete zip"):
        models.add(tmp_path / "n.zip", tmp_path / "m")
    whole = a_zip(tmp_path / "w.zip", {**FILES, "big": bytes(range(256)) * 50}).read_bytes()
    (tmp_path / "half.zip").write_bytes(whole[: len(whole) // 2])
    with pytest.raises(Trouble, match="not a complete zip"):
        models.add(tmp_path / "half.zip", tmp_path / "m")
    with pytest.raises(Trouble, match="No model was found"):
        models.add(a_zip(tmp_path / "o.zip", {"README": b""}), tmp_path / "m")
    assert left(tmp_path / "m") == []


def test_a_taken_name_is_refused_and_nothing_changes(tmp_path: Path) -> None:
    path = a_zip(tmp_path / "m.zip", FILES)
    made = models.add(path, tmp_path / "m")
    with pytest.raises(Trouble, match="already"):
        models.add(path, tmp_path / "m")
    assert models.unchanged(made)


def test_a_damaged_archive_leaves_nothing(tmp_path: Path) -> None:
    path = a_zip(tmp_path / "m.zip", FILES)
    data = bytearray(path.read_bytes())
    at = data.find(b"am/final.mdl") + 14
    data[at] ^= 0xFF
    path.write_bytes(bytes(data))
    with pytest.raises(Trouble):
        models.add(path, tmp_path / "m")
    assert left(tmp_path / "m") == []


def test_what_comes_as_packages_is_listed(tmp_path: Path) -> None:
    found = {(model.kind, model.language, model.where) for model in models.installed(tmp_path / "none")}
    assert ("pocketsphinx", "en", "built in") in found


def test_every_witness_that_hears_is_listed_with_where_it_comes_from_and_its_licence(tmp_path: Path) -> None:
    from handsfree.speech.recogniser import build_recogniser

    found = {model.kind: model for model in models.installed(tmp_path / "none")}
    for engine in build_recogniser(None, "en", tmp_path / "none").engines:
        assert engine.name in found
    assert found["phonetic"].origin.startswith("hama ")
    assert (found["phonetic"].licence, found["whisper"].licence) == ("Apache-2.0", "MIT")
    assert all(model.origin and model.licence for model in found.values())


def test_help_names_every_set_of_engines_that_may_be_asked_for() -> None:
    from typer.testing import CliRunner

    from handsfree.cli import app
    from handsfree.speech.engines import SETS

    told = CliRunner().invoke(app, ["visit", "--help"]).output
    assert [name for name in SETS if name not in told] == []


def test_without_a_network_fetching_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("http_proxy", "https_proxy", "HTTP_PROXY", "HTTPS_PROXY", "all_proxy", "ALL_PROXY"):
        monkeypatch.setenv(name, "http://127.0.0.1:9")  # nothing answers there
    for name in ("no_proxy", "NO_PROXY"):
        monkeypatch.delenv(name, raising=False)
    with pytest.raises(Trouble, match="needs a network"):
        models.fetch_small_english(tmp_path / "m")
    assert left(tmp_path / "m") == []
    with pytest.raises(Trouble, match="needs a network"):
        models.fetch_whisper(tmp_path / "m", "tiny.en")
    assert left(tmp_path / "m") == []


def test_a_size_that_nothing_is_fitted_to_says_which_there_are(tmp_path: Path) -> None:
    with pytest.raises(Trouble, match=r"fitted to whisper 'enormous'; use one of tiny\.en"):
        models.fetch_whisper(tmp_path, "enormous")
