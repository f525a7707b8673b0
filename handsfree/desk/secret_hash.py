"""Secrets that are random and long are stored only as their SHA-256: a slow hash adds nothing to 256 random bits."""

from __future__ import annotations

import hashlib


def hash_of(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()
