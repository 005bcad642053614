"""The series behind a worklist card, as client rows: tests and fitted curve, settings, effort, weekly dose, pauses."""

from __future__ import annotations

from datetime import date

import polars as pl

from pipeline.analyse.common import Section
from pipeline.analyse.fits import PressureModels
from pipeline.analyse.stalled_evidence import Records
from pipeline.stats import predict

WEEKLY = (
    ("setting_in", "inhale_setting_median", "setting"), ("setting_out", "exhale_setting_median", "setting"),
    ("effort", "effort_median", "0-10"), ("weekly_adherence", "adherence_pct", "%"),
)  # fmt: skip


def fitted_curves(models: PressureModels) -> pl.DataFrame:
    """Each person's own curve at their tests: client_key, week, fitted_cmh2o; empty without a model."""
    primary = models.working("primary") or models.working("as_delivered")
    if primary is None or primary.fit is None or primary.look is None:
        return pl.DataFrame(schema={"client_key": pl.String, "week": pl.Float64, "fitted_cmh2o": pl.Float64})
    rows = primary.look.frame
    return rows.select("client_key", "week").with_columns(predict(primary.fit, rows)["estimate"].alias("fitted_cmh2o"))


def add_pressure_series(section: Section, group: str, records: Records, curve: pl.DataFrame, sem: float) -> None:
    """Tests (low and high: one person's measurement error, 95 %), broken series included, and the model's curve."""
    for week, value, broken in records.tests.select("week", "best_cmh2o", "break_reason").iter_rows():
        section.add("test_value", group, at=round(week, 2), value=value, low=value - 1.96 * sem,
                    high=value + 1.96 * sem, unit="cmH2O", text=f"after a change of {broken}" if broken else "",
                    n=1, n_of="tests", klass="client")  # fmt: skip
    for week, value in curve.sort("week").select("week", "fitted_cmh2o").iter_rows():
        section.add("fitted", group, at=round(week, 2), value=value, unit="cmH2O", klass="client")


def add_training_series(section: Section, client_key: str, records: Records, week0_on: date) -> None:
    """Weekly settings, effort and dose; pauses and events on the same axis of weeks."""
    done, due = pl.col("sessions_done"), pl.col("sessions_prescribed")
    weeks = records.weeks.with_columns((100.0 * done / pl.when(due > 0).then(due)).alias("adherence_pct"))
    for statistic, column, unit in WEEKLY:
        rows = weeks.filter(pl.col(column).is_not_null()).select("week_no", column, "effort_low", "effort_high")
        for week, value, *band in rows.iter_rows():
            low, high = band if statistic == "effort" else (None, None)
            section.add(statistic, client_key, at=float(week), value=float(value), low=low, high=high, unit=unit,
                        klass="client", note="low and high: the band in force" if low is not None else "")  # fmt: skip
    for start, end, reason in records.pauses.select("from_on", "until_on", "reason").iter_rows():
        at, until = (round((day - week0_on).days / 7, 2) for day in (start, end or start))
        if not any(r.statistic == "pause" and r.group == client_key and r.at == at for r in section.rows[-8:]):
            section.add("pause", client_key, at=at, high=until, text=reason.replace("_", " "), klass="client")
    told: dict[float, list[str]] = {}
    for week, kind in records.events.select("week", "kind").drop_nulls().iter_rows():
        told.setdefault(round(week, 2), []).append(kind.replace("_", " "))
    for at, kinds in sorted(told.items()):
        section.add("event", client_key, at=at, text=", ".join(kinds), klass="client")
