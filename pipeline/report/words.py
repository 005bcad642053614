"""Words and numbers: the catalogue of texts, and the one place where a number becomes text."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from pipeline import assets
from pipeline.errors import RmtError
from pipeline.results import Result

MINUS = "\u2212"
NARROW_GAP = "\u202f"
HIDDEN = "hidden"


@dataclass(frozen=True)
class Texts:
    """The catalogue: every fixed text of the pages by key, with named blanks in braces."""

    entries: Mapping[str, str]

    def say(self, key: str, **values: str) -> str:
        """Return a text with its blanks filled; RmtError names a missing key or blank."""
        try:
            return self.entries[key].format(**values)
        except KeyError as fault:
            raise RmtError(f"the text '{key}' lacks {fault}", where="texts.toml",
                           expected="every key and blank that a page asks for") from fault

    def get(self, key: str, otherwise: str = "") -> str:
        """Return a text without blanks, or `otherwise`."""
        return self.entries.get(key, otherwise)

    def name(self, kind: str, code: str) -> str:
        """Return the reader's word for a code ("condition_group", "copd"), else the code with gaps for underscores.

        Labels that the clinic chose itself (sites, protocols) stay as they are.
        """
        if kind in ("site", "protocol", "file", "rule"):
            return code
        return self.entries.get(f"names.{kind}.{code}") or self.entries.get(f"names.{code}") or code.replace("_", " ")


def _flat(tree: Mapping[str, Any], stem: str = "") -> dict[str, str]:
    flat: dict[str, str] = {}
    for key, value in tree.items():
        here = f"{stem}.{key}" if stem else key
        flat |= _flat(value, here) if isinstance(value, dict) else {here: " ".join(str(value).split())}
    return flat


@lru_cache(maxsize=1)
def catalogue() -> Texts:
    """Read every reports/texts*.toml once; keys are dotted paths, runs of white space become one space."""
    entries: dict[str, str] = {}
    for name in assets.names("reports", ".toml"):
        entries |= _flat(tomllib.loads(assets.text("reports", name)))
    return Texts(entries)


def number(value: float, decimals: int = 0) -> str:
    """Print a number: true minus, thin gap between thousands from 10 000 on, no minus before a rounded zero."""
    text = f"{abs(value):.{decimals}f}"
    whole, point, rest = text.partition(".")
    if len(whole) > 4:
        whole = f"{int(whole):,}".replace(",", NARROW_GAP)
    is_zero = not text.strip("0.")
    return (MINUS if value < 0 and not is_zero else "") + whole + point + rest


def count(value: int | None, otherwise: str = "not recorded") -> str:
    """Print a count, or the words that stand for it."""
    return otherwise if value is None else number(value)


def decimals_for(low: float | None, high: float | None, *, most: int = 2) -> int:
    """Decimals that keep two significant digits of the standard error behind a 95 % interval (its width / 3.92)."""
    if low is None or high is None or not (math.isfinite(low) and math.isfinite(high)) or high <= low:
        return 1
    return min(most, max(0, 1 - math.floor(math.log10((high - low) / 3.92))))


def decimals_of(result: Result) -> int:
    """Decimals for a result: by its interval; whole percents without one."""
    if result.low is None or result.high is None:
        return {"%": 0, "people": 0, "probability": 2, "share": 2, "p": 3}.get(result.unit, 1)
    return decimals_for(result.low, result.high, most={"%": 0, "cmH2O": 1}.get(result.unit, 2))


def is_hidden(result: Result | None) -> bool:
    """Tell whether the number was taken out to protect a person."""
    return result is not None and result.value is None and result.n is None and result.text.startswith(HIDDEN)


def behind(result: Result | None, otherwise: str = "not recorded") -> str:
    """Print how many different people stand behind a row whose n counts something else."""
    if result is None:
        return otherwise
    return number(result.n_people) if result.n_people is not None else (result.text if is_hidden(result) else otherwise)


def unit_after(unit: str) -> str:
    """Return the unit with the gap that goes before it ("" for numbers without one)."""
    return f"\u00a0{unit}" if unit else ""


def value(result: Result | None, otherwise: str = "not recorded", places: int | None = None) -> str:
    """Print a result's value alone, or the word that stands for it; `places` overrules the number of decimals."""
    if result is None:
        return otherwise
    if result.value is None or not math.isfinite(result.value):
        return result.text or otherwise
    return number(result.value, decimals_of(result) if places is None else places)


