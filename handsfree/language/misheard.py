"""Numbers that sound near a number, as far as that is the same in every language."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from decimal import Decimal

from handsfree.language.numerals import exact, written_plainly


def near_numbers(value: float, swaps: Callable[[int], Iterable[int]], twins: str) -> tuple[float, ...]:
    """Each once, without the value itself. `swaps`: whole numbers that a language says nearly alike. `twins`: two digits
    taken for one another. In every language: a digit lost after the point, the point or all after it lost, a zero at the end
    gained or lost, a lost minus, a lost leading hundred."""
    number = exact(value)
    size, sign = abs(number), -1 if number < 0 else 1
    text = written_plainly(size)
    whole, _, fraction = text.partition(".")
    other = {twins[0]: twins[1], twins[1]: twins[0]}
    near = [Decimal(f"{swap}.{fraction or 0}") for swap in sorted(swaps(int(whole)))]
    near += [Decimal(text[:at] + other[digit] + text[at + 1 :]) for at, digit in enumerate(text) if digit in other]
    if fraction:
        texts = (f"{whole}.{fraction[:-1] or 0}", f"{whole}.{fraction[0]}", whole, whole + fraction, f"0.{fraction}")
        near += [Decimal(text) for text in texts]
    else:
        near += [Decimal(whole + "0")] if len(whole) < 6 else []
        near += [Decimal(whole[:-1])] if whole.endswith("0") and len(whole) > 1 else []
        near += [Decimal(whole) / 10] if len(whole) > 1 else []
    if len(whole) > 2:
        near.append(Decimal(f"{whole[1:]}.{fraction or 0}"))
    signed = [sign * one for one in near] + ([-number] if number else [])
    return tuple(dict.fromkeys(float(one) + 0.0 for one in signed if one != number))
