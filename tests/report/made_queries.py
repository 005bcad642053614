"""Invented questions to the sites: computed from nobody."""

from __future__ import annotations

from typing import Any

from pipeline.results import Result
from tests.report.made import SITES

CAUSES = {"no_prescription": ("No dose is recorded for this course. What was prescribed, and from when?",
                              "Adherence cannot be worked out; the client is in no figure of dose.", "episodes"),
          "pause_open": ("This pause has been open for long. Has training gone on?", "The pause counts as open.",
                         "pauses")}


def _row(section: str, statistic: str, group: str, at: float | None = None, **fields: Any) -> Result:
    return Result("queries", section, statistic, group, at, klass="client", **fields)


def _open(group: str, n: int, n_people: int) -> Result:
    return _row("how_many", "open", group, n=n, n_of="queries", n_people=n_people)


def rows(each: int = 3) -> list[Result]:
    """Two causes at three sites, `each` questions of every kind, each about another person."""
    n_causes, n_sites = len(CAUSES), len(SITES)
    found = [_open("all", n_causes * n_sites * each, n_sites * each)]
    found += [_open(f"cause={c}", n_sites * each, n_sites * each) for c in CAUSES]
    found += [_open(f"site={s}", n_causes * each, each) for s in SITES]
    found += [_open(f"cause={c};site={s}", each, each) for c in CAUSES for s in SITES]
    found += [_row("asked", "question", f"cause={c}", text=asked, note=done) for c, (asked, done, _) in CAUSES.items()]
    place = 0
    for cause, (_, _, table) in CAUSES.items():
        for site in SITES:
            for k in range(each):
                place += 1
                where = f"key-{site}-{k};cause={cause};site={site};table={table};on=2026-05-0{1 + k % 9}"
                found.append(_row("asked", "query", where, float(place), n=1 + k, n_of="rows",
                                  text=f"{table}.csv:{place + 1}"))
    return found


def none() -> list[Result]:
    """What the analysis says where nothing is to be asked."""
    return [_open("all", 0, 0)]
