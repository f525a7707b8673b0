"""Makes handsfree/trade/saturation.json, the saturation pressures that refrigerants are reckoned from, by CoolProp.

python -m tests.bench.saturation --write

CoolProp (Bell and others, Ind. Eng. Chem. Res. 53 (2014) 2498) carries the reference equations of state. It takes 40 MB, so
an install has this table instead: kilopascals absolute by degrees Celsius, at the dew point, and of a blend at the bubble
point. The table of a blend ends some kelvin below its critical point, where CoolProp finds no pressure any more.
"""

from __future__ import annotations

import argparse
import json
from contextlib import suppress
from itertools import takewhile

from handsfree.trade.possible import KELVIN_OFFSET
from handsfree.trade.refrigerants import LOWEST, REFRIGERANTS, TABLE, Refrigerant

COARSE, FINE, FINEST = 5.0, 1.0, 0.1  # kelvin between two points; near the critical point of a single fluid they are closer


BESIDE = (0.0, 0.2, -0.2, 0.4, -0.4, 0.7, -0.7)  # where CoolProp finds no pressure at a point, one a little beside is taken


def point(known: Refrigerant, celsius: float, quality: float) -> list[float]:
    """[degrees Celsius, kilopascals absolute]; [] where CoolProp finds none near."""
    for more in BESIDE:
        at = round(celsius + more, 3)
        with suppress(ValueError):
            return [at, float(f"{pressure(known, at, quality):.9g}")]
    return []


def pressure(known: Refrigerant, celsius: float, quality: float) -> float:
    """Kilopascals absolute."""
    from CoolProp.CoolProp import PropsSI

    return float(PropsSI("P", "T", celsius + KELVIN_OFFSET, "Q", quality, "HEOS::" + known.fluid)) / 1000


def points(known: Refrigerant) -> list[float]:
    lowest = max(LOWEST, known.triple_celsius + 0.001)
    if known.blend:
        near = known.critical_celsius - 15
        return [*_steps(lowest, near, COARSE), *_steps(near, near + 11, FINE)]
    near, nearest = known.critical_celsius - 12, known.critical_celsius - 1
    last = known.critical_celsius - 0.05
    return [*_steps(lowest, near, COARSE), *_steps(near, nearest, FINE), *_steps(nearest, last, FINEST), last]


def _steps(begin: float, end: float, step: float) -> list[float]:
    """From `begin` on, `end` left out, and nothing very near to it."""
    return [begin + step * n for n in range(round((end - begin) / step) + 1) if begin + step * n < end - step / 4]


def made() -> dict[str, dict[str, list[list[float]]]]:
    return {
        known.name: {
            name: list(takewhile(bool, (point(known, celsius, quality) for celsius in points(known))))
            for name, quality in (("bubble", 0.0), ("dew", 1.0))
            if known.blend or name == "dew"
        }
        for known in REFRIGERANTS.values()
    }  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--write", action="store_true")
    if parser.parse_args().write:
        TABLE.write_text(json.dumps(made(), separators=(",", ":")) + "\n", encoding="utf-8")
    print(f"{TABLE.stat().st_size} bytes")


if __name__ == "__main__":
    main()
