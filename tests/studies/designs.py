"""200 random designs: is this engine ever worse than statsmodels or than the best of many restarts?

`python -m tests.studies.designs DATE [designs]` writes tests/studies/results/DATE_designs.md.
"""

from __future__ import annotations

import sys
import time
import warnings
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import polars as pl

from pipeline.stats import MixedModel, Varies, fit_mixed
from tests.studies.brute_force import best_log_likelihood

RESULTS = Path(__file__).parent / "results"
SEED = 20260101
PER_12_WEEKS = {"12 weeks": 1.0, "weeks": 12.0, "days": 84.0}
MEANS = ("1 + t", "1 + t * arm", "1 + t * arm + health", "1 + t * (arm + health)")
TIME_TERMS = (1, 3, 3, 4)  # how many columns of each mean carry t


@dataclass(frozen=True)
class Design:
    """rows: client, t (12-week units), arm, health, y. which: index into MEANS."""

    rows: pl.DataFrame
    which: int
    clients: int

    def model(self) -> MixedModel:
        """Correlated intercept and slope per client."""
        return MixedModel("y", MEANS[self.which], (Varies("client", "1 + t"),))

    def in_unit(self, unit: str) -> pl.DataFrame:
        """The same rows with t in another unit."""
        return self.rows.with_columns(pl.col("t") * PER_12_WEEKS[unit])

    def adjusted(self, log_likelihood: float, unit: str) -> float:
        """A REML log-likelihood in the units of 12 weeks: each column of X that was scaled by s took log s off it."""
        return log_likelihood + TIME_TERMS[self.which] * float(np.log(PER_12_WEEKS[unit]))


def random_design(seed: int) -> Design:
    """3 to 500 clients, 1 to 9 tests each, variances from nothing to large; seed alone decides."""
    rng = np.random.default_rng([SEED, seed])
    clients = int(np.exp(rng.uniform(np.log(3), np.log(500))))
    which = int(rng.integers(0, 4)) if clients >= 12 else 0
    tests = rng.integers(1, 10, clients) if rng.random() < 0.5 else rng.integers(3, 7, clients)
    tests[:2] = 5  # enough rows for any of the means
    who = np.repeat(np.arange(clients), tests)
    t = np.maximum(rng.normal(0, 0.1, len(who)) + rng.integers(0, 9, len(who)) * 0.25, 0.0)
    arm, health = rng.permutation(clients) % 3, rng.normal(0, 1, clients)
    level_sd, slope_sd, sigma = rng.choice([0.0, 3.0, 12.0]), rng.choice([0.0, 0.5, 6.0]), rng.choice([2.0, 6.0, 15.0])
    own = rng.normal(0, 1, (clients, 2)) @ np.array([[level_sd, slope_sd * 0.3], [0.0, slope_sd]])
    y = 70 + 8 * t + own[who, 0] + own[who, 1] * t + 2 * health[who] + rng.normal(0, sigma, len(who))
    names = np.array(["a", "b", "c"])
    rows = pl.DataFrame({"client": who, "t": t, "arm": names[arm[who]], "health": health[who], "y": y})
    return Design(rows, which, clients)


def statsmodels_log_likelihood(design: Design, unit: str) -> float:
    """MixedLM as it comes, defaults throughout; minus infinity when it raises or returns none."""
    from statsmodels.regression.mixed_linear_model import MixedLM

    frame = design.in_unit(unit).to_pandas()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            model = MixedLM.from_formula(f"y ~ {MEANS[design.which]}", frame, groups="client", re_formula="1 + t")
            found = float(model.fit().llf)
        except (ValueError, np.linalg.LinAlgError):
            return -np.inf
    return design.adjusted(found, unit) if np.isfinite(found) else -np.inf


def study_one(seed: int) -> dict[str, float | str]:
    """One design, all units: gaps to the best of everything, in log-likelihood."""
    design = random_design(seed)
    row: dict[str, float | str] = {"clients": design.clients, "tests": design.rows.height}
    fits = {unit: fit_mixed(design.in_unit(unit), design.model()) for unit in PER_12_WEEKS}
    ours = {unit: design.adjusted(fit.log_likelihood, unit) for unit, fit in fits.items()}
    theirs = {unit: statsmodels_log_likelihood(design, unit) for unit in PER_12_WEEKS}
    brute = best_log_likelihood(design)
    best = max(brute, *ours.values(), *theirs.values())
    row |= {f"ours {unit}": best - ours[unit] for unit in PER_12_WEEKS}
    row |= {f"statsmodels {unit}": best - theirs[unit] for unit in PER_12_WEEKS}
    return row | {"restarts": best - brute, "state": str(fits["12 weeks"].state_kind)}


def table(rows: list[dict[str, float | str]]) -> str:
    """Markdown: how far each engine stayed below the best of all, by unit of time."""
    frame = pl.DataFrame(rows)
    lines = [
        "| engine, unit of time | worse by > 1e-6 | > 1e-3 | > 0.1 | no answer | worst |",
        "|---|---|---|---|---|---|",
    ]
    for engine in [f"{who} {unit}" for who in ("ours", "statsmodels") for unit in PER_12_WEEKS] + ["restarts"]:
        gap = frame[engine].to_numpy()
        counts = [int((gap > limit).sum()) for limit in (1e-6, 1e-3, 0.1)]
        worst, silent = gap[np.isfinite(gap)].max(), int(np.isinf(gap).sum())
        lines.append(f"| {engine} | {counts[0]} | {counts[1]} | {counts[2]} | {silent} | {worst:.3g} |")
    states = frame["state"].value_counts(sort=True).rows()
    return "\n".join([*lines, "", "Our states: " + ", ".join(f"{n} {state}" for state, n in states) + "."])


def main(date: str, designs: str = "200") -> None:
    """Run the designs and write the dated table."""
    start = time.perf_counter()
    with ProcessPoolExecutor(max_workers=2) as pool:  # each design has its own seed: the order of work changes nothing
        rows = list(pool.map(study_one, range(int(designs)), chunksize=5))
    text = [
        f"# {designs} random designs, log-likelihood below the best of all engines and restarts",
        f"`python -m tests.studies.designs {date} {designs}`, seed {SEED}, {time.perf_counter() - start:.0f} s.",
        "3 to 500 clients, 1 to 9 tests each, client variances none to large; REML. statsmodels: MixedLM defaults.",
        "restarts: an independent dense criterion, 6 starts of Nelder-Mead and L-BFGS (tests/studies/brute_force.py).",
    ]
    RESULTS.mkdir(exist_ok=True)
    (RESULTS / f"{date}_designs.md").write_text("\n\n".join([*text, table(rows)]) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(*sys.argv[1:])
