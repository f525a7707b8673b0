"""The interlock's states as Mermaid text, made from its table: `python -m handsfree.visit.diagram`."""

from __future__ import annotations

from handsfree.visit.interlock import GATE_WORDS, TABLE, Power, Turn


def mermaid() -> str:
    lines = ["stateDiagram-v2", "    [*] --> LIVE"]
    for (power, turn), to in TABLE.items():
        needs = f", after '{GATE_WORDS[power]}, lock' and the number" if turn is Turn.PROVED_DEAD else ""
        lines.append(f"    {power} --> {to}: {turn}{needs}")
    named = set(TABLE)
    for power in Power:
        clearing = [turn for turn in Turn if (power, turn) not in named and turn is not Turn.PROVED_DEAD]
        if power is not Power.LIVE:
            lines.append(f"    {power} --> LIVE: {', '.join(clearing)}")
    return "\n".join(lines)


if __name__ == "__main__":
    print(mermaid())
