"""A small safe grammar for choosing rows: comparisons of known columns with literal values, and, or, not, brackets.

    site = north and age_years >= 60          protocol in (firm_5x6, ladder_6)
    not (caution is recorded) or week <= 26   condition_group != 'copd'

A text never reaches a database: it is read into an expression over columns of a fixed list. A cell that is not recorded
satisfies neither a comparison nor its opposite; ask for it by "is not recorded". A fault names place and kind, and
never repeats the text.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import NamedTuple

import polars as pl

from pipeline.errors import RmtError

LONGEST, DEEPEST = 400, 20
_TOKEN = re.compile(
    r"\s*(?:(?P<op><=|>=|!=|<>|=|<|>)|(?P<mark>[(),])|(?P<number>[-+]?\d+(?:\.\d+)?(?![\w.-]))"
    r"|'(?P<quoted>[^'\n]*)'|\"(?P<double>[^\"\n]*)\"|(?P<word>[A-Za-z0-9_][\w./+-]*))"
)
_BLANK = re.compile(r"\s*")
WORDS = frozenset({"and", "or", "not", "in", "is", "recorded", "between"})
YES, NO = frozenset({"true", "yes"}), frozenset({"false", "no"})


class BadCondition(RmtError):
    """A condition that cannot be read, or names what may not be chosen by."""

    exit_code = 2


class Token(NamedTuple):
    """A piece of the text: kind (op, mark, number, text, word, end), its text, and where it begins (from 1)."""

    kind: str
    text: str
    at: int


def _fault(what: str, at: int, expected: str, now: str = "mend the condition and run again") -> BadCondition:
    return BadCondition(what, where=f"--where, character {at}", expected=expected, now=now)


def tokens(text: str) -> list[Token]:
    """Cut a condition into its pieces; BadCondition at the first character that belongs to none."""
    if len(text) > LONGEST:
        raise _fault("the condition is too long", LONGEST + 1, f"at most {LONGEST} characters")
    found, here = [], _end_of_blanks(text, 0)
    while here < len(text):
        match = _TOKEN.match(text, here)
        if match is None:
            raise _fault("a character that no condition has", here + 1,
                         "columns, = != < <= > >=, numbers, words, quoted words, brackets, and, or, not, in, between")
        kind = match.lastgroup or "word"
        kind = "text" if kind in ("quoted", "double") else kind
        found.append(Token(kind, match.group(match.lastgroup or 0), here + 1))
        here = _end_of_blanks(text, match.end())
    return [*found, Token("end", "", len(text) + 1)]


def _end_of_blanks(text: str, here: int) -> int:
    match = _BLANK.match(text, here)
    return match.end() if match else here


@dataclass
class _Reader:
    """Walks over the tokens and builds the expression; schema: the columns that may be named, with their types."""

    left: list[Token]
    schema: dict[str, pl.DataType]
    depth: int = 0

    @property
    def next(self) -> Token:
        return self.left[0]

    def take(self) -> Token:
        """The next token; the end stays."""
        return self.left.pop(0) if self.left[0].kind != "end" else self.left[0]

    def is_word(self, *words: str) -> bool:
        """Whether the next token is one of these words of the grammar."""
        return self.next.kind == "word" and self.next.text.lower() in words

    def word(self, *words: str) -> str:
        """Take one of these words, or fail."""
        if not self.is_word(*words):
            raise _fault("something else than the word that belongs here", self.next.at, " or ".join(words))
        return self.take().text.lower()

    def mark(self, mark: str) -> None:
        """Take a bracket or a comma, or fail."""
        if self.next.text != mark or self.next.kind != "mark":
            raise _fault("something else than the mark that belongs here", self.next.at, f"'{mark}'")
        self.take()

    def whole(self) -> pl.Expr:
        """A whole condition."""
        found = self.any_of()
        if self.next.kind != "end":
            raise _fault("the condition goes on where it should end", self.next.at, "and, or, or the end")
        return found

    def any_of(self) -> pl.Expr:
        """Parts joined by "or"."""
        found = self.all_of()
        while self.is_word("or"):
            self.take()
            found = found | self.all_of()
        return found

    def all_of(self) -> pl.Expr:
        """Parts joined by "and"."""
        found = self.one()
        while self.is_word("and"):
            self.take()
            found = found & self.one()
        return found

    def one(self) -> pl.Expr:
        """A comparison, one turned round by "not", or a condition in brackets."""
        self.depth += 1
        if self.depth > DEEPEST:
            raise _fault("too many brackets inside each other", self.next.at, f"at most {DEEPEST}")
        try:
            if self.is_word("not"):
                self.take()
                return ~self.one()
            if self.next.text == "(" and self.next.kind == "mark":
                self.take()
                found = self.any_of()
                self.mark(")")
                return found
            return self.comparison()
        finally:
            self.depth -= 1

    def comparison(self) -> pl.Expr:
        """Column, operator, value or values."""
        name = self.column()
        column = pl.col(name)
        if self.next.kind == "op":
            return self._compared(name, self.take())
        if self.is_word("is"):
            self.take()
            turned = self.is_word("not") and bool(self.take())
            self.word("recorded")
            return column.is_null() if turned else column.is_not_null()
        turned = self.is_word("not") and bool(self.take())
        if self.word("in", "between") == "between":
            low = self.value(name)
            self.word("and")
            found = column.is_between(pl.lit(low), pl.lit(self.value(name)))
        else:
            found = self._one_of(name)
        return ~found if turned else found

    def _compared(self, name: str, operator: Token) -> pl.Expr:
        is_ordered = self.schema[name].is_numeric()
        if operator.text in ("<", "<=", ">", ">=") and not is_ordered:
            raise _fault("an order is asked of a column of words", operator.at, "= or != or in (...)")
        value = pl.lit(self.value(name))
        column = pl.col(name)
        return {"=": column == value, "!=": column != value, "<>": column != value, "<": column < value,
                "<=": column <= value, ">": column > value, ">=": column >= value}[operator.text]  # fmt: skip

    def _one_of(self, name: str) -> pl.Expr:
        self.mark("(")
        values = [self.value(name)]
        while self.next.text == "," and self.next.kind == "mark":
            self.take()
            values.append(self.value(name))
        self.mark(")")
        return pl.any_horizontal([pl.col(name) == pl.lit(v) for v in values])

    def column(self) -> str:
        """A column of the list, or a fault that lists them."""
        token = self.take()
        if token.kind != "word" or token.text.lower() in WORDS or token.text not in self.schema:
            raise _fault("no column by which rows may be chosen", token.at, f"one of: {', '.join(sorted(self.schema))}")
        return token.text

    def value(self, name: str) -> float | str | bool:
        """A value of the column's kind."""
        token = self.take()
        kind = self.schema[name]
        if kind == pl.Boolean() and token.text.lower() in YES | NO and token.kind in ("word", "text"):
            return token.text.lower() in YES
        if kind.is_numeric() and token.kind == "number":
            return float(token.text)
        is_word = token.kind in ("text", "number") or (token.kind == "word" and token.text.lower() not in WORDS)
        if kind == pl.String() and is_word:
            return token.text
        expected = "a number" if kind.is_numeric() else "yes or no" if kind == pl.Boolean() else "words"
        raise _fault(f"a value of another kind than the column {name}", token.at, expected)


def parse(text: str, schema: dict[str, pl.DataType]) -> pl.Expr:
    """Read a condition into an expression over the columns of `schema`; BadCondition says where it cannot be read."""
    if not text.strip():
        raise _fault("the condition is empty", 1, "a comparison such as site = north")
    return _Reader(tokens(text), schema).whole()
