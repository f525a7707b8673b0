"""The ways between the interlock's states, from its table: what the handbook draws."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from handsfree.isolation.rules import TABLE, Power, SourceEvent


@dataclass(frozen=True)
class Arrow:
    """One way from state to state. `clears`: all that is in no row of the table, and so leads to LIVE."""

    begin: Power
    end: Power
    why: str
    clears: bool = False


def arrows() -> Iterator[Arrow]:
    """Every row of the table, then what clears each state but LIVE."""
    for (power, turn), to in TABLE.items():
        yield Arrow(power, to, str(turn))
    yield Arrow(Power.ISOLATING, Power.ISOLATED, "proved dead, after everybody's 'isolated, lock' and their number")
    for power in Power:
        if power is not Power.LIVE:
            clearing = [turn for turn in SourceEvent if (power, turn) not in TABLE]
            yield Arrow(power, Power.LIVE, ", ".join(clearing), clears=True)
