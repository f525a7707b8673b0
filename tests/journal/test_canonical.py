"""The fast forms against the standard's own: RFC 8785 by the rfc8785 package, and parsing with `from_data`."""

from __future__ import annotations

import hashlib
import json
import math

import pytest
import rfc8785
from hypothesis import example, given, settings
from hypothesis import strategies as st

from handsfree.journal.canonical import canonical, entry_in, entry_of, line_of
from handsfree.journal.events import KINDS, Stamped, Tone
from handsfree.journal.shapes import _match, envelope, parse
from tests.journal.made import EVENTS, FLOAT, INT, TEXT, event_of

JSON = st.recursive(
    st.none() | st.booleans() | INT | FLOAT | TEXT,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(TEXT, inner, max_size=4),
    max_leaves=12,
)


@given(JSON)
@example(1e21)
@example(1e16)
@example(1e-7)
@example(-0.0)
@example(123456789012345.6)
@example(5e-324)
@example({"\u20ac": 1, "\U0001f600": 2, "\ufb33": 3})
@settings(max_examples=800)
def test_canonical_is_rfc_8785(value: object) -> None:
    assert canonical(value) == rfc8785.dumps(value)  # type: ignore[arg-type]  # any JSON


def test_the_number_samples_of_rfc_8785_appendix_b() -> None:
    """A selection of RFC 8785 appendix B, from memory: the double's bits and how it is written."""
    samples = {
        0x0000000000000000: "0",
        0x8000000000000000: "0",
        0x0000000000000001: "5e-324",
        0x7FEFFFFFFFFFFFFF: "1.7976931348623157e+308",
        0x4340000000000000: "9007199254740992",
        0x4430000000000000: "295147905179352830000",
        0x44B52D02C7E14AF6: "1e+23",
        0x444B1AE4D6E2EF50: "1e+21",
        0x3EB0C6F7A0B5ED8D: "0.000001",
        0x41B3DE4355555553: "333333333.3333332",
    }
    import struct

    for bits, text in samples.items():
        assert canonical(struct.unpack(">d", bits.to_bytes(8, "big"))[0]).decode() == text


@pytest.mark.parametrize("value", [math.nan, math.inf, 2**53, -(2**60), "\ud800", {1: 2}, object()])
def test_what_json_cannot_hold_is_refused(value: object) -> None:
    with pytest.raises((ValueError, TypeError)):
        canonical(value)


def _stamped(event: object, n: int = 7, mono: float = 12.25) -> Stamped:
    return Stamped(n, "2026-02-11T09:30:00.125+01:00", mono, event, hashlib.sha256(b"x").hexdigest())


@given(EVENTS, INT.filter(lambda n: n >= 0), st.floats(0, 1e11))
@settings(max_examples=800)
def test_every_event_comes_back_and_the_fast_judgement_agrees(event: object, n: int, mono: float) -> None:
    line, digest = line_of(_stamped(event, n, mono))
    entry = entry_in(line)
    assert entry is not None
    assert hashlib.sha256(rfc8785.dumps(entry_of(_stamped(event, n, mono)))).hexdigest() == digest
    judged, back = parse(entry)
    assert back == event
    assert envelope(entry) == judged
    assert json.loads(line)["entry"]["kind"] == type(event).__name__


@given(EVENTS, st.data())
@settings(max_examples=800)
def test_what_the_fast_pattern_takes_the_slow_way_takes(event: object, data: st.DataObject) -> None:
    """One change anywhere: where the pattern still matches, the slow way must find it canonical and whole."""
    entry = bytearray(canonical(entry_of(_stamped(event))))
    at = data.draw(st.integers(0, len(entry) - 1))
    new = data.draw(st.sampled_from([*b'0123456789.-+eE",:[]{}\\/u \n\x00\x7f\x80\xc3\xff']))
    how = data.draw(st.sampled_from(["put", "insert", "drop"]))
    if how == "put":
        entry[at] = new
    elif how == "insert":
        entry.insert(at, new)
    else:
        del entry[at]
    changed = bytes(entry)
    try:
        fast = envelope(changed)
    except ValueError:
        fast = None
    try:
        slow = parse(changed)[0]
    except ValueError:
        slow = None
    assert fast == slow


@pytest.mark.parametrize(
    "number",
    [b"1.50", b"01", b"-0", b"1e5", b"1E+21", b"0.30000000000000005", b"1.0", b"1e400", b"0.0000001"],
)
def test_numbers_not_in_their_one_form_are_refused(number: bytes) -> None:
    entry = canonical(entry_of(_stamped(Tone("x"))))
    with pytest.raises(ValueError, match=r"canonical|delimiter"):
        envelope(entry.replace(b'"mono":12.25', b'"mono":' + number))


@pytest.mark.parametrize("kind", sorted(KINDS))
@given(data=st.data())
@settings(max_examples=20)
def test_every_kind_has_a_pattern_that_knows_it(kind: str, data: st.DataObject) -> None:
    """Numbers kept short, as most are: else the slow way would do and nobody would notice a pattern that never matches."""
    event = data.draw(event_of(KINDS[kind]))
    data_of = json.dumps(entry_of(_stamped(event)))
    short = json.loads(
        data_of, parse_float=lambda text: round(float(text) % 1000, 2), parse_int=lambda text: int(text) % 1000
    )
    assert _match(kind.encode(), canonical(short)) is not None
