"""Device keys: Ed25519 signatures (RFC 8032) by the `cryptography` package.

Rules of this file:

- A device has one secret key, in a file only its user may read; it never leaves the folder.
- Others know a device by its public key, put among the trusted ones by a person. A key that a journal brings along names
  its signer but does not make it known.
- A key that was withdrawn is kept, with the day, so that what it signed before can be told from what it signed after
  (`rights`). It never counts again, under any name.
"""

from __future__ import annotations

import os
import re
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property, lru_cache
from pathlib import Path

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from handsfree.errors import Trouble
from handsfree.journal.coverage import day_and_time
from handsfree.journal.rights import Rights, Withdrawn

SECRET = "device.pem"
TRUSTED = "trusted"
#: The second line of a trusted key whose holder may remove the sound of others' visits.
MAY_REMOVE = "may remove sound"
#: How the name of a file ends whose key was withdrawn; its last line says when.
GONE = ".withdrawn"
_DEVICE = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,59}")
_PUBLIC = re.compile(r"[0-9a-f]{64}")
_MORE = re.compile(rf"{MAY_REMOVE}|")
_MORE_GONE = re.compile(rf"{_MORE.pattern}|withdrawn [0-9T:+.-]+")


def default_folder() -> Path:
    """Where keys are kept: HANDSFREE_KEYS, else the user's configuration folder."""
    if os.environ.get("HANDSFREE_KEYS"):
        return Path(os.environ["HANDSFREE_KEYS"])
    from platformdirs import user_config_path

    return user_config_path("handsfree", appauthor=False) / "keys"


@dataclass(frozen=True)
class DeviceKey:
    device: str
    secret: Ed25519PrivateKey

    @cached_property
    def public_key(self) -> str:
        raw = self.secret.public_key().public_bytes(serialization.Encoding.Raw, serialization.PublicFormat.Raw)
        return raw.hex()

    def sign(self, message: bytes) -> str:
        return self.secret.sign(message).hex()


