"""Whether something changed from quarter to quarter, or only varies: one point a person, rules stated beforehand."""

from __future__ import annotations

from dataclasses import replace

import polars as pl

from pipeline.analyse.common import PRESSURES, Frames, Section, floats
from pipeline.analyse.earlier import SERIES
from pipeline.analyse.training import CAP
from pipeline.identity.quarters import label_of, number_of
from pipeline.results import ResultSet
from pipeline.stats.control_charts import chart_kind, false_signal_share, run_chart, xmr_limits, xmr_signals

BASE_POINTS = 12


def series(frames: Frames) -> dict[tuple[str, str], pl.DataFrame]:
    """Value and quarter of each person, by (statistic, group)."""
    tests = frames["model"].select(*SERIES, pl.col("tested_on").alias("at12_on"), "quarter")
    gains = frames["gains"].drop_nulls(["gain12_cmh2o", "at12_on"])
    gains = gains.join(tests, on=[*SERIES, "at12_on"], how="left", maintain_order="left")
    found = {
        ("median_gain12_cmh2o", f"pressure={p}"): gains.filter(pl.col("pressure") == p).select(
            "quarter", pl.col("gain12_cmh2o").alias("value")
        )
        for p in PRESSURES
    }
    quarters = frames["client_quarters"]
    for statistic, column in (("median_session_adherence_pct", "session_adherence_pct"),
                              ("median_in_band_pct", "in_band_pct")):  # fmt: skip
        found[statistic, "all"] = quarters.select("quarter", pl.col(column).clip(None, CAP).alias("value"))
    return found


def _points(section: Section, statistic: str, where: str, rows: pl.DataFrame, quarter: str) -> list[tuple[int, float]]:
    """Add one median a quarter, from the first with a value to the reported one, and give back those that are there."""
    rows = rows.filter(pl.col("quarter") <= quarter)
    if rows.is_empty():
        return []
    first, last = number_of(str(rows["quarter"].min())), number_of(quarter)
    points: list[tuple[int, float]] = []
    for ordinal, number in enumerate(range(first, last + 1), start=1):
        values = rows.filter(pl.col("quarter") == label_of(number))["value"]
        unit = "%" if statistic.endswith("_pct") else "cmH2O"
        found = section.median(statistic, where, values, unit, at=float(ordinal), of=values.len())
        section.rows[-1] = replace(found, text=label_of(number))
        if floats(values).size:
            points.append((ordinal, float(found.value or 0.0)))
    return points


def _judge(section: Section, statistic: str, where: str, points: list[tuple[int, float]]) -> None:
    """Add what the chart for this number of points says: nothing under 8, a run chart under 12, then XmR."""
    unit = "%" if statistic.endswith("_pct") else "cmH2O"
    named = f"measure={statistic}" + ("" if where == "all" else f";{where}")
    values = [v for _, v in points]
    kind = chart_kind(len(values))
    section.add("chart_kind", named, n=len(values), n_of="quarters", text=kind)
    if kind == "none":
        return
    many = {"n": len(values), "n_of": "quarters"}
    if kind == "run chart":
        found = run_chart(values)
        section.add("run_chart", named, **many, text="signal" if found.has_signal else "no signal", value=found.median,
                    unit=unit, note="below 12 points these rules can hardly fire")
        longest, fewest = float(found.longest_run_limit), float(found.fewest_crossings)
        section.add("longest_run", named, value=float(found.longest_run), high=longest, unit="points")
        section.add("crossings", named, value=float(found.crossings), low=fewest, unit="crossings")
        _false_signals(section, named, len(values))
        return
    limits = xmr_limits(values, base_points=BASE_POINTS)
    section.add("limits", named, **many, value=limits.center, low=limits.low, high=limits.high, unit=unit,
                method="individuals chart; limits fixed on the first 12 quarters, mean and 2.66 mean moving ranges")
    signals = xmr_signals(values, limits)
    for position, signal in enumerate(signals, start=1):
        section.add("signal", f"{named};number={position}", at=float(points[signal.last][0]), text=signal.rule,
                    value=float(points[signal.first][0]), unit="first quarter", note=f"{signal.side} side")
    word = "" if signals else "no signal"
    section.add("signals", named, **many, value=float(len(signals)), unit="signals", text=word)
    _false_signals(section, named, len(values))


def _false_signals(section: Section, named: str, points: int) -> None:
    share = false_signal_share(points)
    if share is not None:
        section.add("false_signal_pct", named, n=points, n_of="quarters", value=100.0 * share, unit="%",
                    note="share of stable series with a signal by now; a signal is weak evidence, its absence weaker")


def over_time(frames: Frames, quarter: str) -> ResultSet:
    """Section "over_time"."""
    section = Section("quarter", "over_time")
    for (statistic, where), rows in series(frames).items():
        points = _points(section, statistic, where, rows, quarter)
        if points:
            _judge(section, statistic, where, points)
        else:
            named = f"measure={statistic}" + ("" if where == "all" else f";{where}")
            section.state("No quarter has a value yet.", group=named)
    return section.done()
