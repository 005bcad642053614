"""Whether something changed from quarter to quarter, or only varies: one point a person, rules stated beforehand."""

from __future__ import annotations

from dataclasses import dataclass, replace
from statistics import median

import polars as pl

from pipeline.analyse.common import FEW, PRESSURES, Frames, Section
from pipeline.analyse.earlier import SERIES
from pipeline.analyse.training import CAP
from pipeline.identity.quarters import label_of, number_of
from pipeline.results import ResultSet
from pipeline.settings import Settings
from pipeline.stats.control_charts import chart_kind, false_signal_share, run_chart, xmr_limits, xmr_signals

BASE_POINTS = 12
HOLLOW = "fewer than 11 people: drawn hollow, in no limit and no rule"


def _of_gains(frames: Frames) -> pl.DataFrame:
    """12-week gains of first courses, each in the quarter of its 12-week test: a person counts once."""
    tests = frames["model"].select(*SERIES, pl.col("tested_on").alias("at12_on"), "quarter")
    first = frames["courses"].filter(pl.col("is_primary")).select("client_key", "course_no")
    gains = frames["gains"].drop_nulls(["gain12_cmh2o", "at12_on"]).join(first, on=["client_key", "course_no"],
                                                                          how="semi")  # fmt: skip
    return gains.join(tests, on=[*SERIES, "at12_on"], how="left", maintain_order="left")


def of_quarters(frames: Frames, column: str) -> pl.DataFrame:
    """A share of client_quarters (%, capped at 100), one row a person and quarter: of two courses the later one."""
    rows = frames["client_quarters"].sort("client_key", "quarter", "course_no")
    last = rows.unique(["client_key", "quarter"], keep="last", maintain_order=True)
    return last.select("quarter", "site", pl.col(column).clip(None, CAP).alias("value"))


def series(frames: Frames) -> dict[tuple[str, str], pl.DataFrame]:
    """Value, quarter and site of each person, by (statistic, group)."""
    gains = _of_gains(frames)
    found = {("median_gain12_cmh2o", f"pressure={p}"): gains.filter(pl.col("pressure") == p).select(
        "quarter", "site", pl.col("gain12_cmh2o").alias("value")) for p in PRESSURES}  # fmt: skip
    for statistic, column in (("median_session_adherence_pct", "session_adherence_pct"),
                              ("median_in_band_pct", "in_band_pct")):  # fmt: skip
        found[statistic, "all"] = of_quarters(frames, column)
    return found


@dataclass(frozen=True)
class _Measure:
    """One series: its statistic and group, and the name under which it is judged."""

    statistic: str
    where: str

    @property
    def named(self) -> str:
        return f"measure={self.statistic}" + ("" if self.where == "all" else f";{self.where}")

    @property
    def unit(self) -> str:
        return "%" if self.statistic.endswith("_pct") else "cmH2O"


Points = list[tuple[int, float]]


def _points(section: Section, measure: _Measure, rows: pl.DataFrame, quarter: str, fewest: int) -> Points:
    """Add one median a quarter, from the first with a value to the reported one; give back those that are judged.

    A quarter with fewer than `fewest` people is shown and takes no part in limits and rules.
    """
    rows = rows.filter(pl.col("quarter") <= quarter)
    if rows.is_empty():
        return []
    first, last = number_of(str(rows["quarter"].min())), number_of(quarter)
    points: Points = []
    for ordinal, number in enumerate(range(first, last + 1), start=1):
        values = rows.filter(pl.col("quarter") == label_of(number))["value"]
        found = section.median(measure.statistic, measure.where, values, measure.unit, at=float(ordinal),
                               of=values.len())  # fmt: skip
        known = values.drop_nulls().len()
        note = HOLLOW if 0 < known < fewest else found.note
        section.rows[-1] = replace(found, text=label_of(number), note=note)
        if known >= fewest:
            points.append((ordinal, float(found.value or 0.0)))
    return points


def _judge(section: Section, measure: _Measure, points: Points) -> None:
    """Add what the chart for this number of points says: nothing under 8, a run chart under 12, then XmR."""
    values, named = [v for _, v in points], measure.named
    kind = chart_kind(len(values))
    many = {"n": len(values), "n_of": "quarters"}
    section.add("chart_kind", named, **many, text=kind)
    if kind == "xmr":
        _xmr(section, measure, points)
    elif values:
        section.add("median_of_quarters", named, **many, value=float(median(values)), unit=measure.unit,
                    method="median of the quarters' medians")
    if kind == "run chart":
        _run(section, measure, values)
    share = false_signal_share(len(values))
    if share is not None:
        section.add("false_signal_pct", named, **many, value=100.0 * share, unit="%",
                    note="share of stable series with a signal by now; a signal is weak evidence, its absence weaker")


def _run(section: Section, measure: _Measure, values: list[float]) -> None:
    found, named = run_chart(values), measure.named
    section.add("run_chart", named, n=len(values), n_of="quarters", text="signal" if found.has_signal else "no signal",
                value=found.median, unit=measure.unit, note="below 12 points these rules can hardly fire")
    longest, fewest = float(found.longest_run_limit), float(found.fewest_crossings)
    section.add("longest_run", named, value=float(found.longest_run), high=longest, unit="points")
    section.add("crossings", named, value=float(found.crossings), low=fewest, unit="crossings")


def _xmr(section: Section, measure: _Measure, points: Points) -> None:
    values, named = [v for _, v in points], measure.named
    limits = xmr_limits(values, base_points=BASE_POINTS)
    many = {"n": len(values), "n_of": "quarters"}
    section.add("limits", named, **many, value=limits.center, low=limits.low, high=limits.high, unit=measure.unit,
                method="individuals chart; limits fixed on the first 12 quarters: mean and 3/d2 mean moving ranges")
    signals = xmr_signals(values, limits)
    for position, signal in enumerate(signals, start=1):
        section.add("signal", f"{named};number={position}", at=float(points[signal.last][0]), text=signal.rule,
                    value=float(points[signal.first][0]), unit="first quarter", note=f"{signal.side} side")
    section.add("signals", named, **many, value=float(len(signals)), unit="signals",
                text="" if signals else "no signal")


def _aim(section: Section, measure: _Measure, points: Points, settings: Settings) -> None:
    """Add in how many quarters the median gain reached the target of the settings: a count, and no rule."""
    target = {"pressure=mip": settings.mip_target_gain_cmh2o, "pressure=mep": settings.mep_target_gain_cmh2o}
    aim = target.get(measure.where, 0.0)
    if aim > 0 and points:
        section.add("aim_cmh2o", measure.named, value=aim, unit="cmH2O", method="target gain of the settings")
        section.add("aim_reached", measure.named, value=float(sum(v >= aim for _, v in points)), unit="quarters",
                    n=len(points), n_of="quarters", n_people=0)


def over_time(frames: Frames, quarter: str, settings: Settings) -> ResultSet:
    """Section "over_time". Quarters with 10 people or fewer (more if the settings say so) are not judged."""
    section = Section("quarter", "over_time")
    fewest = max(FEW, settings.small_cell_max) + 1
    for (statistic, where), rows in series(frames).items():
        measure = _Measure(statistic, where)
        before = len(section.rows)
        points = _points(section, measure, rows, quarter, fewest)
        if len(section.rows) == before or all(r.value is None for r in section.rows[before:]):
            section.state("No quarter has a value yet.", group=measure.named)
        else:
            _judge(section, measure, points)
            _aim(section, measure, points, settings)
    return section.done()
