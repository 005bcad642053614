"""Shows the shape of a value and never the value: letters as a or A, digits as 9."""

from __future__ import annotations

import re

import polars as pl

#: Most characters of a shape that are shown.
SHOWN_CHARACTERS = 12

_PLAIN_HEADING = re.compile(r"[A-Za-z_][A-Za-z0-9_ .()/%-]{0,39}")
_LONG_NUMBER = re.compile(r"[0-9]{4,}")


def masked(value: pl.Expr) -> pl.Expr:
    """Return text such as "Aaaa Aaaaa (10 characters)" for each value, "(empty)" for null.

    Upper case letters become A, other letters and marks a, digits 9; ASCII punctuation stays; anything else is "?".
    """
    shape = value.str.slice(0, SHOWN_CHARACTERS)
    for pattern, sign in ((r"\p{Lu}|\p{Lt}", "A"), (r"[\p{L}\p{M}&&[^A]]", "a"), (r"\p{N}", "9"), (r"[^ -~]", "?")):
        shape = shape.str.replace_all(pattern, sign)
    size = value.str.len_chars()
    more = pl.when(size > SHOWN_CHARACTERS).then(pl.lit("...")).otherwise(pl.lit(""))
    return pl.concat_str(shape, more, pl.lit(" ("), size.cast(pl.String), pl.lit(" characters)")).fill_null("(empty)")


def shown_heading(heading: str) -> str:
    """Return a heading if it is plainly one, else its shape: where headings are missing it may be a person's data."""
    if _PLAIN_HEADING.fullmatch(heading) and not _LONG_NUMBER.search(heading):
        return heading
    return str(pl.select(masked(pl.lit(heading))).item())
