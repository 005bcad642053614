"""Rules for client keys: a surrogate is random, and says nothing about the person nor about the order of arrival."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from itertools import pairwise

from pipeline.identity.gate_words import folded, is_person

#: Share of the keys that must look so; a random key hardly ever does.
_SOME, _MOST = 0.05, 0.8

_DATE = re.compile(r"(?:19|20)[0-9]{2}[-_]?(?:0[1-9]|1[0-2])[-_]?(?:0[1-9]|[12][0-9]|3[01])(?![0-9])"
                   r"|(?<![0-9])(?:0[1-9]|[12][0-9]|3[01])[-_]?(?:0[1-9]|1[0-2])[-_]?(?:19|20)[0-9]{2}")
_SHORT_DATE = re.compile(r"(?:[0-9]{2}(?:0[1-9]|1[0-2])(?:0[1-9]|[12][0-9]|3[01])"
                         r"|(?:0[1-9]|[12][0-9]|3[01])(?:0[1-9]|1[0-2])[0-9]{2})(?![0-9])")
_NUMBERED = re.compile(r"([A-Za-z_-]*?)[-_]?([0-9]+)(?:[-_][A-Za-z]{1,3})?")
_WORD = re.compile(r"[^\W\d_]{4,}")

#: Median distance of neighbouring numbers up to which they count as handed out one after the other.
_NEAR = 3


def _numbered(keys: Sequence[str]) -> list[int]:
    """Return the numbers of keys that are one of a few prefixes and a number; a random key is none."""
    found = [m for k in keys if (m := _NUMBERED.fullmatch(k))]
    prefixes = Counter(m[1].casefold() for m in found)
    few = {p for p, n in prefixes.most_common(3) if n > 1 or len(keys) < 4}
    return [int(m[2]) for m in found if m[1].casefold() in few]


def key_kind(keys: Sequence[str]) -> tuple[str, int] | None:
    """Return what the different keys of a file look like and how many do so; None where they look random."""
    n = len(keys)
    if not n:
        return None
    dated = sum(_DATE.search(k) is not None for k in keys)
    short = sum(_SHORT_DATE.match(k) is not None for k in keys)
    numbers = sorted(_numbered(keys))
    named = sum(any(is_person(w) for w in _WORD.findall(folded(k))) for k in keys)
    if dated > max(0.2 * n, 1):
        return "date-like key", dated
    if n >= 5 and short > _MOST * n:
        return "date-like key", short
    if len(numbers) > _SOME * n and (len(numbers) > 2 or n <= 2):
        gaps = sorted(b - a for a, b in pairwise(numbers))
        if n >= 5 and len(numbers) > _MOST * n and gaps[len(gaps) // 2] <= _NEAR:
            return "sequential key", len(numbers)
        return "record number", len(numbers)
    if named > max(0.1 * n, 1):
        return "name", named
    return None
