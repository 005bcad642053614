"""Counts by site in the internal edition: 1 to `limit` people are hidden there as well, with their complements.

The internal edition is for the treating team and hides nothing else; but the team of one site is not that of another.
"""

from __future__ import annotations

from pipeline.identity.small_cells import blank, choose_hidden
from pipeline.results import Result, ResultSet


def names_site(row: Result) -> bool:
    """Tell whether a row is an aggregate about one site."""
    return row.klass == "aggregate" and any(part.startswith("site=") for part in row.group.split(";"))


def with_few_of_a_site_hidden(results: ResultSet, limit: int = 10) -> ResultSet:
    """The results with the small cells of sites hidden, and what would give them back by the sums they stand in.

    Only rows that name a site lose their numbers; everything else stays as it is.
    """
    mine = {r.key for r in results.rows if names_site(r)}
    sums = tuple(s for s in results.partitions if mine & {s.total, *s.parts})
    seen = mine | {k for s in sums for k in (s.total, *s.parts)}
    part = ResultSet(tuple(r for r in results.rows if r.key in seen and r.klass == "aggregate"), sums)
    hidden = choose_hidden(part, limit)
    rows = tuple(blank(r, hidden[r.key], limit) if r.key in mine and r.key in hidden else r for r in results.rows)
    return ResultSet(rows, results.partitions)
