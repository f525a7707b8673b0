"""Marks that the journal makes itself: no happening, no effect. `journal.events` has them among its events."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Sealed:
    """The end: the number of events before it and the hash of the last."""

    events: int
    head: str


@dataclass(frozen=True)
class SoundRemoved:
    """Written by `prune`: sound of these events was removed; the hashes stay, so that what is left still verifies."""

    clips: tuple[tuple[str, str], ...]
    why: str


@dataclass(frozen=True)
class SignedBy:
    """From this event on every event is signed by this device. `public_key`: Ed25519, 32 bytes in hexadecimal."""

    device: str
    public_key: str


@dataclass(frozen=True)
class TailDropped:
    """At a resume: bytes at the end that did not hold were cut off and kept in `file`. A crash leaves such, half-written and
    never acknowledged; so does who damages an end."""

    size: int
    sha256: str
    file: str


@dataclass(frozen=True)
class EndOpen:
    """At a resume: after `events` events no seal stood. A crash leaves that, and so does who cuts off an end."""

    events: int
