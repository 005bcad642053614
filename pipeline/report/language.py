"""The reader's language: its catalogue of texts, its decimal mark and days, and its words for what results say.

Which language is spoken is set once around the making of an edition (`spoken`); every formatter asks here.
English is `reports/texts*.toml`; any other language is one file, `reports/languages/<code>.toml`, with the same keys,
the same blanks, and a table `phrases`: the words that come with results (in English), each with its translation.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

from pipeline import assets
from pipeline.errors import RmtError
from pipeline.identity.merging import OTHER
from pipeline.identity.quarters import is_block, number_of, own_days

ENGLISH = "en"
#: What a phrase leaves blank: days, quarters, numbers (not the 2 of cmH2O).
BLANK = re.compile(r"(?<![A-Za-z\d.])[\u2212+]?(?:\d{4}-\d\d-\d\d|\d{4}Q\d|block-\d{3}|\d+(?:\.\d+)?)")

OWN_DAY = re.compile(r"day -?\d+")


@dataclass(frozen=True)
class Texts:
    """The catalogue of a language: every fixed text of the pages by key, with named blanks in braces."""

    entries: Mapping[str, str]
    phrases: Mapping[str, str] = field(default_factory=dict)

    def say(self, key: str, **values: str) -> str:
        """Return a text with its blanks filled; RmtError names a missing key or blank."""
        try:
            return self.entries[key].format(**{name: self.tell(v) for name, v in values.items()})
        except KeyError as fault:
            raise RmtError(f"the text '{key}' lacks {fault}", where="texts.toml",
                           expected="every key and blank that a page asks for") from fault

    def get(self, key: str, otherwise: str = "") -> str:
        """Return a text without blanks, or `otherwise`."""
        return self.entries.get(key, otherwise)

    def name(self, kind: str, code: str) -> str:
        """Return the reader's word for a code ("condition_group", "copd"), else the code with gaps for underscores.

        Labels that the clinic chose itself (sites, protocols) stay as they are; several of them together have a word.
        """
        if kind in ("site", "protocol", "file", "rule"):
            return self.tell(code) if code == OTHER else code
        return self.entries.get(f"names.{kind}.{code}") or self.entries.get(f"names.{code}") \
            or self.tell(code.replace("_", " "))

    def tell(self, words: str) -> str:
        """Return words of a result in this language: whole, else clause by clause; what has no translation stays."""
        if not self.phrases or not words:
            return words
        return self._phrase(words) or "".join(
            piece if at % 2 else self._phrase(piece) or self._listed(piece)
            for at, piece in enumerate(re.split(r"(; |: |(?<=[.?]) )", words)))

    def _listed(self, words: str) -> str:
        """A list whose every word has a translation, word by word; anything else unchanged."""
        told = [self._phrase(word) for word in words.split(", ")]
        return ", ".join(t for t in told if t is not None) if len(told) > 1 and None not in told else words

    def _phrase(self, words: str) -> str | None:
        """The translation of one phrase, with its numbers, days and quarters put back as this language writes them."""
        stem, end = (words[:-1], words[-1]) if words[-1:] in (".", "?") and words not in self.phrases else (words, "")
        found = self.phrases.get(stem) or self.phrases.get(BLANK.sub("#", stem))
        if found is None:
            return None
        blanks = iter(self.written(b) for b in BLANK.findall(stem))
        return re.sub("#", lambda _: next(blanks, "#"), found) + end

    def written(self, blank: str) -> str:
        """A number, day or quarter that stood in an English phrase, as this language writes it."""
        if is_block(blank) or "Q" in blank:
            return self.quarter(blank)
        return self.day(blank) if "-" in blank else blank.replace(".", self.entries["locale.decimal"])

    def day(self, day: str) -> str:
        """The day "2026-09-30", or "day 84" of a client's own time, in words; anything else unchanged."""
        if OWN_DAY.fullmatch(day):
            return self._own("locale.own_day", no=day.removeprefix("day "))
        pieces = day.split("-")
        if len(pieces) != 3 or not all(p.isdigit() for p in pieces) or not 1 <= int(pieces[1]) <= 12:
            return day
        month = self.entries["locale.months"].split()[int(pieces[1]) - 1]
        return self.entries["locale.day"].format(day=int(pieces[2]), month=month, year=pieces[0]).replace(" ", "\u00a0")

    def quarter(self, quarter: str) -> str:
        """The quarter "2026Q3", or the block "block-003", in words; anything else unchanged."""
        if is_block(quarter):
            return self._own("locale.block", no=str(number_of(quarter)))
        if len(quarter) != 6 or quarter[4] != "Q":
            return quarter
        return self.entries["locale.quarter"].format(no=quarter[5], year=quarter[:4]).replace(" ", "\u00a0")

    def own_days(self, block: str) -> str:
        """The days of a block, from each client's own start."""
        first, last = own_days(block)
        return self._own("locale.before_start") if first is None else \
            self._own("locale.own_days", first=str(first), last=str(last))

    def _own(self, key: str, **values: str) -> str:
        return self.entries[key].format(**values).replace(" ", "\u00a0")


def _flat(tree: Mapping[str, Any], stem: str = "") -> dict[str, str]:
    flat: dict[str, str] = {}
    for key, value in tree.items():
        here = f"{stem}.{key}" if stem else key
        flat |= _flat(value, here) if isinstance(value, dict) else {here: _one_line(value)}
    return flat


def _one_line(text: object) -> str:
    """Runs of white space become one space; gaps that must not break stay."""
    return re.sub(r"[ \t\r\n]+", " ", str(text)).strip(" ")


def own_texts(language: str) -> Texts:
    """Read the texts that a language has itself; keys are dotted paths. SettingsError names the languages there are."""
    files = [f"languages/{assets.checked_language(language)}.toml"] if language != ENGLISH else \
        [n for n in assets.names("reports", ".toml") if n.startswith("texts")]
    entries: dict[str, str] = {}
    phrases: dict[str, str] = {}
    for name in files:
        tree = tomllib.loads(assets.text("reports", name))
        phrases |= {_one_line(k): _one_line(v) for k, v in tree.pop("phrases", {}).items()}
        entries |= _flat(tree)
    return Texts(entries, phrases)


@lru_cache(maxsize=8)
def catalogue(language: str = ENGLISH) -> Texts:
    """The texts of a language, once read; what it lacks is said in English (which the tests do not let pass)."""
    own = own_texts(language)
    return own if language == ENGLISH else Texts({**catalogue().entries, **own.entries}, own.phrases)


_SPOKEN: ContextVar[str] = ContextVar("spoken", default=ENGLISH)


@contextmanager
def spoken(language: str) -> Iterator[Texts]:
    """Speak a language while an edition is made."""
    token = _SPOKEN.set(language)
    try:
        yield catalogue(language)
    finally:
        _SPOKEN.reset(token)


def texts() -> Texts:
    """The catalogue of the language that is spoken."""
    return catalogue(_SPOKEN.get())


def tell(words: str) -> str:
    """Words of a result in the language that is spoken."""
    return texts().tell(words)
