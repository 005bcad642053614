"""How often somebody whose pressure does not change is called falling: at one look, and at a look after every test.

    python -m tests.studies.falling_looks --people 20000 --seed 20260404

Independent errors of 8 cmH2O around a constant level, tests every 2 or 4 weeks, the slope axis of
pipeline.stats.stalled as shipped. Looks after every test from week 4 on. Writes results/falling_looks.csv;
FALSE_FALLING_SHARE of pipeline.stats.stalled_rule is its rounded last columns.
"""

import argparse
from pathlib import Path

import numpy as np
import polars as pl

from pipeline.stats.stalled import slope_axis
from pipeline.stats.stalled_rule import StalledRule

RESULTS = Path(__file__).parent / "results"
ERROR_SD = 8.0


def falls(weeks: np.ndarray, values: np.ndarray) -> np.ndarray:
    """True per look (columns: after test 3, 4, ...) where a person's (row's) course so far is called falling."""
    looks = [n for n in range(2, len(weeks) + 1) if weeks[n - 1] >= 4]
    called = [
        [
            slope_axis(weeks[:n].tolist(), row[:n].tolist(), ERROR_SD, rule=StalledRule()).verdict == "falling"
            for n in looks
        ]
        for row in values
    ]
    return np.array(called)


def main() -> None:
    """Run the study and write its table."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--people", type=int, default=20000)
    words.add_argument("--seed", type=int, default=20260404)
    given = words.parse_args()
    rows = []
    for gap in (2, 4):
        for until in (12, 24, 52):
            weeks = np.arange(0.0, until + 1, gap)
            rng = np.random.default_rng([given.seed, gap, until])
            called = falls(weeks, rng.normal(60, ERROR_SD, (given.people, len(weeks))))
            rows.append((gap, until, float(called[:, -1].mean()), float(called.any(axis=1).mean())))
    names = ["weeks_between_tests", "until_week", "one_look_at_the_end", "a_look_after_every_test"]
    pl.DataFrame(rows, schema=names, orient="row").write_csv(RESULTS / "falling_looks.csv", float_precision=4)


if __name__ == "__main__":
    main()