def make(device: str, folder: Path | None = None) -> DeviceKey:
    """A new secret key for this device. Trouble if it already has one: journals signed by it would lose their signer."""
    folder = folder or default_folder()
    if not _DEVICE.fullmatch(device):
        raise Trouble(f"'{device}' cannot name a device; use letters, digits, '.', '_' and '-', a letter or digit first.")
    if (folder / SECRET).exists():
        raise Trouble(f"This device already has a key, in {folder}. Keep it; move it away only if it is no longer trusted.")
    secret = Ed25519PrivateKey.generate()
    pem = secret.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
    key = DeviceKey(device, secret)
    try:
        (folder / TRUSTED).mkdir(parents=True, exist_ok=True)
        fd = os.open(folder / SECRET, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(fd, "wb") as file:
            file.write(f"device: {device}\n".encode() + pem)
            file.flush()
            os.fsync(file.fileno())
        trust(device, key.public_key, folder)
    except OSError as error:
        raise Trouble(f"No key can be written to {folder}: {error.strerror}. Check who may write there.") from None
    return key


def load(folder: Path | None = None) -> DeviceKey | None:
    """This device's key; None if it has none."""
    path = (folder or default_folder()) / SECRET
    if not path.is_file():
        return None
    try:
        first, _, pem = path.read_bytes().partition(b"\n")
        secret = serialization.load_pem_private_key(pem, password=None)
    except (OSError, ValueError, TypeError):
        raise Trouble(f"The device's key {path} cannot be read. Put back a good copy, or make a new one.") from None
    if not isinstance(secret, Ed25519PrivateKey) or not first.startswith(b"device: "):
        raise Trouble(f"{path} contains no Ed25519 device key. Move it away and make a new one with 'handsfree keys'.")
    return DeviceKey(first.decode(errors="replace").removeprefix("device: ").strip(), secret)


def trust(device: str, public_key: str, folder: Path | None = None, *, may_remove: bool = False) -> Path:
    """Put a device's public key (64 hexadecimal digits) among those known here. `may_remove`: it may remove the sound of
    visits that other devices recorded."""
    folder = (folder or default_folder()) / TRUSTED
    if not _DEVICE.fullmatch(device) or not _PUBLIC.fullmatch(public_key):
        raise Trouble("A public key is a device's name and 64 hexadecimal digits, as 'handsfree keys' prints them.")
    if (gone := _withdrawn(folder).get(public_key)) is not None:
        raise Trouble(f"This key was withdrawn on {day_and_time(gone.wall)}. Make a new one on the device.")
    path = folder / f"{device}.pub"
    if path.exists() and _public_key_in(path) != public_key:
        raise Trouble(f"Another key is known as '{device}' here ({path}). Give the new one another name.")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        path.write_text(public_key + "\n" + (MAY_REMOVE + "\n" if may_remove else ""))
    except OSError as error:
        raise Trouble(f"No key can be written to {folder}: {error.strerror}. Check who may write there.") from None
    return path


def known(folder: Path | None = None) -> dict[str, str]:
    """Public keys known here: key -> device. Trouble if one of them cannot be read: without it a record would be judged by
    fewer keys than a person trusts."""
    folder = (folder or default_folder()) / TRUSTED
    gone = _withdrawn(folder)
    found = {_public_key_in(path): path.stem for path in sorted(folder.glob("*.pub"))}
    return {key: device for key, device in found.items() if key not in gone}


def rights(folder: Path | None = None) -> Rights:
    """Whose holders may remove the sound of others' visits, and which keys were withdrawn. Trouble as of `known`."""
    folder = (folder or default_folder()) / TRUSTED
    found = [*sorted(folder.glob("*.pub")), *sorted(folder.glob(f"*{GONE}"))]
    removers = (_public_key_in(path) for path in found if MAY_REMOVE in path.read_text(errors="replace").splitlines())
    return Rights(frozenset(removers), _withdrawn(folder))


def withdraw(device: str, moment: datetime, folder: Path | None = None) -> None:
    """From `moment` on the device's key no longer counts. May be repeated with an earlier moment. Trouble if no key has this
    name, the moment has not come yet or is later than was said before, or nothing can be written."""
    folder = (folder or default_folder()) / TRUSTED
    if moment > datetime.now().astimezone():
        raise Trouble(f"{day_and_time(moment.isoformat())} has not come yet. A key is withdrawn as of now or earlier.")
    public = folder / f"{device}.pub"
    if _DEVICE.fullmatch(device) and public.is_file():
        key, may = _public_key_in(public), MAY_REMOVE in public.read_text().splitlines()
    else:
        named = [(key, gone) for key, gone in _withdrawn(folder).items() if gone.device == device]
        if not named:
            raise Trouble(f"No key is known as '{device}' here. 'handsfree keys' lists those that are.")
        key, gone = max(named, key=lambda one: one[1].wall)
        if moment >= datetime.fromisoformat(gone.wall):
            raise Trouble(f"The key of {device} was already withdrawn on {day_and_time(gone.wall)}.")
        may = MAY_REMOVE in (folder / _gone_name(device, key)).read_text().splitlines()
    wall = moment.isoformat(timespec="seconds")
    try:
        (folder / _gone_name(device, key)).write_text(f"{key}\n{MAY_REMOVE + chr(10) if may else ''}withdrawn {wall}\n")
        public.unlink(missing_ok=True)
    except OSError as error:
        raise Trouble(f"No key can be written to {folder}: {error.strerror}. Check who may write there.") from None


def _gone_name(device: str, key: str) -> str:
    """A device may lose more than one key."""
    return f"{device}.{key[:8]}{GONE}"


def _withdrawn(trusted: Path) -> dict[str, Withdrawn]:
    """By public key. Trouble if one cannot be read: a key that was withdrawn would be an unknown one."""
    found = {}
    for path in sorted(trusted.glob(f"*{GONE}")):
        try:
            wall = path.read_text(encoding="ascii").splitlines()[-1].removeprefix("withdrawn ")
            good = datetime.fromisoformat(wall).tzinfo is not None
        except (OSError, ValueError, IndexError):
            good = False
        if not good:
            raise Trouble(f"{path} does not say when the key was withdrawn. Its last line says 'withdrawn' and a time.")
        device = path.name.removesuffix(GONE).rpartition(".")[0]
        found[_public_key_in(path)] = Withdrawn(device, wall)
    return found


def mark_of(folder: Path | None = None) -> tuple[tuple[str, int, int], ...]:
    """Changes when a key is put among the known ones, withdrawn or taken away."""
    try:
        with os.scandir((folder or default_folder()) / TRUSTED) as found:
            return tuple(sorted((one.name, one.stat().st_size, one.stat().st_mtime_ns) for one in found))
    except OSError:
        return ()


def _public_key_in(path: Path) -> str:
    try:
        found, *more = path.read_text(encoding="ascii").splitlines() or [""]
        may = _MORE_GONE if path.name.endswith(GONE) else _MORE
        found = "" if any(not may.fullmatch(line) for line in more) else found.strip()
    except (OSError, ValueError):
        found = ""
    if not _PUBLIC.fullmatch(found):
        raise Trouble(f"{path} holds no public key. Remove it, and trust the device again with 'handsfree keys --trust'.")
    return found


def signed_by(public_key: str, signature: str, message: bytes) -> bool:
    try:
        _public(public_key).verify(bytes.fromhex(signature), message)
    except (InvalidSignature, ValueError):
        return False
    return True


@lru_cache(maxsize=256)
def _public(key: str) -> Ed25519PublicKey:
    return Ed25519PublicKey.from_public_bytes(bytes.fromhex(key))
