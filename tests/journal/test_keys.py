"""Keys of devices: made, kept from others, read back, trusted, and what is said where one cannot be used."""

from __future__ import annotations

from pathlib import Path

import pytest
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric.rsa import generate_private_key

from handsfree.errors import Trouble
from handsfree.journal import keys


def test_a_key_comes_back_and_signs_what_others_can_check(tmp_path: Path) -> None:
    made = keys.make("van-7", tmp_path)
    back = keys.load(tmp_path)
    assert back is not None
    assert (back.device, back.public_key) == ("van-7", made.public_key)
    assert keys.signed_by(made.public_key, back.sign(b"message"), b"message")
    assert not keys.signed_by(made.public_key, back.sign(b"message"), b"another")
    assert (tmp_path / "device.pem").stat().st_mode & 0o777 == 0o600
    assert keys.known(tmp_path) == {made.public_key: "van-7"}


@pytest.mark.parametrize(("public", "signature"), [("", ""), ("zz", "00" * 64), ("00" * 31, "00" * 64), ("00" * 32, "xy")])
def test_what_is_no_signature_is_none(public: str, signature: str) -> None:
    assert not keys.signed_by(public, signature, b"message")


def test_where_keys_are_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HANDSFREE_KEYS", str(tmp_path / "here"))
    assert keys.default_folder() == tmp_path / "here"
    assert keys.load() is None
    assert keys.known() == {}
    made = keys.make("van-7")
    assert keys.trust("van-8", "0" * 64) == tmp_path / "here" / "trusted" / "van-8.pub"
    assert keys.known() == {made.public_key: "van-7", "0" * 64: "van-8"}
    monkeypatch.setenv("HANDSFREE_KEYS", "")
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    assert keys.default_folder().parts[-2:] == ("handsfree", "keys")


@pytest.mark.parametrize("name", ["", "../x", "-x", ".x", "x" * 61, "a b", "ä", "x/y"])
def test_what_cannot_name_a_device(name: str, tmp_path: Path) -> None:
    with pytest.raises(Trouble, match="cannot name a device"):
        keys.make(name, tmp_path)
    with pytest.raises(Trouble, match="64 hexadecimal digits"):
        keys.trust(name, "0" * 64, tmp_path)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("name", ["a", "7", "van-7.b_2", "x" * 60])
def test_what_can(name: str, tmp_path: Path) -> None:
    assert keys.trust(name, "0" * 64, tmp_path).name == f"{name}.pub"


@pytest.mark.parametrize("public", ["", "0" * 63, "0" * 65, "G" * 64, "A" * 64])
def test_what_is_no_public_key(public: str, tmp_path: Path) -> None:
    with pytest.raises(Trouble, match="64 hexadecimal digits"):
        keys.trust("van-8", public, tmp_path)


def test_a_second_key_is_refused_and_another_under_a_known_name(tmp_path: Path) -> None:
    keys.make("van-7", tmp_path)
    with pytest.raises(Trouble, match="already has a key"):
        keys.make("van-9", tmp_path)
    keys.trust("van-8", "0" * 64, tmp_path)
    keys.trust("van-8", "0" * 64, tmp_path)
    with pytest.raises(Trouble, match="Another key is known as 'van-8'"):
        keys.trust("van-8", "1" * 64, tmp_path)


def test_where_nothing_can_be_written(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    for act in (lambda: keys.make("van-7", tmp_path / "file"), lambda: keys.trust("van-8", "0" * 64, tmp_path / "file")):
        with pytest.raises(Trouble, match=r"No key can be written to .*\. Check who may write there\."):
            act()


@pytest.mark.parametrize("junk", [b"", b"device: x\n", b"device: x\njunk", b"\xff\xfe"])
def test_a_damaged_key_is_told(junk: bytes, tmp_path: Path) -> None:
    (tmp_path / "device.pem").write_bytes(junk)
    with pytest.raises(Trouble, match="cannot be read"):
        keys.load(tmp_path)


def test_a_key_of_another_kind_or_without_its_device_is_none_of_ours(tmp_path: Path) -> None:
    pem = generate_private_key(65537, 2048).private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    (tmp_path / "device.pem").write_bytes(b"device: x\n" + pem)
    with pytest.raises(Trouble, match="contains no Ed25519 device key"):
        keys.load(tmp_path)
    keys.make("van-7", tmp_path / "b")
    _, _, pem = (tmp_path / "b" / "device.pem").read_bytes().partition(b"\n")
    (tmp_path / "device.pem").write_bytes(b"# someone's\n" + pem)
    with pytest.raises(Trouble, match="contains no Ed25519 device key"):
        keys.load(tmp_path)


@pytest.mark.parametrize("junk", [b"", b"garbage", b"\xff\xfe", b"A" * 64])
def test_a_damaged_trusted_key_is_trouble_and_not_passed_over(junk: bytes, tmp_path: Path) -> None:
    keys.trust("van-8", "0" * 64, tmp_path)
    (tmp_path / "trusted" / "van-9.pub").write_bytes(junk)
    with pytest.raises(Trouble, match="holds no public key"):
        keys.known(tmp_path)
    (tmp_path / "trusted" / "van-9.pub").unlink()
    (tmp_path / "trusted" / "van-9.pub").mkdir()
    with pytest.raises(Trouble, match="holds no public key"):
        keys.known(tmp_path)
