"""How wide words are when drawn: by the widest face that a reader may have, so that nothing is cut off or overlaps."""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache

#: Widths in hundredths of the letter size, DejaVu Sans (measured in its font file): the widest of the usual faces.
_BY_WIDTH = {
    20: "\u202f\u200b", 28: "'ijl", 29: "IJ", 32: " ,.\u00a0·", 34: "/:;\\|", 36: "f-", 39: "()[]t", 40: "!", 41: "r",
    46: '"', 50: "*_`\u2013", 53: "?sz", 55: "c", 59: "FkLvxy", 61: "PTYaoäö", 63: "eESbdghnpquüß",
    64: "$0123456789{}",
    69: "ABKRVXZÄ", 75: "CHNUÜ", 79: "DGOQ&Ö", 82: "w", 86: "#+<=>^~M±×\u2212≤≥", 99: "%mW@",
}
_WIDTH = {letter: width for width, letters in _BY_WIDTH.items() for letter in letters}


@lru_cache(maxsize=65536)
def width(words: str, size: float) -> float:
    """Width in px of words at a letter size in px; letters that are not listed count as wide ones."""
    return sum(_WIDTH.get(letter, 80) for letter in words) * size / 100


def widest(words: Iterable[str], size: float) -> float:
    """Width of the longest of some words; 0 for none."""
    return max((width(w, size) for w in words), default=0.0)


def wrapped(words: str, room: float, size: float) -> list[str]:
    """Break words into lines of at most `room` px; a single word that is longer stays whole."""
    lines: list[str] = []
    for word in words.split(" "):
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and width(longer, size) <= room:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines or [""]
