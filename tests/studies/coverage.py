"""Coverage of 95 % intervals and type I error at 12, 20, 40 and 120 clients, Kenward-Roger and Satterthwaite beside z.

`python -m tests.studies.coverage DATE [cohorts] [clients ...]` writes tests/studies/results/DATE_coverage.md.
"""

from __future__ import annotations

import sys
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from bench.cohort import cohort
from pipeline.stats import MixedModel, Varies, fit_mixed, standardised_effect

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
    fits = {df: fit_mixed(rows, MODEL, df=df) for df in ("kenward-roger", "satterthwaite")}
    truth, inside, df = np.array(list(TRUTH.values())), {}, []
    for name, fit in fits.items():
        table = fit.mean_terms.filter(fit.mean_terms["term"].is_in(list(TRUTH)))
        table = table.sort(table["term"].replace_strict({t: k for k, t in enumerate(TRUTH)}))
        low, high = table["low"].to_numpy(), table["high"].to_numpy()
        inside[name] = ((low <= truth) & (truth <= high)).tolist()
        if name == "satterthwaite":  # its standard errors are the plain ones, as z uses
            inside["z"] = (np.abs(table["estimate"].to_numpy() - truth) <= Z * table["std_error"].to_numpy()).tolist()
        else:
            df = table["df"].to_list()
    effect = standardised_effect(fits["kenward-roger"], {"time12:protocol[T.strength]": 1.0})
    true_g = 2.0 / LEVEL_SD
    return Cohort(inside, effect.low <= true_g <= effect.high, effect.g, df, fits["kenward-roger"].state_kind)


def lines_of(clients: int, cohorts: list[Cohort]) -> list[str]:
    """Rows of the table for one size."""
    short = ["time:interval (0)", "time:strength (2)", "time:adherence (5)", "within (4)"]
    lines = []
    for k, term in enumerate(short):
        shares = [np.mean([c.inside[m][k] for c in cohorts]) for m in ("kenward-roger", "satterthwaite", "z")]
        df = np.nanmedian([c.df[k] for c in cohorts])
        lines.append(f"| {clients} | {term} | " + " | ".join(f"{100 * s:.1f}" for s in shares) + f" | {df:.1f} |")
    g = 100 * np.mean([c.g_inside for c in cohorts])
    bias = np.mean([c.g for c in cohorts]) - 2.0 / LEVEL_SD
    lines.append(f"| {clients} | g of time:strength (bias {bias:+.3f}) | {g:.1f} |  |  |  |")
    return lines


def main(date: str, cohorts: str = "4000", *sizes: str) -> None:
    """Run all sizes and write the dated table."""
    start, lines, states = time.perf_counter(), [], []
    for clients in map(int, sizes or map(str, SIZES)):
        found = [one(clients, seed) for seed in range(int(cohorts))]
        lines += lines_of(clients, found)
        zero = sum(c.state == "variance zero" for c in found)
        states.append(f"{clients} clients: {100 * zero / len(found):.1f} %")
    text = [
        f"# Coverage of nominal 95 % intervals, {cohorts} cohorts a size",
        f"`python -m tests.studies.coverage {date} {cohorts}`, seed {SEED}, {time.perf_counter() - start:.0f} s. "
        f"Monte Carlo standard error {100 * np.sqrt(0.95 * 0.05 / int(cohorts)):.2f} points.",
        f"Cohorts of bench/cohort.py (true values in brackets), model `{MODEL.mean}`, intercept and slope per client, "
        "REML. The first term is truly 0: its type I error is 100 less the coverage. z: 1.96 plain standard errors. "
        f"g: interval of Pustejovsky, Hedges and Shadish (2014), true g {2.0 / LEVEL_SD:.3f}.",
        "| clients | term (truth) | Kenward-Roger | Satterthwaite | z | median df |\n|---|---|---|---|---|---|\n"
        + "\n".join(lines),
        "A variance was zero, its term dropped and the model refitted in: " + "; ".join(states) + ".",
    ]
    RESULTS.mkdir(exist_ok=True)
    (RESULTS / f"{date}_coverage.md").write_text("\n\n".join(text) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(*sys.argv[1:])
