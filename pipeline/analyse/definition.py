"""The shape of a definition: what a number is, how it is got, from which tables and settings, and where that stands."""

from __future__ import annotations

from dataclasses import dataclass

OURS = "a definition of ours"


@dataclass(frozen=True)
class Definition:
    """One definition. `names`: report.section.statistic of each result it covers, or a word such as "dose".

    inputs: tables of the schema frames; settings: names of `pipeline.settings.Settings`; where: the SQL file
    ("sql/quantities/gains.sql") or function ("pipeline/analyse/gains.py:gains") in which it stands. unit: for results
    whose rows do not name theirs.
    """

    names: tuple[str, ...]
    what: str
    formula: str
    inputs: tuple[str, ...]
    where: tuple[str, ...]
    settings: tuple[str, ...] = ()
    source: str = OURS
    unit: str = ""


def define(
    section: str, statistics: str, what: str, formula: str, *, inputs: str, where: str, settings: str = "",
    source: str = OURS, unit: str = "",
) -> Definition:  # fmt: skip
    """A definition of several statistics of one section; names, inputs, places and settings parted by blanks."""
    names = tuple(f"{section}.{name}" if section else name for name in statistics.split())
    return Definition(names, what, formula, tuple(inputs.split()), tuple(where.split()), tuple(settings.split()),
                      source, unit)  # fmt: skip
