"""The stalled rule over a whole cohort: frames in, one row per client and pressure out, in order of checking."""

from collections.abc import Mapping, Sequence
from typing import Any

import polars as pl

from pipeline.stats.stalled import Course, Verdict, judge
from pipeline.stats.stalled_rule import STATES, StalledRule

VERDICT_COLUMNS = {
    "client_key": pl.String,
    "pressure": pl.String,
    "state": pl.String,
    "reason": pl.String,
    "gain_verdict": pl.String,
    "gain_cmh2o": pl.Float64,
    "gain_std_error_cmh2o": pl.Float64,
    "target_gain_cmh2o": pl.Float64,
    "learning_allowance_cmh2o": pl.Float64,
    "probability_below_target": pl.Float64,
    "shortfall_z": pl.Float64,
    "slope_verdict": pl.String,
    "slope_cmh2o_per_week": pl.Float64,
    "slope_std_error": pl.Float64,
    "slope_low": pl.Float64,
    "slope_high": pl.Float64,
    "slope_tests": pl.Int64,
    "slope_window_weeks": pl.Float64,
    "power_if_flat": pl.Float64,
    "goal_reached": pl.Boolean,
    "tests": pl.Int64,
    "last_test_week": pl.Float64,
    "next_test_week": pl.Int64,
    "next_test_power": pl.Float64,
    "next_test_chance_gain_settles": pl.Float64,
}


def _row(verdict: Verdict) -> list[Any]:
    gain, slope, window, plan = verdict.gain, verdict.slope, verdict.slope.window, verdict.next_test
    seen = (window.slope, window.std_error, slope.low, slope.high, window.tests, window.window_weeks) if window else ()
    planned = (plan.week, plan.power_if_flat, plan.chance_gain_settles) if plan else ()
    return [
        verdict.state, verdict.reason,
        gain.verdict, gain.gain, gain.std_error, gain.target, gain.allowance, gain.below_target, gain.shortfall_z,
        slope.verdict, *(seen or (None,) * 6), slope.power_if_flat,
        verdict.goal_reached, verdict.tests, verdict.last_test_week, *(planned or (None,) * 3),
    ]  # fmt: skip


def _course(
    client: Mapping[str, Any], tests: Sequence[tuple[float, float]], sds: float | list[float], rule: StalledRule
) -> Course:
    target, allowance = client.get("target_gain_cmh2o"), client.get("learning_allowance_cmh2o")
    return Course(
        weeks=[week for week, _ in tests],
        values=[value for _, value in tests],
        residual_sd=sds,
        look_week=client["look_week"],
        gain=client.get("gain_cmh2o"),
        gain_std_error=client.get("gain_std_error_cmh2o"),
        target=rule.target_cmh2o(client["pressure"]) if target is None else target,
        allowance=rule.allowance_cmh2o if allowance is None else allowance,
        aim=client.get("aim"),
        goal=client.get("goal_cmh2o"),
        lower_limit_reached=bool(client.get("lower_limit_reached")),
        obstacle=client.get("obstacle"),
    )


def judge_clients(
    clients: pl.DataFrame, tests: pl.DataFrame, rule: StalledRule, *, residual_sd_cmh2o: Mapping[str, float]
) -> pl.DataFrame:
    """Judge every client and pressure: one row each, sorted by both, columns VERDICT_COLUMNS.

    clients: client_key, pressure, look_week, and where known gain_cmh2o, gain_std_error_cmh2o, target_gain_cmh2o,
    learning_allowance_cmh2o (null: the rule's), aim, goal_cmh2o, lower_limit_reached, obstacle. tests: one row per
    comparable test day with client_key, pressure, week, value_cmh2o, and residual_sd_cmh2o where the error grows with
    the level; else the pooled SD of the pressure from ``residual_sd_cmh2o``. A missing column counts as not recorded.
    Tests of nobody in ``clients`` are left out; raises KeyError for a pressure without an SD.
    """
    own = "residual_sd_cmh2o" in tests.columns
    columns = ["client_key", "pressure", "week", "value_cmh2o", *(["residual_sd_cmh2o"] if own else [])]
    by_client: dict[tuple[str, str], list[tuple[float, ...]]] = {}
    for key, pressure, *test in tests.select(columns).sort("client_key", "pressure", "week").iter_rows():
        by_client.setdefault((key, pressure), []).append(tuple(test))
    rows = []
    for client in clients.sort("client_key", "pressure").iter_rows(named=True):
        found = by_client.get((client["client_key"], client["pressure"]), [])
        sds = [test[2] for test in found] if own else residual_sd_cmh2o[client["pressure"]]
        verdict = judge(_course(client, [(test[0], test[1]) for test in found], sds, rule), rule)
        rows.append([client["client_key"], client["pressure"], *_row(verdict)])
    return pl.DataFrame(rows, schema=VERDICT_COLUMNS, orient="row")


def order_of_checking(verdicts: pl.DataFrame) -> pl.DataFrame:
    """Sort verdicts into a worklist and add ``checking_rank`` (from 1; equal evidence shares a rank).

    By state as in STATES, then by evidence: for falling, slope ÷ SE; else the shortfall ÷ its SE, both to one decimal
    so that noise does not rank people; ties by the longest time since the last test, then by key. An order of
    checking, not a ranking of people.
    """
    falling = pl.col("state") == STATES[0]
    evidence = pl.when(falling).then(-pl.col("slope_cmh2o_per_week") / pl.col("slope_std_error"))
    state_no = pl.col("state").replace_strict({state: no for no, state in enumerate(STATES)}, return_dtype=pl.Int64)
    worklist = verdicts.with_columns(
        state_no.alias("_state"),
        evidence.otherwise(pl.col("shortfall_z")).fill_null(-99.0).round(1).alias("_evidence"),
    )
    ranked = worklist.with_columns(
        pl.struct(pl.col("_state"), -pl.col("_evidence")).rank("min").cast(pl.Int64).alias("checking_rank")
    )
    return ranked.sort("checking_rank", "last_test_week", "client_key", "pressure", nulls_last=True).drop(
        "_state", "_evidence"
    )
