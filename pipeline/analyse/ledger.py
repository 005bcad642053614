"""The ledger of the stalled list: first listed, looked at, off the list, listed again, from quarter to quarter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import polars as pl

from pipeline.analyse.common import PRESSURES, Section, group
from pipeline.analyse.scored import kept_states
from pipeline.identity.quarters import day_words
from pipeline.results import ResultSet
from pipeline.stats.stalled_rule import FALLING, STALLED

LISTED = (FALLING, STALLED)
NOW = ("listed for the first time", "still listed", "listed again", "off the list", "not judged this quarter")
"""What became of everybody who was ever listed."""


@dataclass
class Line:
    """One client and pressure: quarters in which the client was listed, and judged but not listed."""

    client_key: str
    pressure: str
    listed: list[str] = field(default_factory=list)
    off: list[str] = field(default_factory=list)

    def standing(self, quarter: str) -> str:
        """One of NOW, for the quarter of the look."""
        if quarter in self.off:
            return NOW[3]
        if quarter not in self.listed:
            return NOW[4]
        before = [q for q in self.listed if q < quarter]
        if not before:
            return NOW[0]
        return NOW[2] if any(q > before[-1] for q in self.off) else NOW[1]

    def again(self) -> list[str]:
        """Quarters in which the client was listed again after having been off the list."""
        return [q for k, q in enumerate(self.listed) if k and any(self.listed[k - 1] < o < q for o in self.off)]

    def taken_off(self) -> list[str]:
        """Quarters in which the client was first judged and not listed after having been listed."""
        return [o for o in self.off if any(q < o for q in self.listed)
                and not any(max(q for q in self.listed if q < o) < p < o for p in self.off)]  # fmt: skip


def lines(told: Sequence[tuple[str, pl.DataFrame]]) -> list[Line]:
    """The ledger's lines from (quarter, states) in the order of quarters: everybody who was listed at least once."""
    found: dict[tuple[str, str], Line] = {}
    for quarter, states in told:
        for key, pressure, state in states.select("client_key", "pressure", "state").iter_rows():
            line = found.setdefault((key, pressure), Line(key, pressure))
            (line.listed if state in LISTED else line.off).append(quarter)
    return [line for _, line in sorted(found.items()) if line.listed]


def states_of(results: ResultSet) -> pl.DataFrame:
    """The states of this review: client_key, pressure, state."""
    rows = [(*r.group.split(";pressure="), r.text) for r in results.rows
            if r.section == "worklist" and r.statistic == "state" and r.klass == "client"]  # fmt: skip
    return pl.DataFrame(rows, schema=["client_key", "pressure", "state"], orient="row").cast(pl.String)


def _looks(reviews: pl.DataFrame, line: Line, quarter: str) -> list[str]:
    """Days on which the client was looked at since the first listing's quarter, each with what came of it."""
    mine = reviews.filter((pl.col("client_key") == line.client_key) & (pl.col("quarter") >= line.listed[0]))
    return [f"{day_words(day, quarter)}: {(outcome or 'not recorded').replace('_', ' ')}"
            for day, outcome in mine.sort("reviewed_on").select("reviewed_on", "outcome").iter_rows()]  # fmt: skip


def ledger(
    kept: Sequence[tuple[str, pl.DataFrame]], results: ResultSet, reviews: pl.DataFrame, quarter: str
) -> ResultSet:
    """Section "ledger" of the stalled report. kept: quarter and kept rows of earlier reviews, in order."""
    section = Section("stalled", "ledger")
    told = [(q, kept_states(rows)) for q, rows in kept] + [(quarter, states_of(results))]
    reviews = reviews.filter(pl.col("quarter") <= quarter)
    found = lines(told)
    section.add("reviews_kept", n=len(told), n_of="reviews", n_people=0, text=", ".join(q for q, _ in told))
    for pressure in PRESSURES:
        mine = [line for line in found if line.pressure == pressure]
        standings = [line.standing(quarter) for line in mine]
        total = section.add("people", group(pressure=pressure), n=len(mine), text="ever listed in a review kept")
        section.sum_of(total, [section.add("people", group(pressure=pressure, standing=s), n=standings.count(s))
                               for s in NOW])  # fmt: skip
        looked = sum(bool(_looks(reviews, line, quarter)) for line in mine)
        section.share("looked_at", group(pressure=pressure), looked, len(mine),
                      note="a row in reviews since the quarter of the first listing")  # fmt: skip
    for line in found:
        where = f"{line.client_key};pressure={line.pressure}"
        for statistic, text in (("first_listed", line.listed[0]), ("standing", line.standing(quarter)),
                                ("off_the_list", ", ".join(line.taken_off()) or "not yet"),
                                ("listed_again", ", ".join(line.again()) or "no"),
                                ("looked_at_on", "; ".join(_looks(reviews, line, quarter)) or "no look recorded"),
                                ):  # fmt: skip
            section.add(statistic, where, text=text, klass="client")
    return section.done()
