"""Three invented result sets: a full one, a tiny one (8 people) and a suppressed one."""

from __future__ import annotations

from dataclasses import replace

from pipeline.identity.few_digits import told
from pipeline.report import PageMeta
from pipeline.results import Result, ResultSet
from tests.report import made_clients, made_more, made_people, made_protocols, made_quarter, made_queries

HIDDEN = "hidden (n<11)"


def meta(edition: str) -> PageMeta:
    return PageMeta(
        edition,
        "2026Q2",
        "2026-06-30" if edition == "internal" else "2026Q2",
        "5f0c9a",
        "a1b2c3",
        "0.1.0",  # type: ignore[arg-type]
        "rmt-outcomes review DATA --out OUT",
    )


def full() -> ResultSet:
    return ResultSet((*made_protocols.rows(), *made_quarter.rows(), *made_clients.rows(), *made_more.quarter(),
                      *made_more.ledger(), *made_queries.rows()))


def tiny() -> ResultSet:
    """Eight people: most sections can only say why they are empty."""
    sections = dict.fromkeys(r.section for r in made_quarter.rows())
    empty = [
        Result("quarter", s, "state", text="Eight people are too few for this question; it needs 11.")
        for s in sections
        if s not in ("who", "counted", "records", "safety", "service", "made")
    ]
    few = [replace(r, n=None if r.n is None else min(r.n, 8)) for r in [*made_people.who(), *made_people.counted()]]
    return ResultSet((*few, *made_people.safety(), *empty, *made_queries.none()))


def suppressed() -> ResultSet:
    """Every number of people under 60 hidden, as the protected edition would bring it."""

    def hide(r: Result) -> Result:
        if r.n is None or r.n >= 60 or r.section == "over_time":
            return r
        return replace(r, n=None, hits=None, n_people=None, value=None, low=None, high=None, text=HIDDEN)

    rows = (*made_protocols.rows(), *made_quarter.rows(), *made_more.quarter())
    return ResultSet(tuple(told(hide(r)) for r in rows))
