"""How often stable series signal, and how often a shifted one does: the rules of pipeline.stats.control_charts.

    python -m tests.studies.control_chart_signals --series 20000 --seed 20260402

Independent normal points. XmR: limits fixed on the first 12 points, the three rules on all points so far. Run chart:
median, longest run and crossings of all points so far. Shifted: the mean steps up by 1.5 SD after point 12. Writes
results/control_chart_signals.csv; FALSE_SIGNAL_SHARE and FALSE_RUN_CHART_SHARE of the module are its rounded columns.
"""

import argparse
from pathlib import Path

import numpy as np
import polars as pl

from pipeline.stats.control_charts import FEWEST_FOR_XMR, run_chart, xmr_limits, xmr_signals

RESULTS = Path(__file__).parent / "results"
POINTS = (8, 9, 10, 11, 12, 14, 16, 20, 24, 28, 32, 36, 40)
STEP_SD = 1.5


def first_xmr_signal(values: list[float]) -> int:
    """Number of points after which the first signal stands on the chart; more than there are points if never."""
    signals = xmr_signals(values, xmr_limits(values, base_points=FEWEST_FOR_XMR))
    return min((signal.first_seen + 1 for signal in signals), default=len(values) + 1)


def shares(series: np.ndarray) -> dict[str, list[float | None]]:
    """Share of the series (rows) with a signal at each number of POINTS, by chart."""
    first = np.array([max(first_xmr_signal(row.tolist()), FEWEST_FOR_XMR) for row in series])
    xmr = [float(np.mean(first <= n)) if n >= FEWEST_FOR_XMR else None for n in POINTS]
    run = [float(np.mean([run_chart(row[:n].tolist()).has_signal for row in series[:5000]])) for n in POINTS]
    return {"xmr": xmr, "run_chart": run}


def main() -> None:
    """Run the study and write its table."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--series", type=int, default=20000)
    words.add_argument("--seed", type=int, default=20260402)
    given = words.parse_args()
    stable = np.random.default_rng(given.seed).normal(size=(given.series, max(POINTS)))
    shifted = stable.copy()
    shifted[:, FEWEST_FOR_XMR:] += STEP_SD
    false, power = shares(stable), shares(shifted)
    columns = {
        "points": POINTS,
        "xmr_false": false["xmr"],
        "xmr_shifted": power["xmr"],
        "run_chart_false": false["run_chart"],
        "run_chart_shifted": power["run_chart"],
    }
    RESULTS.mkdir(exist_ok=True)
    pl.DataFrame(columns).write_csv(RESULTS / "control_chart_signals.csv", float_precision=4)


if __name__ == "__main__":
    main()
