"""Results from the sums of an engine, for tables that stay there: what needs coefficients and counts, and no row."""

from __future__ import annotations

from datetime import date

import polars as pl

from pipeline.analyse.across import sums_across
from pipeline.analyse.can_answer import LOGGED_BY, Held, can_answer, told
from pipeline.analyse.common import PRESSURES, Section, group, join
from pipeline.analyse.fits import Models
from pipeline.analyse.gains import modelled
from pipeline.analyse.plans import limits_to_consent
from pipeline.analyse.protocol_models import difference, dose_response, fitted
from pipeline.analyse.sums_fits import fit_pressure_from_sums
from pipeline.analyse.sums_rows import Summing
from pipeline.contract.sql import literal, literals
from pipeline.identity.quarters import last_day
from pipeline.results import ResultSet
from pipeline.settings import Settings

AGREED = "people who agreed to research use"
"""Whom a plan takes, where not everybody."""


def _held(engine: Summing, quarter: str, until: date) -> Held:
    """Ask for the data in hand at the end of a quarter, as `earlier.until_quarter` takes them."""
    end, known = f"date {literal(last_day(quarter).isoformat())}", f"quarter <= {literal(quarter)}"
    courses = engine.ask(
        "with seen as (select q.client_key, q.course_no, 1 as one from frames.client_quarters as q "
        f"where q.{known} group by q.client_key, q.course_no) "
        "select min(c.from_on) as from_on, max(c.last_on) as last_on, count(*) as n, count(distinct c.client_key) as "
        "people from frames.courses as c left join seen as s on s.client_key = c.client_key and "
        f"s.course_no = c.course_no where c.from_on <= {end} or s.one = 1")
    tests = engine.ask("select count(*) as n, count(distinct t.client_key) as people from frames.test_days as t "
                       f"where t.tested_on <= {end}").sum()
    weeks = engine.ask("select count(*) as n, count(distinct w.client_key) as people from frames.client_weeks as w "
                       f"where w.{known} and w.logged_by in {literals(LOGGED_BY)}").sum()
    first, last = courses["from_on"].min(), courses["last_on"].max()
    return Held(first if isinstance(first, date) else None, min(last if isinstance(last, date) else until,
                last_day(quarter)), int(courses["people"].sum()), int(courses["n"].sum()), int(tests["n"][0]),
                int(tests["people"][0]), int(weeks["n"][0]), int(weeks["people"][0]))  # fmt: skip


def _gains(models: Models) -> ResultSet:
    """Of section "gains" what the model says."""
    section = Section("quarter", "gains")
    for pressure, found in models.items():
        modelled(section, found, group(pressure=pressure))
    return section.done()


def _taken() -> ResultSet:
    """That a plan takes those only who agreed to research use: the rows of the plan, which say so, need single rows."""
    section = Section("protocols", "fitted")
    section.add("taken", text=AGREED)
    return section.done()


def analyse_sums(engine: Summing, plans: pl.DataFrame, settings: Settings, quarter: str, until: date) -> ResultSet:
    """Compute what can be told of a quarter from sums, under the names that `analyse` gives it.

    plans: the registrations (received.plans); until: the last day the data speak for.
    """
    taken = limits_to_consent({"plans": plans})
    everybody = {p: fit_pressure_from_sums(engine, p, quarter, settings, whole=not taken) for p in PRESSURES}
    models = {p: fit_pressure_from_sums(engine, p, quarter, settings, consented_only=True) for p in PRESSURES
              } if taken else everybody  # fmt: skip
    whole = join([told(_held(engine, quarter, until), quarter), can_answer(everybody), _gains(everybody),
                  fitted(models, settings), *([_taken()] if taken else []), difference(models, settings),
                  dose_response(models)])  # fmt: skip
    return ResultSet(whole.rows, whole.partitions + sums_across(whole.rows))
