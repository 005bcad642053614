"""Words and numbers: the one place where a number becomes text, as the language that is spoken writes it."""

from __future__ import annotations

import functools
import math
import re

from pipeline.identity.quarters import is_block
from pipeline.report.language import Texts, catalogue, tell, texts
from pipeline.results import Result

__all__ = ["Texts", "catalogue", "tell"]

MINUS = "\u2212"
NARROW_GAP = "\u202f"
HIDDEN = "hidden"
_DATED = re.compile(r"\b(?:\d{4}-\d\d-\d\d|\d{4}Q[1-4])\b")


def number(value: float, decimals: int = 0) -> str:
    """Print a number: true minus, thin gap between thousands from 10 000 on, no minus before a rounded zero."""
    text = f"{abs(value):.{decimals}f}"
    whole, point, rest = text.partition(".")
    if len(whole) > 4:
        whole = f"{int(whole):,}".replace(",", NARROW_GAP)
    is_zero = not text.strip("0.")
    mark = texts().entries["locale.decimal"] if point else ""
    return (MINUS if value < 0 and not is_zero else "") + whole + mark + rest


def as_given(value: float) -> str:
    """Print a number with the digits that it was given: 1.26 is not rounded, and a whole number is whole."""
    text = f"{value:.0f}" if float(value).is_integer() and abs(value) < 1e15 else f"{value:.6g}"
    return text.replace("-", MINUS).replace(".", texts().entries["locale.decimal"])


def both(one: str, *others: str) -> str:
    """Join words by "and"."""
    return functools.reduce(lambda a, b: texts().say("locale.both", one=a, other=b), others, one)


def count(value: int | None, otherwise: str = "not recorded") -> str:
    """Print a count, or the words that stand for it."""
    return tell(otherwise) if value is None else number(value)


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
        return tell(otherwise)
    word = result.text if is_hidden(result) else otherwise
    return number(result.n_people) if result.n_people is not None else tell(word)


def unit_after(unit: str) -> str:
    """Return the unit with the gap that goes before it ("" for numbers without one)."""
    return f"\u00a0{unit}" if unit else ""


def value(result: Result | None, otherwise: str = "not recorded", places: int | None = None) -> str:
    """Print a result's value alone, or the word that stands for it; `places` overrules the number of decimals."""
    if result is None:
        return tell(otherwise)
    if result.value is None or not math.isfinite(result.value):
        return tell(result.text or otherwise)
    return number(result.value, decimals_of(result) if places is None else places)


def with_unit(result: Result | None, otherwise: str = "not recorded") -> str:
    """Print a result's value with its unit, or the word that stands for it."""
    if result is None or result.value is None or not math.isfinite(result.value):
        return value(result, otherwise)
    return value(result) + unit_after(tell(result.unit))


def interval(result: Result | None, otherwise: str = "not estimated") -> str:
    """Print "9.8 to 12.6", or a word."""
    if result is None or result.low is None or result.high is None:
        return tell(otherwise if result is None or not result.text else result.text)
    places = decimals_of(result)
    return reach(result.low, result.high, places)


def reach(low: float, high: float, places: int = 0) -> str:
    """Print "9.8 to 12.6"."""
    return texts().say("locale.reach", low=number(low, places), high=number(high, places))


def estimate(result: Result | None, *, level: str = "", otherwise: str = "not recorded") -> str:
    """Print "11.2 cmH2O (95 % CI 9.8 to 12.6)"; the bracket is left out where there is no interval."""
    if result is None or result.value is None:
        return value(result, otherwise)
    level = level or texts().entries["locale.ci95"]
    tail = f" ({level} {interval(result)})" if result.low is not None and result.high is not None else ""
    return with_unit(result) + tail


def of(result: Result | None, otherwise: str = "not recorded") -> str:
    """Print a share with its counts, "64 % (112 of 175)", or what can be said without them."""
    if result is None or result.value is None:
        return value(result, otherwise)
    if result.hits is not None and result.n is not None:
        return texts().say("locale.share", share=with_unit(result), hits=number(result.hits), n=number(result.n))
    return with_unit(result) if result.n is None else \
        texts().say("locale.share_of", share=with_unit(result), n=number(result.n))


def people(result: Result | None, otherwise: str = "not recorded") -> str:
    """Print how many `n` counts, or the word that stands for it."""
    if result is None:
        return tell(otherwise)
    if result.n is not None:
        return number(result.n)
    count_alone = next((part[2:] for part in result.note.split("; ") if part.startswith(("n hidden", "n within"))), "")
    return tell(count_alone or result.text or otherwise)


def sentence(words: str) -> str:
    """Make a sentence of words: a capital first, a full stop last."""
    words = tell(words)
    return words[:1].upper() + words[1:].rstrip(".") + "."


def chance(result: Result | None) -> str:
    """Print a p-value with three decimals, and words below the last of them."""
    if result is None or result.value is None:
        return value(result, "no figure")
    return texts().say("locale.under", limit=number(0.001, 3)) if result.value < 0.001 else number(result.value, 3)


def week(at: float | None) -> str:
    """Print "week 12"."""
    return texts().say("locale.week", week=number(at or 0))


def quarter_name(quarter: str) -> str:
    """Print "2026Q3" as "Q3 2026"; anything else unchanged."""
    return texts().quarter(quarter)


def day_name(day: str) -> str:
    """Print "2026-09-30" as "30 September 2026"; anything else unchanged."""
    return texts().day(day)


def dated(words: str) -> str:
    """The same words with their days and quarters as a reader writes them: "2026-07-22: plan kept"."""
    return _DATED.sub(lambda m: quarter_name(m[0]) if "Q" in m[0] else day_name(m[0]), tell(words))


def quarter_days(quarter: str) -> str:
    """Print the days of "2026Q3" as "1 July to 30 September 2026"; those of a block as days from the own start."""
    if is_block(quarter):
        return texts().own_days(quarter)
    ends = {"1": ("01-01", "03-31"), "2": ("04-01", "06-30"), "3": ("07-01", "09-30"), "4": ("10-01", "12-31")}
    if len(quarter) != 6 or quarter[5] not in ends:
        return quarter
    first, last = (day_name(f"{quarter[:4]}-{day}") for day in ends[quarter[5]])
    return texts().say("locale.reach", low=first.removesuffix(f"\u00a0{quarter[:4]}"), high=last)
