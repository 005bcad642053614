"""Notes on the charts over quarters, and the decisions of earlier reviews: their measure then and now, what followed.

Their words are the clinic's own: they stand in the internal edition only (class client).
"""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl

from pipeline.analyse.common import FEW, MEDIAN, Frames, Section, floats, group
from pipeline.analyse.over_time import of_quarters, series
from pipeline.contract.annotations import DECISION
from pipeline.identity.marks import small_mark
from pipeline.identity.quarters import before
from pipeline.results import ResultSet
from pipeline.settings import Settings

NO_NOTES = "No dated notes or decisions are kept (annotations.toml): charts bear no marks, and no decision is followed."
NONE_OF_LAST = "No decision of the last quarter's review is kept in annotations.toml."
EMPTY = pl.DataFrame(schema={"kind": pl.String, "on_day": pl.Date, "quarter": pl.String, "text": pl.String,
                             "sites": pl.String, "of_quarter": pl.String, "measure": pl.String, "followed": pl.String})
COMPLETENESS = {"mip_12_week_tests": "12_week_mip", "effort_ratings": "effort_rating"}
GAINS = {"mip_gain": "pressure=mip", "mep_gain": "pressure=mep"}
QUARTERS = {"session_adherence": "session_adherence_pct", "effort_in_band": "in_band_pct", "weeks_logged": "logged_pct"}


def letter(place: int) -> str:
    """The mark of the note at a place from 0: A to Z, then AA, AB ..."""
    return (letter(place // 26 - 1) if place >= 26 else "") + chr(ord("A") + place % 26)


def kept(frames: Frames, quarter: str) -> pl.DataFrame:
    """Notes and decisions up to the end of the quarter, in the order of days, each with its mark."""
    rows = frames.get("annotations", EMPTY).filter(pl.col("quarter") <= quarter).sort("on_day", "kind", "text", "sites")
    return rows.with_columns(pl.Series("mark", [letter(k) for k in range(rows.height)], dtype=pl.String))


def _marks(section: Section, rows: pl.DataFrame) -> None:
    for row in rows.iter_rows(named=True):
        where = group(mark=row["mark"], quarter=row["quarter"], on=row["on_day"].isoformat(), kind=row["kind"])
        section.add("note", where, text=row["text"], note=row["sites"] or "", klass="client")


def _values(frames: Frames, measure: str, sites: Sequence[str]) -> pl.DataFrame:
    """Value and quarter of each person for a measure that a decision names, of some sites or of all."""
    if measure in GAINS:
        rows = series(frames)["median_gain12_cmh2o", GAINS[measure]]
    else:
        rows = of_quarters(frames, QUARTERS[measure])
    return rows.filter(pl.col("site").is_in(list(sites))) if sites else rows


def _read(section: Section, frames: Frames, row: dict[str, str], name: str, quarter: str, fewest: int) -> None:
    """Add the decision's measure in one quarter; 10 people or fewer are not told, in the internal edition either."""
    sites = [s for s in (row["sites"] or "").split(", ") if s]
    statistic, where = f"measure_{name}", group(mark=row["mark"], measure=row["measure"], quarter=quarter)
    same = {"klass": "client", "unit": "cmH2O" if row["measure"] in GAINS else "%"}
    if row["measure"] in COMPLETENESS:
        items = frames["completeness"].filter((pl.col("item") == COMPLETENESS[row["measure"]])
                                              & (pl.col("quarter") == quarter))  # fmt: skip
        items = items.filter(pl.col("site").is_in(sites)) if sites else items
        expected, filled = (int(items[c].sum()) for c in ("expected", "filled"))
        if expected < fewest:
            text = small_mark(fewest - 1) if expected else "nothing was expected"
            section.add(statistic, where, text=text, **same)
            return
        section.share(statistic, where, filled, expected, n_of="entries expected", klass="client")
        return
    values = _values(frames, row["measure"], sites).filter(pl.col("quarter") == quarter)["value"]
    known = floats(values).size
    if known < fewest:
        section.add(statistic, where, text=small_mark(fewest - 1) if known else "nobody to count", **same)
        return
    section.median(statistic, where, values, str(same["unit"]), klass="client", method=MEDIAN)


def _decision(section: Section, frames: Frames, row: dict[str, str], quarter: str, fewest: int) -> None:
    where = group(mark=row["mark"], of_quarter=row["of_quarter"])
    section.add("decided", where, text=row["text"], note=row["sites"] or "", klass="client")
    section.add("followed", where, text=row["followed"] or "nothing is noted yet", klass="client")
    if row["measure"]:
        for name, when in (("then", row["of_quarter"]), ("now", quarter)):
            _read(section, frames, row, name, when, fewest)


def decisions(frames: Frames, quarter: str, settings: Settings) -> ResultSet:
    """Section "decisions" of the quarter: notes for the charts, then every decision of an earlier review."""
    section = Section("quarter", "decisions")
    rows = kept(frames, quarter)
    if rows.is_empty():
        section.state(NO_NOTES)
        return section.done()
    _marks(section, rows)
    fewest = max(FEW, settings.small_cell_max) + 1
    made = rows.filter((pl.col("kind") == DECISION) & (pl.col("of_quarter") < quarter))
    if made.filter(pl.col("of_quarter") == (before(quarter, 1) or "")).is_empty():
        section.state(NONE_OF_LAST)
    for row in made.sort("of_quarter", "mark", descending=[True, False]).iter_rows(named=True):
        _decision(section, frames, row, quarter, fewest)
    return section.done()
