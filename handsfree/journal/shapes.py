"""The shape of a line, made from the event classes: a pattern that recognises it fast, and the published JSON Schema.

Rules of this file:

- A pattern matches only lines that are canonical and whose event `from_data` would accept: it is a *sufficient* test. What
  it does not match is judged the slow way, by parsing, `from_data` and RFC 8785 again. A property test compares the two.
- Numbers of at most nine digits before the point and six after are matched: those have one shortest form (15 digits survive
  binary64 unchanged). Longer ones go the slow way.
"""

from __future__ import annotations

import json
import re
import types
import typing
from datetime import datetime
from functools import cache
from typing import Any, NamedTuple, Union, get_args, get_origin

from handsfree.journal.canonical import canonical
from handsfree.journal.events import KINDS, from_data

_STRING = r'"[^"\\\x00-\x1f]*+(?:\\(?:["\\bfnrt]|u00(?:0[0-7bef]|1[0-9a-f]))[^"\\\x00-\x1f]*+)*+"'
_FLOAT = r"(?:0|-?[1-9][0-9]{0,8}(?:\.[0-9]{0,5}[1-9])?|-?0\.[0-9]{0,5}[1-9])"
_LONG = r"-?(?:0|[1-9][0-9]{0,20})(?:\.[0-9]{1,25})?(?:e[+-][1-9][0-9]{0,2})?"
_NUMBERS = re.compile(rb"(?<=[\[,:])-?[0-9][0-9.e+-]*(?=[,\]}])")
_SHORT = re.compile(_FLOAT.encode())
_NEVER = re.compile(rb"(?!)")
_INT = r"(?:0|-?[1-9][0-9]{0,14})"
#: RFC 3339 as this program writes it: with offset, never 'Z'.
WALL = r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}(?:\.[0-9]{1,6})?[+-][0-9]{2}:[0-9]{2}"
HASH = r"[0-9a-f]{64}"
#: Files of a visit are named like this and no other way, so that a record can never point outside its folder.
CLIP = r"sound/[0-9]{5,9}\.flac"
ATTACHED = r"attached/[A-Za-z0-9][A-Za-z0-9._-]{0,120}"
#: Fields that bind a file: the name's field and its hash's field.
BOUND = {
    "Utterance": ("clip", "clip_sha256"),
    "NoteKept": ("clip", "clip_sha256"),
    "Attached": ("file", "sha256"),
    "TailDropped": ("file", "sha256"),
}
_WALL = re.compile(WALL)
_HASH = re.compile(HASH)
_SIGNATURE = re.compile(r"[0-9a-f]{128}")
_MOST_SECONDS = 1e12


class Envelope(NamedTuple):
    """An entry without its event: what the chain needs. `time`: `wall` as seconds of the epoch. `file`,
    `file_sha256`: what the event binds, '' for nothing."""

    kind: str
    n: int
    mono: float
    wall: str
    time: float
    prev: str
    signature: str
    file: str = ""
    file_sha256: str = ""


def envelope(entry: bytes) -> Envelope:
    """Judge one entry's bytes. ValueError says what is wrong with it; what is returned is canonical and of a known shape."""
    at = entry.rfind(b',"kind":"')
    kind = entry[at + 9 : entry.find(b'"', at + 9)] if at >= 0 else b""
    found = _match(kind, entry)
    if found is None or not _utf8(entry) or not abs(float(found[3])) < _MOST_SECONDS:
        return parse(entry)[0]
    file, digest, mono, n, prev, signature, wall = found.groups()
    when = wall.decode()
    return Envelope(
        kind.decode(),
        int(n),
        float(mono),
        when,
        _seconds(when),
        prev.decode(),
        signature.decode() if signature else "",
        _text(file),
        _text(digest),
    )


def _text(string: bytes) -> str:
    return json.loads(string) if b"\\" in string else string[1:-1].decode()


def _match(kind: bytes, entry: bytes) -> re.Match[bytes] | None:
    """By the pattern for short numbers; else by the one for any, and then every number in it must be as RFC 8785 writes it.
    A text in it that looks like a number only sends it the slow way."""
    short, long = _patterns(kind)
    if (found := short.fullmatch(entry)) is not None:
        return found
    found = long.fullmatch(entry)
    if found is None or not all(_shortest(number) for number in _NUMBERS.findall(entry)):
        return None
    return found


def _shortest(number: bytes) -> bool:
    """False also for what only looks like a number, inside a text: the slow way judges it."""
    try:
        return _SHORT.fullmatch(number) is not None or canonical(float(number)) == number
    except ValueError:
        return False


