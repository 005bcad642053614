"""What the stalled rule does to people of known kinds: share called stalled at week 24, and wrongly called falling.

    python -m tests.studies.stalled_rule --cohorts 40 --seed 20260401

Cohorts of 240 of a declared mix of kinds; SD of the level between people 20 cmH2O; error of one test 8 cmH2O, constant
or in proportion to the person's level (mean 75). Learning on top: none, half or all of 13.6·(1 − 0.696^(k−1)) cmH2O at
test k (curve through Larson 1993, Chest 104:448-53). Gain from a fitted curve with random level and slope, slope
with the pooled error, one look at week 24, by pipeline.stats.stalled as shipped. Each flag is judged with a learning
allowance of 0, 4.5 and 9 cmH2O. Writes results/stalled_rule.csv and .md.
"""

import argparse
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import polars as pl

from pipeline.stats.stalled import Course, judge
from pipeline.stats.stalled_rule import StalledRule
from pipeline.stats.window_slope import sd_at_level
from tests.studies.stalled_fit import fit

RESULTS = Path(__file__).parent / "results"
PEOPLE, LEVEL_MEAN, LEVEL_SD, ERROR_SD = 240, 75.0, 20.0, 8.0
TARGET, PACE = 17.0, 17 / 12
KINDS = {"steady 1.42/wk": 0.25, "slow 0.5/wk": 0.15, "saturating": 0.30, "rose 12 wk, then flat": 0.15, "flat": 0.15}
RHYTHMS = ("2-weekly", "4-weekly", "gaps 2-6 wk")
LEARNING = {"none": 0.0, "half": 0.5, "full": 1.0}
ERRORS = ("constant", "with level")
ALLOWANCES = (0.0, 4.5, 9.0)


@dataclass(frozen=True)
class Cohort:
    """People by tests: weeks, values in cmH2O, which tests took place, and each person's kind and error SD."""

    kinds: np.ndarray
    weeks: np.ndarray
    values: np.ndarray
    there: np.ndarray


def true_gain(kind: str, weeks: np.ndarray) -> np.ndarray:
    """True gain by training in cmH2O at these weeks; "saturating" ends 22 cmH2O up, half of it within 4.2 weeks."""
    return {
        "steady 1.42/wk": PACE * weeks,
        "slow 0.5/wk": 0.5 * weeks,
        "saturating": 22 * (1 - np.exp(-weeks / 6)),
        "rose 12 wk, then flat": PACE * np.minimum(weeks, 12),
        "flat": 0 * weeks,
    }[kind]


def _weeks(rhythm: str, rng: np.random.Generator) -> np.ndarray:
    if rhythm == "gaps 2-6 wk":
        weeks = np.concatenate([[0], np.cumsum(rng.integers(2, 7, 12))])
        return weeks[weeks <= 24].astype(float)
    return np.arange(0.0, 25.0, 2.0 if rhythm == "2-weekly" else 4.0)


def cohort(rhythm: str, learning: float, error: str, rng: np.random.Generator) -> Cohort:
    """Draw one cohort; the shares of KINDS are exact, the people of a kind are not told apart otherwise."""
    kinds = np.repeat(list(KINDS), [round(share * PEOPLE) for share in KINDS.values()])
    weeks, values, there = (np.zeros((PEOPLE, 13)) for _ in range(3))
    for i, kind in enumerate(kinds):
        when = _weeks(rhythm, rng)
        n = len(when)
        level = max(rng.normal(LEVEL_MEAN, LEVEL_SD), 25.0)
        learned = learning * 13.6 * (1 - 0.696 ** np.arange(n))
        true = level + true_gain(str(kind), when) + learned
        sd = ERROR_SD * true / LEVEL_MEAN if error == "with level" else np.full(n, ERROR_SD)
        weeks[i, :n], values[i, :n], there[i, :n] = when, true + rng.normal(0, sd), 1
    return Cohort(kinds, weeks, values, there)


