"""Coverage of 95 % intervals and type I error at 12, 20, 40 and 120 clients, Kenward-Roger and Satterthwaite beside z.

`python -m tests.studies.coverage DATE [cohorts] [clients ...]` writes tests/studies/results/DATE_coverage.md.
"""

from __future__ import annotations

import json
import sys
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from bench.cohort import cohort
from pipeline.stats import MixedModel, Varies, fit_mixed, standardised_effect
from pipeline.stats.contrasts import mean_table

RESULTS = Path(__file__).parent / "results"
SEED = 20260102
SIZES = (12, 20, 40, 120)
MODEL = MixedModel(
    "mip_cmh2o",
    "1 + time12 * (protocol + adherence) + adherence_within",
    (Varies("client_key", "1 + time12"),),
)
#: term -> its true value in bench.cohort; the first is a null effect, so 1 - coverage is its type I error.
TRUTH = {
    "time12:protocol[T.interval]": 0.0,
    "time12:protocol[T.strength]": 2.0,
    "time12:adherence": 5.0,
    "adherence_within": 4.0,
}
#: SD of one observed pressure at week 0 given this model: own level, baseline and age (not in the model), then
#: residual and effort (not in the model); see bench.cohort.
LEVEL_SD = float(np.sqrt(144.0 + 25.0 + 3.6**2 + 36.0 + 2.0**2 / 12.0))
G_TERM = "time12:protocol[T.strength]"
Z = 1.959963984540054


@dataclass(frozen=True)
class Cohort:
    """One cohort's verdicts, per term of TRUTH: inside the interval of each method; g; df; and the state."""

    inside: dict[str, list[bool]]
    g_inside: bool
    g: float
    df: list[float]
    state: str


def one(clients: int, seed: int) -> Cohort:
    """Simulate, fit, and compare with the truth."""
    rows = cohort(clients, SEED * 1000 + clients * 10_000 + seed, site_sd=0.0)
    fit = fit_mixed(rows, MODEL)
    truth, inside, df = np.array(list(TRUTH.values())), {}, []
    for name in ("kenward-roger", "satterthwaite"):
        table = mean_table(fit.solved, fit.terms, name)
        table = table.filter(table["term"].is_in(list(TRUTH)))
        table = table.sort(table["term"].replace_strict({t: k for k, t in enumerate(TRUTH)}))
        low, high = table["low"].to_numpy(), table["high"].to_numpy()
        inside[name] = ((low <= truth) & (truth <= high)).tolist()
        if name == "satterthwaite":  # its standard errors are the plain ones, as z uses
            inside["z"] = (np.abs(table["estimate"].to_numpy() - truth) <= Z * table["std_error"].to_numpy()).tolist()
        else:
            df = table["df"].to_list()
    effect = standardised_effect(fit, {G_TERM: 1.0})
    g_inside = effect.low <= 2.0 / LEVEL_SD <= effect.high
    return Cohort(inside, bool(g_inside), effect.g, df, fit.state_kind)


def lines_of(clients: int, cohorts: list[Cohort]) -> list[str]:
    """Rows of the table for one size."""
    short = ["time:interval (0)", "time:strength (2)", "time:adherence (5)", "within (4)"]
    lines = []
    for k, term in enumerate(short):
        shares = [np.mean([c.inside[m][k] for c in cohorts]) for m in ("kenward-roger", "satterthwaite", "z")]
        df = np.nanmedian([c.df[k] for c in cohorts])
        lines.append(f"| {clients} | {term} | " + " | ".join(f"{100 * s:.1f}" for s in shares) + f" | {df:.1f} |")
    g = 100 * np.mean([c.g_inside for c in cohorts])
    all_g = np.array([c.g for c in cohorts])
    bias = np.nanmean(all_g) - 2.0 / LEVEL_SD
    lines.append(f"| {clients} | g of time:strength (bias {bias:+.3f}) | {g:.1f} |  |  |  |")
    return lines


def main(date: str, cohorts: str = "4000", *sizes: str) -> None:
    """Run the sizes named (all four unless said) and write the dated table; sizes run before with DATE are kept."""
    RESULTS.mkdir(exist_ok=True)
    kept = RESULTS / f"{date}_coverage.json"
    for clients in map(int, sizes or map(str, SIZES)):
        start = time.perf_counter()
        found = [one(clients, seed) for seed in range(int(cohorts))]
        zero = 100 * np.mean([c.state == "variance zero" for c in found])
        block = {"cohorts": int(cohorts), "seconds": round(time.perf_counter() - start), "zero_pct": round(zero, 1)}
        done = json.loads(kept.read_text(encoding="utf-8")) if kept.exists() else {}
        done[str(clients)] = {**block, "lines": lines_of(clients, found)}
        kept.write_text(json.dumps(done, indent=1) + "\n", encoding="utf-8")
    (RESULTS / f"{date}_coverage.md").write_text(page(date, cohorts, done), encoding="utf-8")


def page(date: str, cohorts: str, done: dict[str, Any]) -> str:
    """The Markdown page of all sizes."""
    blocks = [done[key] for key in sorted(done, key=int)]
    zero = "; ".join(f"{key} clients {done[key]['zero_pct']} %" for key in sorted(done, key=int))
    text = [
        f"# Coverage of nominal 95 % intervals, {cohorts} cohorts a size",
        f"`python -m tests.studies.coverage {date} {cohorts}`, seed {SEED}, {sum(b['seconds'] for b in blocks)} s. "
        f"Monte Carlo standard error {100 * np.sqrt(0.95 * 0.05 / int(cohorts)):.2f} points.",
        f"Cohorts of bench/cohort.py (true values in brackets), model `{MODEL.mean}`, intercept and slope per client, "
        "REML. The first term is truly 0: its type I error is 100 less the coverage. z: 1.96 plain standard errors. "
        f"g: interval of Pustejovsky, Hedges and Shadish (2014), true g {2.0 / LEVEL_SD:.3f}.",
        "| clients | term (truth) | Kenward-Roger | Satterthwaite | z | median df |\n|---|---|---|---|---|---|\n"
        + "\n".join(line for block in blocks for line in block["lines"]),
        f"A variance was zero, its term dropped and the model refitted, in: {zero}.",
    ]
    return "\n\n".join(text) + "\n"


if __name__ == "__main__":
    main(*sys.argv[1:])