def parse(entry: bytes) -> tuple[Envelope, Any]:
    """The slow way, with the event itself. ValueError says what is wrong."""
    try:
        data = json.loads(entry.decode(), parse_constant=_no_constant, parse_int=_whole)
        if not isinstance(data, dict):
            raise ValueError("it is not a JSON object")
        if set(data) - {"signature"} != {"event", "kind", "mono", "n", "prev", "wall"}:
            raise ValueError("an entry has event, kind, mono, n, prev, wall and perhaps signature, nothing else")
        if not isinstance(data["kind"], str) or not isinstance(data["event"], dict):
            raise ValueError("kind is not a string, or event is not an object")
        if canonical(data) != entry:
            raise ValueError("it is not in canonical form (RFC 8785)")
        return _envelope_of(data), from_data(data["kind"], data["event"])
    except RecursionError:
        raise ValueError("it is nested too deep") from None
    except UnicodeDecodeError:
        raise ValueError("it is not UTF-8") from None
    except OverflowError:
        raise ValueError("it holds a number too large") from None


def _whole(digits: str) -> int | float:
    """RFC 8785 writes a double of 1e16 without a point; past 53 bits only a double can have been meant."""
    number = int(digits)
    return number if -(2**53) < number < 2**53 else float(number)


def _envelope_of(data: dict[str, Any]) -> Envelope:
    n, mono, wall, prev, signature = data["n"], data["mono"], data["wall"], data["prev"], data.get("signature")
    if type(n) is not int or n < 0:
        raise ValueError("n is not a whole number from 0")
    if type(mono) not in (int, float) or not abs(mono) < _MOST_SECONDS:
        raise ValueError("mono is not a number of seconds")
    if not isinstance(wall, str) or not _WALL.fullmatch(wall):
        raise ValueError("wall is not an RFC 3339 time with offset")
    if not isinstance(prev, str) or (prev and not _HASH.fullmatch(prev)):
        raise ValueError("prev is not a SHA-256")
    if signature is not None and (not isinstance(signature, str) or not _SIGNATURE.fullmatch(signature)):
        raise ValueError("signature is not 64 bytes in hexadecimal")
    file, digest = (data["event"].get(name, "") for name in BOUND.get(data["kind"], ("", "")))
    return Envelope(data["kind"], n, float(mono), wall, _seconds(wall), prev, signature or "", file, digest)


def _seconds(wall: str) -> float:
    """ValueError for a time that the calendar does not have."""
    return datetime.fromisoformat(wall).timestamp()


def _no_constant(name: str) -> Any:
    raise ValueError(f"{name} is not JSON")


def _utf8(entry: bytes) -> bool:
    if entry.isascii():
        return True
    try:
        entry.decode()
    except UnicodeDecodeError:
        return False
    return True


@cache
def _patterns(kind: bytes) -> tuple[re.Pattern[bytes], re.Pattern[bytes]]:
    name = kind.decode(errors="replace")
    if name not in KINDS:
        return _NEVER, _NEVER
    short, long = (re.compile(_pattern(name, KINDS[name], number).encode()) for number in (_FLOAT, _LONG))
    return short, long


def _pattern(name: str, kind: type[Any], number: str) -> str:
    """Groups: the bound file's name, its hash, mono, n, prev, signature, wall."""
    hints = typing.get_type_hints(kind)
    bound = BOUND.get(name, ())
    fields = ",".join(
        f'"{field}":' + (f"({_part(hint, number)})" if field in bound else _part(hint, number))
        for field, hint in sorted(hints.items())
    )
    rest = (
        rf'"kind":"{name}","mono":({number}),"n":(0|[1-9][0-9]{{0,14}}),"prev":"({HASH}|)",'
        rf'(?:"signature":"([0-9a-f]{{128}})",)?"wall":"({WALL})"'
    )
    return ("" if bound else "()()") + rf'\{{"event":\{{{fields}\}},{rest}\}}'


def _part(hint: Any, number: str) -> str:
    origin, args = get_origin(hint), get_args(hint)
    if origin in (Union, types.UnionType):
        return rf"(?:null|{_part(next(a for a in args if a is not type(None)), number)})"
    if origin is tuple and len(args) == 2 and args[1] is Ellipsis:
        item = _part(args[0], number)
        return rf"\[(?:{item}(?:,{item})*+)?+\]"
    if origin is tuple:
        return r"\[" + ",".join(_part(arg, number) for arg in args) + r"\]"
    return {str: _STRING, float: number, int: _INT, bool: r"(?:true|false)"}[hint]


_FILE = re.compile(f"(?:{CLIP}|{ATTACHED})")


def file_allowed(name: str) -> bool:
    """A file inside the visit's folder, named as this program names them."""
    return _FILE.fullmatch(name) is not None and ".." not in name
