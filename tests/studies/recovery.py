"""Does the primary model find what is there? Bias and coverage of its dose, effort and protocol terms.

    python -m tests.studies.recovery --cohorts 2000 --clients 200 --seed 20260925

Each cohort is drawn by pipeline.simulate.model_frame: learning in part of the people, error that grows with the level,
saturating gains that the spline has to follow, and drop-out that depends on what was seen. Model: rung R1 of
pipeline.analyse.models, REML, Kenward-Roger. The table is written to results/recovery.md and .csv.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from math import sqrt
from pathlib import Path

import numpy as np
import polars as pl

from pipeline.analyse.design import prepared
from pipeline.analyse.fits import run
from pipeline.analyse.models import MODELS
from pipeline.settings import Settings
from pipeline.simulate.model_frame import Study, simulate_model_frame
from pipeline.simulate.scenario import MIP_TRUTH
from tests.studies.tables import as_text

RESULTS = Path(__file__).parent / "results"
FIRST, SECOND, THIRD = "steady_30", "firm_5x6", "ladder_6"
SCENARIOS = {"drop-out by what was seen": Study(), "nobody drops out": Study(drop_out=None)}
Draw = list[tuple[float, float, float, float]]
TRUE = {
    "dose, cmH2O per 12 weeks of the full dose": MIP_TRUTH.dose,
    "effort, cmH2O per 12 weeks all in band": MIP_TRUTH.effort,
    f"{SECOND} - {FIRST} at 12 weeks, cmH2O": MIP_TRUTH.protocol_gain12[SECOND] - MIP_TRUTH.protocol_gain12[FIRST],
    f"{THIRD} - {FIRST} at 12 weeks, cmH2O": MIP_TRUTH.protocol_gain12[THIRD] - MIP_TRUTH.protocol_gain12[FIRST],
}


def one_cohort(clients: int, seed: int, study: Study) -> Draw | None:
    """Estimate, standard error and interval of each term of TRUE in one cohort; None where the model did not fit."""
    frame = simulate_model_frame(clients, seed, MIP_TRUTH, study)
    fitted = run("study", prepared(frame, "mip"), MODELS["R1"], Settings())
    if fitted.look is None:
        return None
    look = fitted.look
    weights = (look.term("dose_d"), look.term("effort_e"), look.difference(SECOND, FIRST, 12.0),
               look.difference(THIRD, FIRST, 12.0))  # fmt: skip
    found = [fitted.read(w) for w in weights]
    return None if None in found else [(c.estimate, c.std_error, c.low, c.high) for c in found if c is not None]


def summary(scenario: str, draws: list[Draw], asked: int) -> Iterator[dict[str, object]]:
    """One row a term: bias and coverage with their Monte Carlo errors."""
    for k, (term, true) in enumerate(TRUE.items()):
        estimate, error, low, high = np.array([d[k] for d in draws]).T
        covered = float(np.mean((low <= true) & (true <= high)))
        yield {
            "scenario": scenario, "term": term, "cohorts": asked, "fitted": len(draws), "true": true,
            "mean": estimate.mean(), "bias": estimate.mean() - true,
            "bias_mc_error": estimate.std(ddof=1) / sqrt(len(draws)),
            "sd": estimate.std(ddof=1), "mean_std_error": error.mean(), "coverage_pct": 100 * covered,
            "coverage_mc_error_pct": 100 * sqrt(covered * (1 - covered) / len(draws)),
        }  # fmt: skip


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--cohorts", type=int, default=2000)
    words.add_argument("--clients", type=int, default=200)
    words.add_argument("--seed", type=int, default=20260925)
    asked = words.parse_args()
    rows: list[dict[str, object]] = []
    for scenario, study in SCENARIOS.items():
        made = (one_cohort(asked.clients, asked.seed + k, study) for k in range(asked.cohorts))
        rows += summary(scenario, [m for m in made if m is not None], asked.cohorts)
    table = pl.DataFrame(rows).with_columns(pl.col(pl.Float64).round(3))
    RESULTS.mkdir(exist_ok=True)
    table.write_csv(RESULTS / "recovery.csv")
    said = f"--cohorts {asked.cohorts} --clients {asked.clients} --seed {asked.seed}"
    command = f"python -m tests.studies.recovery {said}"
    text = f"# Recovery of the primary model\n\nMade by `{command}`.\n\n{as_text(table)}\n"
    (RESULTS / "recovery.md").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
