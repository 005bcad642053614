"""Rules that need a whole column: what its different values look like together. Pure; at most SAMPLE values are read.

A single number or word tells nothing: a pressure, a code and a label have the same shapes as a record number, a postal
code and a name. What tells is how many different ones there are, how alike their shapes are and how seldom words recur.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence

from pipeline.identity.gate_dates import are_births, is_whole_day, year_of
from pipeline.identity.gate_words import PLAIN, folded, is_person, is_town

#: Different values that are looked at.
SAMPLE = 2000

#: Fewer different values than this are a list of codes, unless the words themselves are telling.
FEW = 10

_SHARE = 0.8
_WORD = re.compile(r"[^\W\d_]+")
_NUMBER = r"[-+]?[0-9]{1,4}(?:\.[0-9]+)?"
_DIGITS = re.compile(r"[0-9]+")
#: Small words inside names of people and places.
_PARTICLES = (
    r"van|von|vom|zu|zum|der|den|dem|de|des|du|del|della|di|da|do|dos|das|la|le|les|las|los|el|al|am|an|im|in|ob|bei|"
    r"sur|sous|pod|nad|upon|under|on|the|of|and|y|e|und|et|af|av|på|ter|ten|bin|ibn|ben"
)
_CAPITAL = re.compile(rf"(?:(?:(?:{_PARTICLES}) )*(?:[^\W\d_a-z]|[A-Z])[^\W\d_]*[.’']?(?:[-’' ]|, ?|$))+")


def _share(values: Sequence[str], pattern: str) -> float:
    """Return the share of values that match a pattern whole."""
    told = re.compile(pattern)
    return sum(told.fullmatch(v) is not None for v in values) / len(values)


def is_spread(counts: Mapping[str, int]) -> bool:
    """Say whether the values differ as those of people do, and not as those of a list of codes."""
    return len(counts) >= FEW and (len(counts) >= 0.4 * sum(counts.values()) or len(counts) >= 40)


def shape(value: str) -> str:
    """Return the shape of a value: runs of letters as A, each digit as 9, anything else as it is."""
    return re.sub(r"[^\W\d_]+", "A", re.sub(r"[0-9]", "9", value))


def _of_numbers(values: Sequence[str], counts: Mapping[str, int]) -> str | None:
    """Judge values of digits alone."""
    widths = Counter(map(len, values))
    numbers = [int(v) for v in values]
    width = widths.most_common(1)[0][0]
    if widths[width] < 0.95 * len(values) and min(widths) < 6:
        zeros = sum(v.startswith("0") and len(v) > 3 for v in values)
        return "record number" if is_spread(counts) and zeros > 0.05 * len(values) else None
    if sum(v.startswith("0") for v in values) > 0.8 * len(values) and width >= 9:
        return "telephone"
    if not is_spread(counts):
        return None
    if width in (4, 5):
        span = (max(numbers) - min(numbers)) / 10**width
        has_zeros = any(v.startswith("0") for v in values)
        least = 0.3 if has_zeros else 0.62 if width == 5 else 0.55
        return "postal code" if (len(widths) == 1 or has_zeros) and span > least else None
    if width in (10, 13) and all(10 ** (width - 1) <= n < 2 * 10 ** (width - 1) for n in numbers):
        return None  # seconds or milliseconds since 1970
    return "record number" if width >= 6 else None


_POSTAL = (
    r"[A-Z]{1,2}[0-9][A-Z0-9]? ?[0-9][A-Z]{2}", r"[A-Z][0-9][A-Z][ -]?[0-9][A-Z][0-9]", r"[1-9][0-9]{3} ?[A-Z]{2}",
    r"[0-9]{5}-[0-9]{4}", r"〒?[0-9]{3}-[0-9]{4}", r"[0-9]{2}-[0-9]{3}", r"[0-9]{4}-[0-9]{3}", r"[0-9]{5}-[0-9]{3}",
    r"[0-9]{3} [0-9]{2}", r"(?:A|B|CH|D|DK|F|FI|FIN|I|L|LT|LV|N|NL|S|SE|SI)-? ?[0-9]{4,5}",
    r"[A-Z][0-9][0-9W] ?[A-Z0-9]{4}", r"(?:[A-Z]{2} )?[0-9]{5}(?:-[0-9]{4})?",
)


def _groups(value: str) -> list[int]:
    return [int(g) for g in _DIGITS.findall(value)]


def _are_readings(values: Sequence[str]) -> bool:
    """Say whether groups of digits are readings of one thing (72 75 78), or ranges (100-120): alike in size."""
    alike = 0
    for value in values:
        groups = _groups(value)
        is_plain = not any(g.startswith("0") and len(g) > 1 for g in _DIGITS.findall(value))
        alike += is_plain and max(groups) <= 2.2 * max(min(groups), 1) and max(groups) < 1000
    rising = sum(_groups(v) == sorted(_groups(v)) for v in values)
    return alike >= _SHARE * len(values) or (len(_groups(values[0])) == 2 and rising >= 0.97 * len(values))


def _of_groups(values: Sequence[str], counts: Mapping[str, int]) -> str | None:
    """Judge values of digits and separators: telephone numbers, postal codes, record numbers."""
    if not is_spread(counts) or _are_readings(values):
        return None
    if _share(values, r"[0-9]{1,2}[:.h][0-9]{2}(?:[:.][0-9]{2})?(?: ?[ap]m)?|[-+]?[0-9]*[.,][0-9]+") > _SHARE:
        return None  # times and plain numbers
    digits = [sum(c.isdigit() for c in v) for v in values]
    if sum(n >= 8 for n in digits) > _SHARE * len(digits):
        is_dialled = sum(v.startswith(("0", "+", "(")) for v in values) > 0.5 * len(values)
        return "telephone" if is_dialled else "record number"
    if max(_share(values, p) for p in _POSTAL) > 0.9:
        return "postal code"
    return "record number" if sum(n >= 6 for n in digits) > _SHARE * len(digits) and len(
        {shape(v) for v in values}) <= 3 else None


def _of_codes(values: Sequence[str], counts: Mapping[str, int]) -> str | None:
    """Judge values of letters and digits without blanks between words: plates, serials, licences, record numbers."""
    if not is_spread(counts):
        return None
    digits = [sum(c.isdigit() for c in v) for v in values]
    signs = [sum(c.isalnum() for c in v) for v in values]
    letters = Counter(w for v in values for w in set(_WORD.findall(v)))
    is_fixed = bool(letters) and letters.most_common(1)[0][1] > _SHARE * len(values)
    if not is_fixed and max(_share(values, p) for p in _POSTAL) > 0.9:
        return "postal code"
    if sum(n >= 5 for n in digits) > _SHARE * len(values):
        return "device serial"
    is_plate = sum(n >= 1 and k >= 5 and v == v.upper() for n, k, v in zip(digits, signs, values, strict=True))
    return "vehicle" if is_plate > _SHARE * len(values) and not is_fixed else None


def _of_words(values: Sequence[str], counts: Mapping[str, int]) -> str | None:
    """Judge values of words: names, places, addresses, free text."""
    words = [_WORD.findall(v) for v in values]
    told = [w for w in words if w]
    flat = [w for ws in told for w in ws if len(w) > 2 or not w.isascii()]
    if not flat or sum(folded(w) in PLAIN for w in flat) > 0.3 * len(flat):
        return None
    person = sum(any(is_person(w) for w in ws) for ws in told) / len(values)
    town = sum(any(is_town(w) for w in ws) for ws in told) / len(values)
    has_digits = sum(any(c.isdigit() for c in v) for v in values) / len(values)
    capital = sum(_CAPITAL.fullmatch(_DIGITS.sub("", v).strip()) is not None for v in values) / len(values)
    several = sum(len(ws) > 1 for ws in told) / len(values)
    is_new = len({folded(w) for w in flat}) >= 0.6 * len(values)
    n_sure = sum(any(is_person(w) or is_town(w) for w in ws) for ws in told)
    if has_digits > 0.6:
        return "address" if is_spread(counts) and is_new else None
    if n_sure >= 2 and town > 0.3 and town > person:
        return "place"
    if n_sure >= 2 and (person > 0.3 or (person > 0.06 and is_spread(counts) and is_new)):
        return "name"
    if not (is_spread(counts) and is_new):
        return None
    if not all(w.isascii() for w in flat) and capital < 0.5 and several < 0.5:
        return "name"
    if capital > 0.7:
        return "place" if town > 0.1 else "name"
    n_words = sum(map(len, told)) / len(told)
    return "free text" if n_words >= 2.5 else None


def judge(counts: Mapping[str, int]) -> str | None:
    """Return what kind of identifier a column holds, None where it looks innocent.

    counts: different values, trimmed, none empty, and how many cells have each.
    """
    values = sorted(counts)[:: max(1, len(counts) // SAMPLE)]
    if len(values) < 3:
        return None
    years = {v: y for v in values if (y := year_of(v)) is not None}
    if len(years) > _SHARE * len(values):
        return "birth date" if are_births(y for v, y in years.items() if is_whole_day(v)) else None
    if _share(values, r"[-+]?[0-9]*[.,]?[0-9]+(?:[eE][-+]?[0-9]+)?%?") > 0.9:
        whole = [v for v in values if v.isascii() and v.isdigit()]
        return _of_numbers(whole, counts) if len(whole) > 0.9 * len(values) else None
    if _share(values, rf"{_NUMBER}(?:[;|,>+] ?{_NUMBER}){{2,}}") > _SHARE:
        return None  # lists of readings
    if _share(values, r"[0-9 ()./+〒-]*[0-9][0-9 ()./+-]*") > _SHARE:
        return _of_groups([v for v in values if _DIGITS.search(v)], counts)
    mixed = sum(any(c.isdigit() for c in v) for v in values) / len(values)
    if mixed > _SHARE and _share(values, r"[^\s]+|[A-Z0-9/.#]{1,8}(?:[ -][A-Z0-9/.#]{1,8}){0,3}") > _SHARE:
        return _of_codes(values, counts)
    return _of_words(values, counts)