def verdicts(people: Cohort, error: str) -> Iterator[tuple[str, float, str]]:
    """Judge every person of a cohort by each allowance: kind, allowance in cmH2O, state."""
    fitted = fit(people.weeks, people.values, people.there)
    overall = people.values.sum() / people.there.sum()
    for i, kind in enumerate(people.kinds):
        seen = people.there[i] > 0
        weeks, values = people.weeks[i, seen].tolist(), people.values[i, seen].tolist()
        level = sum(values) / len(values)
        sd = sd_at_level(fitted.residual_sd, level, overall, 1.0) if error == "with level" else fitted.residual_sd
        for allowance in ALLOWANCES:
            course = Course(weeks, values, sd, 24.0, float(fitted.gain[i]), float(fitted.gain_std_error[i]), TARGET,
                            allowance)  # fmt: skip
            yield str(kind), allowance, judge(course, StalledRule()).state


def run(cohorts: int, seed: int) -> pl.DataFrame:
    """Simulate and count: one row per rhythm, error, learning, kind, allowance and state."""
    rows = []
    for rhythm in RHYTHMS:
        for error in ERRORS:
            for learning, share in LEARNING.items():
                rng = np.random.default_rng([seed, RHYTHMS.index(rhythm), ERRORS.index(error), round(2 * share)])
                for _ in range(cohorts):
                    people = cohort(rhythm, share, error, rng)
                    rows += [(rhythm, error, learning, *verdict) for verdict in verdicts(people, error)]
    names = ["rhythm", "error", "learning", "kind", "allowance_cmh2o", "state"]
    counts = pl.DataFrame(rows, schema=names, orient="row").group_by(names).len("n")
    return counts.with_columns((pl.col("n") / pl.col("n").sum().over(names[:-1])).alias("share")).sort(names)


def stalled_table(counts: pl.DataFrame, error: str, state: str = "stalled") -> list[str]:
    """Markdown lines: share of each kind in ``state``, by learning and allowance, one column a rhythm."""
    lines = ["| kind | learning | allowance | " + " | ".join(RHYTHMS) + " |", "|---|---|---|" + "---|" * len(RHYTHMS)]
    shares = {tuple(row[:-2]): row[-1] for row in counts.iter_rows()}
    for kind in KINDS:
        for learning in LEARNING:
            for allowance in ALLOWANCES:
                cells = [shares.get((r, error, learning, kind, allowance, state), 0.0) for r in RHYTHMS]
                lines.append(f"| {kind} | {learning} | {allowance} | " + " | ".join(f"{c:.2f}" for c in cells) + " |")
    return lines


def slow_or_flat_share(counts: pl.DataFrame) -> list[str]:
    """Markdown lines: of all flags, the share on people who were slow or flat, by error, learning and allowance."""
    keys = ["error", "learning", "allowance_cmh2o"]
    flagged = counts.filter(pl.col("state") == "stalled").with_columns(
        pl.col("kind").is_in(["slow 0.5/wk", "flat"]).alias("right")
    )
    table = flagged.group_by(keys).agg((pl.col("n") * pl.col("right")).sum() / pl.col("n").sum()).sort(keys)
    lines = ["| error | learning | allowance | slow or flat among the flagged |", "|---|---|---|---|"]
    return lines + [f"| {e} | {learned} | {a} | {share:.2f} |" for e, learned, a, share in table.iter_rows()]


def main() -> None:
    """Run the study and write its two files."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--cohorts", type=int, default=40)
    words.add_argument("--seed", type=int, default=20260401)
    given = words.parse_args()
    counts = run(given.cohorts, given.seed)
    RESULTS.mkdir(exist_ok=True)
    counts.write_csv(RESULTS / "stalled_rule.csv", float_precision=4)
    command = f"python -m tests.studies.stalled_rule --cohorts {given.cohorts} --seed {given.seed}"
    lines = ["# The stalled rule on people of known kinds, one look at week 24", "", f"    {command}", ""]
    lines += [f"{given.cohorts} cohorts of {PEOPLE} per rhythm, error and learning; mix: {KINDS}.", ""]
    for error in ERRORS:
        lines += [f"## Called stalled, error {error}", "", *stalled_table(counts, error), ""]
    lines += ["## Called falling (nobody falls), error constant", "", *stalled_table(counts, "constant", "falling"), ""]
    lines += ["## Of the flagged", "", *slow_or_flat_share(counts), ""]
    (RESULTS / "stalled_rule.md").write_text("\n".join(lines), encoding="utf-8")


if __name__ == "__main__":
    main()
