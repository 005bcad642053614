"""An attack on single numbers: which numbers of people could be behind a mean of whole numbers, as it is printed?

Written without any code of the pipeline. A mean of n whole numbers is k/n; the attacker tries every n and keeps those
for which some k/n prints as the number does.
"""

from __future__ import annotations

import math
from fractions import Fraction


def numbers_of_people(printed: float, *, decimals: int, most: int, least: int = 10) -> list[int]:
    """Every n from `least` to `most` for which a mean of n whole numbers rounds to `printed` at so many decimals."""
    half = Fraction(1, 2 * 10**decimals)
    value = Fraction(str(printed))
    return [n for n in range(least, most + 1)
            if math.floor((value + half) * n) >= math.ceil((value - half) * n)]  # fmt: skip


def digits_of(number: float) -> int:
    """How many decimals a number shows."""
    text = f"{number:.12g}"
    return len(text.partition(".")[2]) if "e" not in text else 12
