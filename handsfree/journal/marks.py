"""Marks that the journal makes itself: neither happening nor effect. `journal.events` has them among its events."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Sealed:
    """The end: the number of events before it and the hash of the last."""

    events: int
    head: str


@dataclass(frozen=True)
class SoundRemoved:
    """Written by `prune`: the sound of these events was removed; the hashes stay, so that the rest still verifies."""

    clips: tuple[tuple[str, str], ...]
    why: str


@dataclass(frozen=True)
class SignedBy:
    """From this event on every event is signed by this device. `public_key`: Ed25519, 32 bytes in hexadecimal."""

    device: str
    public_key: str


@dataclass(frozen=True)
class TailDropped:
    """At a resume: bad bytes at the end were cut off and kept in `file`. A crash leaves such bytes, half-written and never
    acknowledged; so does somebody who damages the end."""

    size: int
    sha256: str
    file: str


@dataclass(frozen=True)
class EndOpen:
    """At a resume: there was no seal after `events` events. A crash leaves this; so does somebody who cuts off the end."""

    events: int
