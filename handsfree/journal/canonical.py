"""The canonical form of an event, and the line it is written as.

Rules of this file:

- The canonical form is RFC 8785 (JSON Canonicalization Scheme): one value, one sequence of bytes.
- A line is `{"entry":ENTRY,"sha256":"…"}` and a newline; `sha256` is the FIPS 180-4 SHA-256 of ENTRY's canonical bytes, so a
  line proves itself, the last one too. ENTRY holds event, kind, mono, n, prev, signature where there is one, wall.
- `prev` is the `sha256` of the line before. The signature (RFC 8032) is over ENTRY without its signature; the hash is over
  ENTRY with it, so the chain holds the signatures too.
"""

from __future__ import annotations

import dataclasses
import hashlib
import json
from typing import Any

import rfc8785

from handsfree.journal.events import Stamped, to_data

HEAD = b'{"entry":'
MIDDLE = b'},"sha256":"'
TAIL = b'"}\n'
#: The end of a line behind its entry's last byte but one: `}`, the middle, 64 hexadecimal digits, the tail.
END = len(MIDDLE) + 64 + len(TAIL)
_FIRST, _LAST = len(HEAD), 1 - END
#: Bytes of a line beside its entry.
AROUND = len(HEAD) - 1 + END
#: No honest line is longer; at most it holds the texts of all procedures.
LONGEST = 64_000_000

_LARGEST = 2**53 - 1
_encode = json.JSONEncoder(ensure_ascii=False, separators=(",", ":"), sort_keys=True, allow_nan=False).encode


class _Unsure(Exception):
    """Outside what the fast path is proven for."""


def canonical(value: Any) -> bytes:
    """RFC 8785 bytes. ValueError for what JSON cannot hold: NaN, infinities, whole numbers of more than 53 bits, lone
    surrogates. The fast path is used where Python's own JSON is the same by construction; a property test holds the two
    together."""
    try:
        return _encode(_same(value)).encode()
    except (_Unsure, UnicodeEncodeError, RecursionError):
        pass
    try:
        return rfc8785.dumps(value)
    except (rfc8785.CanonicalizationError, UnicodeEncodeError, RecursionError) as error:
        raise ValueError(f"it has no canonical form: {error}") from None


def _same(value: Any) -> Any:
    """The value with whole floats as integers; _Unsure where repr() and ECMAScript write a number differently, or where the
    keys' order could differ."""
    kind = type(value)
    if kind is str or value is None or kind is bool:
        return value
    if kind is float:
        if value.is_integer() and -1e15 < value < 1e15:
            return int(value)
        if 1e-4 <= abs(value) < 1e15:
            return value
        raise _Unsure
    if kind is int:
        if -_LARGEST <= value <= _LARGEST:
            return value
        raise _Unsure
    if kind is list or kind is tuple:
        return [_same(item) for item in value]
    if kind is dict and all(type(key) is str and key.isascii() for key in value):
        return {key: _same(item) for key, item in value.items()}
    raise _Unsure


def entry_of(stamped: Stamped) -> dict[str, Any]:
    """What the hash is over, as JSON data."""
    entry = {
        "event": to_data(stamped.event),
        "kind": type(stamped.event).__name__,
        "mono": stamped.mono,
        "n": stamped.n,
        "prev": stamped.prev,
        "wall": stamped.wall,
    }
    if stamped.signature:
        entry["signature"] = stamped.signature
    return entry


def unsigned_bytes(stamped: Stamped) -> bytes:
    """What the signature is over."""
    return canonical(entry_of(dataclasses.replace(stamped, signature="")))


def line_of(stamped: Stamped) -> tuple[bytes, str]:
    """(the line with its newline, the hash that the next event carries as `prev`)."""
    return as_line(canonical(entry_of(stamped)))


def as_line(entry: bytes) -> tuple[bytes, str]:
    digest = hashlib.sha256(entry).hexdigest()
    return b"".join((HEAD, entry[:-1], MIDDLE, digest.encode(), TAIL)), digest


def entry_in(line: bytes) -> bytes | None:
    """The canonical bytes of the entry of a line; None if the line does not have this form or its hash is wrong."""
    entry = line[_FIRST:_LAST]
    rest = b"".join((MIDDLE[1:], hashlib.sha256(entry).hexdigest().encode(), TAIL))
    return entry if line.startswith(HEAD) and line[_LAST:] == rest and entry.endswith(b"}") else None
