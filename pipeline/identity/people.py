"""Turns tables that name people into tables of keys: who each row means, and which keys may be two people. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import polars as pl

from pipeline.identity.classes import OLDEST_TOLD_YEARS
from pipeline.identity.surrogates import Crosswalk, Person, plain_name

KEY, WHO = "client_key", "who_"

#: Signs of two people under one name (our choices, no source): ages and heights further apart than this, and as many
#: days on which sessions of one slot disagree.
AGES_APART_YEARS, HEIGHTS_APART_CM, SLOT_CLASHES = 1.0, 3.0, 3


@dataclass(frozen=True)
class Named:
    """A table with `who_` (the person of each row, as a list of texts; null where none is named).

    n_unnamed: rows in which a part of the name is empty. n_untold: rows of a person who was split, in a table that
    lacks the columns which tell the two apart.
    """

    rows: pl.DataFrame
    n_unnamed: int
    n_untold: int


def _name(row: Mapping[str, str | None], columns: Sequence[str]) -> Person | None:
    parts = tuple(plain_name(row[c] or "") for c in columns)
    return parts if all(parts) else None


def named(rows: pl.DataFrame, state: Crosswalk) -> Named:
    """Say who is meant by each row. The table must have every column of `state.columns`."""
    columns = list(state.columns)
    more = sorted({c for by in state.splits.values() for c in by if c in rows.columns and c not in columns})
    different = rows.select(*columns, *more).unique(maintain_order=True)
    who: list[list[str] | None] = []
    untold = []
    for row in different.iter_rows(named=True):
        person = _name(row, columns)
        by = state.splits.get(person, ()) if person else ()
        extra = _name(row, by) if by and all(c in row for c in by) else None
        untold.append(bool(by) and extra is None)
        whole = person if not by else (person + extra if person and extra else None)
        who.append(None if whole is None else list(whole))
    told = different.with_columns(pl.Series(WHO, who, dtype=pl.List(pl.String)), pl.Series("untold_", untold))
    found = rows.join(told, on=[*columns, *more], how="left", nulls_equal=True, maintain_order="left")
    n_untold = int(found["untold_"].sum())
    return Named(found.drop("untold_"), found[WHO].null_count() - n_untold, n_untold)


def people_in(tables: Sequence[Named]) -> list[Person]:
    """Return the people of several tables, each once, in order of appearance."""
    return list(dict.fromkeys(tuple(p) for t in tables for p in t.rows[WHO].drop_nulls().to_list()))


def keyed(table: Named, state: Crosswalk) -> pl.DataFrame:
    """Return the rows that name somebody, with `client_key` first and sorted by it: the order of people goes."""
    rows = table.rows.filter(pl.col(WHO).is_not_null())
    keys = [state.key_of(tuple(p)) for p in rows[WHO].to_list()]
    others = [c for c in rows.columns if c not in (WHO, KEY)]
    return rows.select(pl.Series(KEY, keys, dtype=pl.String), *others).sort(KEY, maintain_order=True)


def _spread(rows: pl.DataFrame, column: str, apart: float) -> set[str]:
    if column not in rows.columns:
        return set()
    value = pl.col(column).str.strip_chars().cast(pl.Float64, strict=False)
    wide = rows.group_by(KEY).agg((value.max() - value.min()).alias("wide")).filter(pl.col("wide") > apart)
    return set(wide[KEY])


def _sexes(rows: pl.DataFrame) -> set[str]:
    if "sex" not in rows.columns:
        return set()
    told = rows.select(KEY, pl.col("sex").str.strip_chars().str.to_lowercase()).filter(
        pl.col("sex").is_in(["female", "male", "f", "m", "w"]))
    first = pl.col("sex").replace({"female": "f", "w": "f", "male": "m"})
    return set(told.group_by(KEY).agg(first.n_unique().alias("n")).filter(pl.col("n") > 1)[KEY])


def _clashes(rows: pl.DataFrame) -> set[str]:
    names = ["session_on", "slot"]
    if not set(names) <= set(rows.columns):
        return set()
    whole = rows.filter(pl.all_horizontal(pl.col(n).is_not_null() for n in names)).unique()
    slots = whole.group_by(KEY, *names).len().filter(pl.col("len") > 1)
    days = slots.group_by(KEY).agg(pl.col("session_on").n_unique().alias("n"))
    return set(days.filter(pl.col("n") >= SLOT_CLASHES)[KEY])


def maybe_two(tables: Mapping[str, pl.DataFrame]) -> dict[str, list[str]]:
    """Return key -> reasons why it may be two people. tables: keyed rows by table name, contract columns as text."""
    clients, sessions = tables.get("clients", pl.DataFrame()), tables.get("sessions", pl.DataFrame())
    signs = {
        "sex": _sexes(clients), "age": _spread(clients, "age_years", AGES_APART_YEARS),
        "height": _spread(clients, "height_cm", HEIGHTS_APART_CM), "slots that clash": _clashes(sessions),
    }
    return {key: [s for s, keys in signs.items() if key in keys] for key in sorted(set().union(*signs.values()))}


def is_over_89(column: str = "age_years") -> pl.Expr:
    """Say for each cell of a text column whether it is an age of 91 to 130 years."""
    age = pl.col(column).str.strip_chars().cast(pl.Float64, strict=False)
    return age.is_between(OLDEST_TOLD_YEARS, 130, closed="right") & (age == age.floor())


def with_ages_told(rows: pl.DataFrame) -> tuple[pl.DataFrame, int]:
    """Return the rows with ages over 90 as 90, and how many there were (45 CFR 164.514(b)(2)(i)(C))."""
    if "age_years" not in rows.columns:
        return rows, 0
    over = is_over_89().fill_null(False)
    n = int(rows.select(over.sum()).item() or 0)
    told = pl.when(over).then(pl.lit(str(OLDEST_TOLD_YEARS))).otherwise(pl.col("age_years"))
    return rows.with_columns(told.alias("age_years")), n
