"""The rows of a model as SQL, for an engine that keeps them: what `design.prepared` and its kin do to a frame, as text.

Portable forms only (tests/sql). A question's answer is small; an engine that works in slices of clients answers with
the rows of every slice, so that every answer is made of counts and sums, which add up.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Protocol

import polars as pl

from pipeline.analyse.design import FEWEST_IN_A_LEVEL, WEEKS, TimeForm
from pipeline.analyse.plans import CONSENTED
from pipeline.analyse.who import LATE_WEEK, PAST_12_WEEKS
from pipeline.contract.sql import literal, literals
from pipeline.stats.plain_terms import Factor

DAYS_IN_12_WEEKS = 84
AGE, DECADE = 65.0, 10.0


class Summing(Protocol):
    """An engine that holds the derived tables and answers in sums."""

    def make(self, name: str, sql: str) -> None:
        """Make a table from one SELECT; it stays there."""

    def ask(self, sql: str) -> pl.DataFrame:
        """Answer one SELECT; rows of slices stand one after the other."""


def number(value: float) -> str:
    """A number as a DOUBLE: a plain 0.5 would be a DECIMAL, which divides otherwise on another engine."""
    text = repr(float(value))
    return text if "e" in text else f"{text}e0"


def tests_of(pressure: str, quarter: str, *, consented_only: bool = False) -> str:
    """Table and condition of the rows that `prepared` keeps, as known at the end of a quarter; consented_only: of the
    people who agreed to research use (plans.taken)."""
    agreed = ("semi join (select c.client_key from frames.courses as c "
              f"where c.research_consent = {literal(CONSENTED)}) as a on a.client_key = m.client_key "
              ) if consented_only else ""  # fmt: skip
    return (f"frames.model as m {agreed}where m.pressure = {literal(pressure)} and m.is_primary "
            "and m.value_cmh2o is not null and m.week is not null "
            f"and (m.quarter is null or m.quarter <= {literal(quarter)})")


def values_of(column: str, source: str) -> str:
    """How often each value of a column stands in the rows."""
    return f"select m.{column} as value, count(*) as n from {source} and m.{column} is not null group by m.{column}"


def people_of(column: str, source: str) -> str:
    """People by label of a column; null is a label."""
    return f"select m.{column} as label, count(distinct m.client_key) as people from {source} group by m.{column}"


def median(values: pl.DataFrame) -> float | None:
    """Median of values that stand `n` times each; None of nothing."""
    told = values.group_by("value").agg(pl.col("n").sum()).sort("value")
    total = int(told["n"].sum())
    if not total:
        return None
    upto = told["n"].cum_sum()
    low, high = (float(told.filter(upto > place)["value"][0]) for place in ((total - 1) // 2, total // 2))
    return (low + high) / 2


def rare(people: pl.DataFrame) -> list[str]:
    """Labels that join "other" in a model, sorted: see `design.prepared`."""
    told = people.drop_nulls("label").group_by("label").agg(pl.col("people").sum())
    return sorted(told.filter(pl.col("people") < FEWEST_IN_A_LEVEL)["label"].to_list())


@dataclass(frozen=True)
class Known:
    """What the rows of a pressure have to be asked before they can be prepared."""

    age: float
    efforts: float
    rare_sexes: tuple[str, ...]
    rare_conditions: tuple[str, ...]


def _merged(column: str, labels: Collection[str]) -> str:
    or_rare = f" or m.{column} in {literals(labels)}" if labels else ""
    return f"case when m.{column} is null{or_rare} then 'other' else m.{column} end as {column}"


def prepared_rows(source: str, known: Known) -> str:
    """One row a test, as a model reads it: `design.prepared`, the next interval's dose, the measured baseline; `days`
    and `time12` since the start are 0 at the baseline."""
    person = "partition by m.client_key"
    in_order = f"{person} order by m.tested_on"
    kept, age = number(known.efforts), number(known.age)
    return (
        f"with seen as (select m.client_key, m.site, m.protocol, m.assigned_by, {_merged('sex', known.rare_sexes)}, "
        f"{_merged('condition_group', known.rare_conditions)}, m.tested_on, m.is_baseline, m.value_cmh2o, "
        "case when m.is_baseline then 0 else greatest(cast(floor(m.week * 7e0 + 5e-1) as bigint), 0) end as days, "
        f"(coalesce(cast(m.age_years as double), {age}) - {number(AGE)}) / {number(DECADE)} as age_10, "
        f"coalesce(cast(m.efforts_kept as double), {kept}) - {kept} as efforts_more, "
        "m.dose_d, m.dose_d_low, m.dose_d_high, m.effort_e, m.between_dose, m.within_dose, "
        f"sum(m.interval_adherence) over ({person}) / nullif(count(m.interval_adherence) over ({person}), 0) as mean, "
        f"lead(m.interval_adherence) over ({in_order}) as ahead, lead(m.interval_weeks) over ({in_order}) as weeks, "
        f"max(case when m.is_baseline then m.value_cmh2o end) over ({person}) as baseline_cmh2o from {source}) "
        "select s.client_key, s.site, s.protocol, s.assigned_by, s.sex, s.condition_group, s.is_baseline, "
        f"s.value_cmh2o, s.days, cast(s.days as double) / {number(DAYS_IN_12_WEEKS)} as time12, s.age_10, "
        "s.efforts_more, s.dose_d, s.dose_d_low, s.dose_d_high, s.effort_e, s.between_dose, s.within_dose, "
        f"(s.ahead - s.mean) * s.weeks / {number(WEEKS)} as lead_dose, s.baseline_cmh2o from seen as s"
    )


def mixes(source: str) -> str:
    """The frame of `Who`, of rows made by `prepared_rows`."""
    labels = "r.protocol, r.site, r.sex, r.condition_group"
    last = "max(r.days) as last"
    past, late = (f"e.last >= {int(7 * week)}" for week in (PAST_12_WEEKS, LATE_WEEK))
    keys = "e.protocol, e.site, e.sex, e.condition_group, e.tests"
    return (f"with each as (select r.client_key, {labels}, count(*) as tests, {last} from {source} "
            f"group by r.client_key, {labels}) select {keys}, {past} as past_12, {late} as late, count(*) as people "
            f"from each as e group by {keys}, {past}, {late}")


def time_columns(form: TimeForm) -> dict[str, str]:
    """SQL of the columns of a time form over r.time12: `TimeForm.columns`, `natural_spline`."""
    if form.kind != "spline":
        # a rung's model has no other form
        one = {"linear": "r.time12", "log": f"ln(1e0 + {number(WEEKS)} * r.time12)"}
        return {"time_1": one[form.kind]}
    knots = [k / WEEKS for k in form.knots_weeks]

    def slope(knot: float) -> str:
        cubes = [f"greatest(r.time12 - {number(k)}, 0e0)" for k in (knot, knots[-1])]
        return f"({' - '.join(f'{c} * {c} * {c}' for c in cubes)}) / {number(knots[-1] - knot)}"

    found = [f"r.time12 - {number(knots[0])}", *(f"{slope(k)} - {slope(knots[-2])}" for k in knots[:-2])]
    return dict(zip(form.names, found, strict=True))


def product(factors: tuple[Factor, ...], named: Mapping[str, str]) -> str:
    """SQL of one column of a design: the product of its factors. named: SQL of those that are no column of the rows."""
    told = [f"case when r.{name} = {literal(level)} then 1e0 else 0e0 end" if level is not None
            else named.get(name, f"r.{name}") for name, level in factors]
    return " * ".join(f"({text})" for text in told) or "1e0"
