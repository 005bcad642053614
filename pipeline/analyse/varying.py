"""What varies from test to test: easing, pauses, illness, weeks since the last session and wellbeing, as terms.

Each looks back only and is 0 at the baseline, so a coefficient is an association with what was known before the test.
"""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from pipeline.analyse.common import Section
from pipeline.analyse.effects import put
from pipeline.analyse.fits import Fitted, PressureModels, run
from pipeline.settings import Settings


@dataclass(frozen=True)
class Varying:
    """One term as it is printed: its name in TERMS, its column, and the amount of it that a coefficient is told for."""

    term: str
    column: str
    scale: float
    per: str


RECORDED = (
    Varying("eased", "eased_share", 0.1, "10 points more of the sessions since the last test eased"),
    Varying("held", "held_weeks", 1.0, "one more week held since the last test, illness aside"),
    Varying("illness", "illness_weeks", 1.0, "one more week of illness since the last test"),
    Varying("away", "weeks_away", 1.0, "one more week since the last session"),
)
"""Fitted together; wellbeing, which many do not record, is added to them in a second fit."""
WELLBEING = Varying("wellbeing", "wellbeing_more", 1.0, "one point more wellbeing before sessions than at first")


def with_varying(rows: pl.DataFrame) -> pl.DataFrame:
    """Prepared rows with the columns of the terms; null where a row does not tell, 0 at the baseline.

    wellbeing_more: mean before the sessions since the last test, less the person's own mean of the first interval that
    has one (points of 0-10).
    """
    rows = rows.sort("client_key", "tested_on")
    first = pl.col("wellbeing_interval").drop_nulls().first().over("client_key")
    told = {
        "eased_share": pl.col("eased_share_interval"),
        "held_weeks": pl.col("held_days_interval") / 7.0,
        "illness_weeks": pl.col("illness_days_interval") / 7.0,
        "weeks_away": pl.col("weeks_since_session"),
        "wellbeing_more": pl.col("wellbeing_interval") - first,
    }
    return rows.with_columns(pl.when(pl.col("is_baseline")).then(0.0).otherwise(e).alias(c) for c, e in told.items())


def fit_varying(found: PressureModels, settings: Settings) -> dict[str, Fitted]:
    """The primary model with the recorded terms, and with wellbeing as well; terms that never vary are left out."""
    primary = found.working("primary")
    if primary is None or found.gate is None or "dose" not in found.gate.recipe.terms:
        return {}
    rows, fits = with_varying(found.rows), {}
    for name, wanted in (("recorded", RECORDED), ("wellbeing", (*RECORDED, WELLBEING))):
        used = [v.term for v in wanted if rows[v.column].drop_nulls().n_unique() > 1]
        fits[name] = run(f"varying_{name}", rows, found.gate.recipe.having(*used), settings)
    return fits


def varying(section: Section, found: PressureModels, settings: Settings) -> None:
    """Add the coefficient of each term in cmH2O with its interval, df and the people and tests behind it."""
    fits = fit_varying(found, settings)
    for one in (*RECORDED, WELLBEING):
        where = f"pressure={found.pressure};term={one.term}"
        fit = fits.get("wellbeing" if one is WELLBEING else "recorded")
        read = fit.term(one.column, one.scale) if fit is not None and fit.works else None
        if fit is None or read is None:
            section.add("varying_cmh2o", where, unit="cmH2O", text="not recorded, or the model cannot give this",
                        note=one.per)  # fmt: skip
            continue
        put(section, "varying_cmh2o", where, read, note=one.per, n=fit.rows.height, n_of="tests", n_people=fit.people)
        section.add("varying_df", where, value=read.df, unit="df", n=fit.rows.height, n_of="tests", n_people=fit.people,
                    method="degrees of freedom of that coefficient, Kenward-Roger")  # fmt: skip
