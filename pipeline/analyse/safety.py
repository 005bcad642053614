"""Safety, counted on everything that was received, before every filter: rows set aside are in."""

from __future__ import annotations

import polars as pl

from pipeline.analyse.common import Frames, Section, group, periods
from pipeline.results import ResultSet

LOWER_BOUND = "the number of people is the largest of any kind: one person may stand under several"


def _by_kind(section: Section, rows: pl.DataFrame, statistic: str, period: str, name: str) -> None:
    kinds = rows.group_by("kind").agg(pl.col("n_rows", "n_people").sum()).sort("kind")
    for kind, n, people in kinds.iter_rows():
        section.add(statistic, group(period=period, **{name: kind}), n=int(n), n_of="rows", n_people=int(people))


def _total(section: Section, rows: pl.DataFrame, statistic: str, where: str) -> None:
    kinds = rows.group_by("kind").agg(pl.col("n_people").sum())["n_people"].to_list()
    section.add(statistic, where, n=int(rows["n_rows"].sum() or 0), n_of="rows", note=LOWER_BOUND,
                n_people=int(max(kinds, default=0)))


def safety(frames: Frames, quarter: str) -> ResultSet:
    """Section "safety": events by kind, early stops by reason, serious and related ones, by site."""
    section = Section("quarter", "safety")
    table = frames["safety"]
    for period in ("this", "last"):
        seen = table.filter(pl.col("quarter").is_in(periods(quarter)[period]))
        for source, statistic, name in (("events", "events", "kind"), ("sessions", "early_stops", "reason")):
            rows = seen.filter(pl.col("source") == source)
            _total(section, rows, statistic, group(period=period))
            _by_kind(section, rows, statistic, period, name)
    now = table.filter(pl.col("quarter") == quarter)
    events = now.filter(pl.col("source") == "events")
    for column, statistic in (("n_serious", "serious"), ("n_related", "related")):
        few = events.filter(pl.col(column) > 0)
        section.share(statistic, group(period="this"), int(events[column].sum() or 0), int(events["n_rows"].sum() or 0),
                      n_of="rows", n_people=int(few["n_people"].sum() or 0))
    for site in sorted(now["site"].drop_nulls().unique().to_list()):
        _total(section, events.filter(pl.col("site") == site), "events", group(period="this", site=site))
    section.add("in_set_aside", group(period="this"), n=int(now["n_set_aside"].sum() or 0), n_of="rows",
                n_people=int(now.filter(pl.col("n_set_aside") > 0)["n_people"].sum() or 0),
                note="of the rows above, those that stand among the rows set aside")
    return section.done()
