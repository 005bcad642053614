"""The gate for sentences that people write themselves: names, places and the telling patterns of `gate_cells`.

A column of labels is judged by what its values have in common; a sentence stands alone, so the rule is stricter: two
capitals in a row with a common name among them, a given name or a town written with a capital inside the sentence, or
any pattern by which one cell gives an identifier away.
"""

from __future__ import annotations

import re

import polars as pl

from pipeline.identity.gate_cells import TELLING
from pipeline.identity.gate_words import GIVEN, PLAIN, folded, is_person, is_town

#: Given names that are plain words as well: they tell nothing at the head of a sentence.
ALSO_WORDS = frozenset(["dawn", "frank", "grace", "heather", "iris", "max", "mark", "olive", "rose", "will"])
#: Small words whose capital at the head of a sentence makes no pair with the next.
SMALL = frozenset(["the", "a", "an", "our", "all", "each", "every", "this", "that", "both", "new", "no", "two", "in"])
_WORDS = re.compile(r"[^\W\d_]+(?:['’-][^\W\d_]+)*|[.!?:;]")
_LONG_NUMBER = r"(?:^|[^0-9])[0-9]{6,}(?:[^0-9]|$)"


def _is_capital(word: str) -> bool:
    return len(word) > 1 and word[0].isupper() and not word.isupper()


def _named(sentence: str) -> str | None:
    """Tell whether a person or a town is named."""
    words, at_head = _WORDS.findall(sentence), True
    for place, word in enumerate(words):
        plain = folded(word)
        if _is_capital(word) and plain not in PLAIN:
            following = words[place + 1] if place + 1 < len(words) else ""
            in_a_row = _is_capital(following) and folded(following) not in PLAIN and plain not in SMALL
            if in_a_row and (is_person(word) or is_person(following)):
                return "name"
            if plain in GIVEN and not (at_head and plain in ALSO_WORDS):
                return "name"
            if is_town(word) and not at_head:
                return "place"
        at_head = word in ".!?:;"
    return None


def sentence_kinds(sentence: str) -> list[str]:
    """Kinds of identifying data that one sentence holds, in alphabetical order; empty where it looks innocent."""
    cell = pl.DataFrame({"value": [sentence]})
    patterns = {kind: p for kind, p in TELLING.items() if kind != "free text"} | {"record number": _LONG_NUMBER}
    hits = cell.select(pl.col("value").str.contains(p).alias(kind) for kind, p in patterns.items()).row(0, named=True)
    found = {kind for kind, hit in hits.items() if hit}
    named = _named(sentence)
    return sorted(found | ({named} if named else set()))
