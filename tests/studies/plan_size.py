"""Do cohorts of the size that `plan-size` asks for find the difference as often as it says?

    python -m tests.studies.plan_size DATE [draws] writes tests/studies/results/DATE_plan_size.md

For each row the smallest cohort is taken from pipeline.stats.plan_size and drawn: two protocols, everybody tested at
the same evenly spaced weeks, those lost tested once; level, slope and error normal. The mixed model (intercept and
slope of each person, level and slope of each protocol) is fitted and the difference of slopes tested with
Kenward-Roger degrees of freedom; with two tests a person, the changes by a t test. REML's variances do not depend on
the mean, so the true difference is added to the estimate of a fit of noise.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
from scipy.stats import t as student_t

from pipeline.stats import MixedModel, Varies
from pipeline.stats.formula import read_rows
from pipeline.stats.plan_size import Question, Size, Spread, size
from tests.studies.gate_power import RESULTS, SEED, Asked, power

LEVEL_SD = 20.0
#: difference, weeks, power, lost share, slope SD, SD of a test, tests each
CASES = (
    (6.0, 12.0, 0.8, 0.0, 7.0, 8.0, 2), (6.0, 12.0, 0.8, 0.0, 7.0, 8.0, 4), (6.0, 12.0, 0.9, 0.0, 7.0, 8.0, 7),
    (12.0, 12.0, 0.8, 0.0, 7.0, 8.0, 4), (20.0, 12.0, 0.8, 0.0, 7.0, 8.0, 4), (6.0, 12.0, 0.8, 0.25, 7.0, 8.0, 4),
    (8.0, 24.0, 0.8, 0.0, 5.0, 6.5, 5), (9.0, 12.0, 0.8, 0.2, 5.0, 12.0, 3), (9.0, 12.0, 0.8, 0.0, 5.0, 12.0, 3),
)  # fmt: skip
MODEL = MixedModel("y", "1 + t * arm", (Varies("who", "1 + t"),))


def cohort(found: Size, weeks: float, lost: int) -> pl.DataFrame:
    """Rows of the planned cohort: who, t (12-week units), arm, y (0); the last `lost` of each arm are tested once."""
    parts = []
    for arm in (0, 1):
        for k in range(found.people_each):
            tests = 1 if k >= found.people_each - lost else found.tests_each
            t = np.linspace(0, weeks / 12.0, found.tests_each)[:tests]
            parts.append(pl.DataFrame({"who": arm * found.people_each + k, "t": t, "arm": float(arm), "y": 0.0}))
    return pl.concat(parts)


def by_t_test(question: Question, spread: Spread, each: int, draws: int, seed: int) -> float:
    """Share of draws in which a t test of the changes from first to last finds the difference."""
    rng = np.random.Generator(np.random.PCG64(np.random.SeedSequence([SEED, seed])))
    unit = question.weeks / 12.0
    slope, test = (rng.standard_normal((draws, 2, each)) for _ in range(2))
    change = unit * spread.slope_sd * slope + np.sqrt(2.0) * spread.residual_sd * test
    change[:, 1] += question.difference
    apart = change[:, 1].mean(1) - change[:, 0].mean(1)
    error = np.sqrt((change.var(2, ddof=1).sum(1)) / each)
    return float(np.mean(apart > student_t.ppf(0.975, 2 * each - 2) * error))


def lines(draws: int, cases: tuple[tuple[Any, ...], ...] = CASES) -> Iterator[dict[str, Any]]:
    """One row a case: the size, the power that is promised, and the power that fits have."""
    for number, (difference, weeks, wanted, lost, slope_sd, test_sd, tests) in enumerate(cases):
        question, spread = Question(difference, weeks, wanted, lost=lost), Spread(slope_sd, test_sd)
        found = size(question, spread, tests)
        assert found is not None
        kept = (found.df + 2) // 2
        seen, failed, zero = by_t_test(question, spread, kept, draws, number), 0, list[bool]()
        if tests > 2:
            rows = read_rows(cohort(found, weeks, found.people_each - kept), MODEL)
            weights = np.array([[float(n == "t:arm") for n in rows.x.names]])
            one = Asked(rows, MODEL, ["t:arm"], weights, np.array([difference * 12.0 / weeks]), (LEVEL_SD, slope_sd),
                        test_sd)  # fmt: skip
            shares, _, failed = power(one, draws, number, zero)
            seen = float(shares[0])
        yield {"question": question, "spread": spread, "size": found, "power": seen, "failed": failed,
               "zero": 100 * float(np.mean(zero)) if zero else 0.0}


def page(date: str, draws: int, rows: list[dict[str, Any]], seconds: float) -> str:
    """The dated table."""
    off = [100 * (r["power"] - r["size"].power) for r in rows]
    table = "\n".join(
        f"| {r['question'].difference:g} | {r['question'].weeks:g} | {r['spread'].slope_sd:g} | "
        f"{r['spread'].residual_sd:g} | {100 * r['question'].lost:g} | {r['size'].tests_each} | "
        f"{r['size'].people_each} | {100 * r['size'].power:.1f} | {100 * r['power']:.1f} | {r['zero']:.0f} | "
        f"{r['failed']} |"
        for r in rows)  # fmt: skip
    return "\n\n".join([
        "# Sizes of a study, and the power that fits then have",
        f"`python -m tests.studies.plan_size {date} {draws}`, seed {SEED}, {draws} draws a row, {seconds:.0f} s. Monte "
        f"Carlo standard error {100 * np.sqrt(0.8 * 0.2 / draws):.2f} points.",
        "Difference of gains in cmH2O at the last week; SD of slopes in cmH2O per 12 weeks, of a test in cmH2O; lost: "
        "% of people tested once only. Two-sided 5 %, Kenward-Roger (two tests: t test of the changes).",
        "| difference | weeks | SD of slopes | SD of a test | lost, % | tests each | people each | power promised, % | "
        "power found, % | no spread of slopes, % | fits that failed |\n|---|---|---|---|---|---|---|---|---|---|---|\n"
        + table,
        f"Found less promised: {min(off):+.1f} to {max(off):+.1f} points. Where people's slopes differ little beside "
        "the error of a test, many fits find no spread of slopes and leave it out: those rows are furthest off, either "
        "way. People tested once tell a little of the levels, which is not counted on: more is found with them.",
    ]) + "\n"  # fmt: skip


def main(date: str, draws: str = "2000") -> None:
    """Run every case and write the table."""
    start = time.perf_counter()
    rows = list(lines(int(draws)))
    RESULTS.mkdir(exist_ok=True)
    path: Path = RESULTS / f"{date}_plan_size.md"
    path.write_text(page(date, int(draws), rows, time.perf_counter() - start), encoding="utf-8")


if __name__ == "__main__":
    main(*sys.argv[1:])
