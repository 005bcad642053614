"""Tells whether a column of days is one of birth dates: old days, or days spread over a lifetime."""

from __future__ import annotations

import re
from collections.abc import Iterable

_MONTHS = {
    name: k
    for k, names in enumerate(
        (
            "jan january januar janvier enero gennaio janeiro januari ene gen",
            "feb february februar février febrero febbraio fev",
            "mar march märz mars marzo março maart",
            "apr april avril abril aprile abr",
            "may mai mayo maggio maio mei mag",
            "jun june juni juin junio giugno junho giu",
            "jul july juli juillet julio luglio julho lug",
            "aug august août agosto augustus ago",
            "sep september septembre septiembre settembre setembro sept set",
            "oct october oktober octobre octubre ottobre outubro okt ott out",
            "nov november novembre noviembre novembro",
            "dec december dezember décembre diciembre dicembre dezembro dez dic",
        ),
        start=1,
    )
    for name in names.split()
}

_NUMERIC = re.compile(r"([0-9]{1,4})[./\- ]{1,2}([0-9]{1,2})[./\- ]{1,2}([0-9]{1,4})(?:[T ][0-9:.+Z]*)?")
_COMPACT = re.compile(
    r"(?:(19|20)([0-9]{2})(0[1-9]|1[0-2])(0[1-9]|[12][0-9]|3[01]))|"
    r"(?:(0[1-9]|[12][0-9]|3[01])(0[1-9]|1[0-2])(19|20)([0-9]{2}))"
)
_WORDED = re.compile(
    r"([0-9]{1,4}|[^\W\d_]+)[.,]?[ \-/]+(?:de |of )?([0-9]{1,2}|[^\W\d_]+)[.,]?"
    r"[ \-/]+(?:de |of )?([0-9]{2,4})"
)
#: The time of day after a compact day.
_CLOCK = re.compile(r"(?<=^[0-9]{8})[T ]?[0-2][0-9][0-5][0-9](?:[0-5][0-9])?$")
_PERIOD = re.compile(
    r"((?:19|20)[0-9]{2})[- ]?(?:W[0-9]{1,2}|Q[1-4]|[0-9]{2}[T ]?)|(?:Q[1-4]|[0-9]{1,2})[-/ ]((?:19|20)[0-9]{2})"
)
_EAST = re.compile(r"([0-9]{4})[年년.] ?([0-9]{1,2})[月월.] ?([0-9]{1,2})[日일.]?")

#: A service's own days lie within this many years; birth dates are spread over more (our choice, no source).
OWN_YEARS = 18

#: A year written in two digits is one of the 2000s up to here.
_LAST_SHORT = 40

#: Days before this year were no days of the service (the contract's first day is 1990-01-01).
FIRST_YEAR = 1990


def _full(year: int, width: int) -> int:
    return year if width == 4 else 2000 + year if year <= _LAST_SHORT else 1900 + year


def year_of(text: str) -> int | None:
    """Return the year of a day however it is written, None where the text is no day."""
    word = text.strip()
    if found := _COMPACT.fullmatch(_CLOCK.sub("", word) if len(word) > 8 else word):
        return int((found[1] or found[7]) + (found[2] or found[8]))
    if found := _NUMERIC.fullmatch(word):
        first, middle, last = found.groups()
        widths = (len(first), len(last))
        if sorted(widths)[-1] == 3 or max(widths) > 4 or widths == (4, 4):
            return None
        year, day = (first, last) if widths[0] == 4 else (last, first)
        if len(day) > 2 or len(year) not in (2, 4) or not (0 < int(day) <= 31 and 0 < int(middle) <= 31):
            return None
        return _full(int(year), len(year)) if min(int(day), int(middle)) <= 12 else None
    if found := _PERIOD.fullmatch(word):
        return int(found[1] or found[2])
    if found := _EAST.fullmatch(word):
        return int(found[1])
    if (found := _WORDED.fullmatch(word)) and any(w.casefold().rstrip(".") in _MONTHS for w in found.groups()):
        return _full(int(found[3]), len(found[3])) if len(found[3]) in (2, 4) else None
    return None


def is_whole_day(text: str) -> bool:
    """Say whether a day is told whole: a month, a week or a quarter is no birth date."""
    return _PERIOD.fullmatch(text.strip()) is None


def are_births(years: Iterable[int]) -> bool:
    """Say whether the years of a column of days are those of births: mostly old, or spread over a lifetime."""
    told = sorted(years)
    if len(told) < 3:
        return False
    low, middle, high = (told[int(share * (len(told) - 1))] for share in (0.05, 0.5, 0.95))
    return middle < FIRST_YEAR or high - low > OWN_YEARS
