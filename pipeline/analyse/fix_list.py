"""The fix list: every question to the sites, by cause and by site, and one row for each. Internal edition only."""

from __future__ import annotations

import polars as pl

from pipeline.analyse.common import Frames, Section, group, labelled
from pipeline.identity.quarters import day_words
from pipeline.results import ResultSet

#: How the list is read: one cause after the other, site by site, person by person.
ORDER = ("cause", "site", "client_key", "file", "line", "table_name", "day_on")


def _counted(section: Section, where: str, rows: pl.DataFrame) -> None:
    """Add how many questions are open, and about how many people. So few stand behind many of these counts that none
    of them is for the shared edition, which has those by cause in quarter.records."""
    section.add("open", where, n=rows.height, n_of="queries", n_people=rows["client_key"].n_unique(), klass="client")


def fix_list(frames: Frames, quarter: str) -> ResultSet:
    """Sections "how_many" and "asked" of the report "queries".

    asked.query: one row a question; its group names client, cause, site, table and first day, `text` is file:line, `n`
    the rows meant, `at` the place in the list. asked.question: the question of a cause, and in `note` what was done
    meanwhile.
    """
    counts, asked = Section("queries", "how_many"), Section("queries", "asked")
    table = frames["queries"].with_columns(labelled("site"), labelled("client_key")).sort(ORDER, nulls_last=True)
    _counted(counts, "all", table)
    for names in (("cause",), ("site",), ("cause", "site")):
        for label, rows in table.sort(names, maintain_order=True).group_by(names, maintain_order=True):
            _counted(counts, group(**dict(zip(names, map(str, label), strict=True))), rows)
    for (cause,), rows in table.group_by("cause", maintain_order=True):
        asked.add("question", group(cause=str(cause)), text=rows["question"][0], note=rows["meanwhile"][0],
                  klass="client")
    for place, row in enumerate(table.iter_rows(named=True), start=1):
        parts = group(cause=row["cause"], site=row["site"], table=row["table_name"],
                      on=day_words(row["day_on"], quarter) if row["day_on"] else "no day")
        asked.add("query", f"{row['client_key']};{parts}", at=float(place), n=int(row["n_rows"]), n_of="rows",
                  text=f"{row['file']}:{row['line']}", klass="client")
    return ResultSet((*counts.rows, *asked.rows))