def with_unit(result: Result | None, otherwise: str = "not recorded") -> str:
    """Print a result's value with its unit, or the word that stands for it."""
    if result is None or result.value is None or not math.isfinite(result.value):
        return value(result, otherwise)
    return value(result) + unit_after(result.unit)


def interval(result: Result | None, otherwise: str = "not estimated") -> str:
    """Print "9.8 to 12.6", or a word."""
    if result is None or result.low is None or result.high is None:
        return otherwise if result is None or not result.text else result.text
    places = decimals_of(result)
    return f"{number(result.low, places)} to {number(result.high, places)}"


def estimate(result: Result | None, *, level: str = "95\u00a0% CI", otherwise: str = "not recorded") -> str:
    """Print "11.2 cmH2O (95 % CI 9.8 to 12.6)"; the bracket is left out where there is no interval."""
    if result is None or result.value is None:
        return value(result, otherwise)
    tail = f" ({level} {interval(result)})" if result.low is not None and result.high is not None else ""
    return with_unit(result) + tail


def of(result: Result | None, otherwise: str = "not recorded") -> str:
    """Print a share with its counts, "64 % (112 of 175)", or what can be said without them."""
    if result is None or result.value is None:
        return value(result, otherwise)
    if result.hits is not None and result.n is not None:
        return f"{with_unit(result)} ({number(result.hits)} of {number(result.n)})"
    return with_unit(result) + (f" (of {number(result.n)})" if result.n is not None else "")


def people(result: Result | None, otherwise: str = "not recorded") -> str:
    """Print how many `n` counts, or the word that stands for it."""
    if result is None:
        return otherwise
    if result.n is not None:
        return number(result.n)
    count_alone = next((part[2:] for part in result.note.split("; ") if part.startswith("n hidden")), "")
    return count_alone or result.text or otherwise


def sentence(words: str) -> str:
    """Make a sentence of words: a capital first, a full stop last."""
    return words[:1].upper() + words[1:].rstrip(".") + "."


def chance(result: Result | None) -> str:
    """Print a p-value with three decimals, and words below the last of them."""
    if result is None or result.value is None:
        return value(result, "no figure")
    return "under 0.001" if result.value < 0.001 else number(result.value, 3)


def quarter_name(quarter: str) -> str:
    """Print "2026Q3" as "Q3 2026"; anything else unchanged."""
    return f"{quarter[4:]}\u00a0{quarter[:4]}" if len(quarter) == 6 and quarter[4] == "Q" else quarter


MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
          "December")


def day_name(day: str) -> str:
    """Print "2026-09-30" as "30 September 2026"; anything else unchanged."""
    pieces = day.split("-")
    if len(pieces) != 3 or not all(p.isdigit() for p in pieces) or not 1 <= int(pieces[1]) <= 12:
        return day
    return f"{int(pieces[2])}\u00a0{MONTHS[int(pieces[1]) - 1]}\u00a0{pieces[0]}"


def quarter_days(quarter: str) -> str:
    """Print the days of "2026Q3" as "1 July to 30 September 2026"."""
    ends = {"1": ("1\u00a0January", "31\u00a0March"), "2": ("1\u00a0April", "30\u00a0June"),
            "3": ("1\u00a0July", "30\u00a0September"), "4": ("1\u00a0October", "31\u00a0December")}
    if len(quarter) != 6 or quarter[5] not in ends:
        return quarter
    first, last = ends[quarter[5]]
    return f"{first} to {last}\u00a0{quarter[:4]}"
