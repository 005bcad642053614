"""Whether the records can be trusted: completeness, rows set aside by rule, open questions to the sites."""

from __future__ import annotations

import polars as pl

from pipeline.analyse.common import Frames, Section, group, labelled, periods
from pipeline.results import ResultSet

ROW_COUNTS = ("rows_read", "rows_kept", "rows_set_aside", "rows_unchanged")


def _filled(section: Section, frames: Frames, quarter: str) -> None:
    """Share of expected entries that are filled in, by item, now and the quarter before, and by site now."""
    table = frames["completeness"]
    for period in ("this", "last"):
        seen = table.filter(pl.col("quarter").is_in(periods(quarter)[period]))
        whole = seen.group_by("item").agg(pl.col("expected", "filled").sum()).sort("item")
        for item, expected, filled in whole.iter_rows():
            section.share("filled", group(item=item, period=period), int(filled), int(expected), n_of="entries")
        if period == "this":
            by_site = seen.group_by("item", "site").agg(pl.col("expected", "filled").sum()).sort("item", "site")
            for item, site, expected, filled in by_site.iter_rows():
                where = group(item=item, site=site, period=period)
                section.share("filled", where, int(filled), int(expected), n_of="entries")


def _files(section: Section, frames: Frames) -> None:
    """Rows read, kept, set aside and already there, by file."""
    for row in frames["files"].sort("file").iter_rows(named=True):
        for column in ROW_COUNTS:
            section.add(column, group(file=row["file"]), n=int(row[column] or 0), n_of="rows")


def _by_label(section: Section, table: pl.DataFrame, statistic: str, column: str, person: str, n_of: str) -> None:
    """Rows of a table counted by a label, with the number of different people behind them."""
    counts = table.group_by(labelled(column).alias(column)).agg(
        pl.len().alias("n"), pl.col(person).drop_nulls().n_unique().alias("people")
    )
    for label, n, people in counts.sort(column).iter_rows():
        section.add(statistic, group(**{"rule" if column == "rule" else column: label}), n=int(n), n_of=n_of,
                    n_people=int(people) or None)


def records(frames: Frames, quarter: str) -> ResultSet:
    """Section "records"."""
    section = Section("quarter", "records")
    _filled(section, frames, quarter)
    _files(section, frames)
    _by_label(section, frames["set_aside"], "set_aside", "rule", "client_key_ok", "rows")
    questions = frames["queries"]
    section.add("queries", n=questions.height, n_of="queries", n_people=questions["client_key"].drop_nulls().n_unique())
    _by_label(section, questions, "queries", "cause", "client_key", "queries")
    return section.done()
