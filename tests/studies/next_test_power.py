"""Does the next-test planner promise what the next test keeps? Its two chances against draws.

    python -m tests.studies.next_test_power --draws 100000 --seed 20261127

Each row is one person's weeks of testing so far. Slope: a flat person is tested at those weeks and at the planned one;
power is the share told from one on pace. Gain: the true level is drawn from what is known today, one more test is
drawn around it, and the gain is read again; the chance is the share then clearly above or below what is needed.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import polars as pl
from scipy.special import ndtr

from pipeline.stats.next_test import next_test
from pipeline.stats.stalled_rule import StalledRule

RESULTS = Path(__file__).parent / "results"
RULE = StalledRule()
TARGET = 17.0
RHYTHMS = {"weekly": range(9), "2-weekly": range(0, 13, 2), "4-weekly": range(0, 13, 4),
           "gaps of 2 to 6 weeks": (0, 2, 8, 12), "two tests": (0, 6)}  # fmt: skip
GAINS = ((17.0, 6.0), (10.0, 5.0), (22.0, 5.0))


def flat_told(weeks: list[float], sd: float, rng: np.random.Generator, draws: int) -> float:
    """Share of flat people whose window slope lies below the pace by the rule's own test (least squares by hand)."""
    last = max(weeks)
    inside = np.array([w for w in weeks if w >= last - RULE.window_weeks])
    if sd / np.sqrt(((inside - inside.mean()) ** 2).sum()) > RULE.widest_slope_se:
        inside = np.array([w for w in weeks if w >= last - RULE.wide_window_weeks])
    y = sd * rng.standard_normal((draws, inside.size))
    slope = np.linalg.lstsq(np.column_stack([np.ones_like(inside), inside]), y.T, rcond=None)[0][1]
    error = sd / np.sqrt(((inside - inside.mean()) ** 2).sum())
    return float(np.mean(slope + RULE.slope_z * error < TARGET / RULE.pace_weeks))


def gain_settled(gain: float, gain_se: float, sd: float, rng: np.random.Generator, draws: int) -> float:
    """Share of draws in which one more test leaves P(gain >= target) outside 1 - certain .. certain."""
    true = gain + gain_se * rng.standard_normal(draws)
    seen = true + sd * rng.standard_normal(draws)
    weight = 1 / gain_se**2, 1 / sd**2
    after, spread = (weight[0] * gain + weight[1] * seen) / sum(weight), sum(weight) ** -0.5
    chance = ndtr((after - TARGET) / spread)
    return float(np.mean((chance > RULE.certain) | (chance < 1 - RULE.certain)))


def rows(draws: int, seed: int) -> Iterator[dict[str, object]]:
    rng = np.random.Generator(np.random.PCG64(seed))
    for rhythm, weeks in RHYTHMS.items():
        for sd in (6.0, 8.0, 12.0):
            for gain, gain_se in GAINS:
                so_far = [float(w) for w in weeks]
                plan = next_test(so_far, sd, look_week=max(so_far), rule=RULE, target=TARGET, gain=gain,
                                 gain_se=gain_se)  # fmt: skip
                if plan is None or plan.power_if_flat is None or plan.chance_gain_settles is None:
                    yield {"tests so far": rhythm, "error SD": sd, "gain": gain, "SE": gain_se, "planned week": None}
                    continue
                power = flat_told([*so_far, float(plan.week)], sd, rng, draws)
                settled = gain_settled(gain, gain_se, sd, rng, draws)
                yield {"tests so far": rhythm, "error SD": sd, "gain": gain, "SE": gain_se, "planned week": plan.week,
                       "power said": plan.power_if_flat, "power drawn": power,
                       "gain settles said": plan.chance_gain_settles, "gain settles drawn": settled,
                       "worst difference, points": 100 * max(abs(plan.power_if_flat - power),
                                                             abs(plan.chance_gain_settles - settled))}  # fmt: skip


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--draws", type=int, default=100_000)
    words.add_argument("--seed", type=int, default=20261127)
    asked = words.parse_args()
    table = pl.DataFrame(list(rows(asked.draws, asked.seed)), infer_schema_length=None).with_columns(
        pl.col(pl.Float64).round(3))  # fmt: skip
    RESULTS.mkdir(exist_ok=True)
    table.write_csv(RESULTS / "next_test_power.csv")


if __name__ == "__main__":
    main()
