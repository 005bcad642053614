"""Where would the pages mislead? Bias and coverage of what is printed when the world is not as the model takes it.

    python -m tests.studies.misleading --cohorts 500 --clients 200 --seed 20261127

Each scenario breaks one thing: who leaves, who trains, what a result does to training, what a site does to the slope.
The same terms are estimated each time as the pages do (rung R1, REML, Kenward-Roger), with the truth beside them, so
that a reader can see by how much an association would mislead, and how often the headline rule would have let it
through. True mean gain: of everybody who started, at week 12, from 20,000 drawn without drop-out.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator
from dataclasses import replace
from math import sqrt
from pathlib import Path

import numpy as np
import polars as pl

from pipeline.analyse.association import association
from pipeline.analyse.design import prepared
from pipeline.analyse.fits import Fitted, PressureModels, run, with_lead
from pipeline.analyse.gate import gate
from pipeline.analyse.models import MODELS
from pipeline.settings import Settings
from pipeline.simulate.model_frame import Study, simulate_model_frame, tied_sites
from pipeline.simulate.scenario import MIP_TRUTH, OutcomeTruth
from pipeline.stats import Contrast
from tests.studies.tables import as_text

RESULTS = Path(__file__).parent / "results"
FIRST, SECOND = "steady_30", "firm_5x6"
SLOPES = {"harbour": 3.0, "mill": -3.0, "orchard": 0.0}
TEN = 0.1
SCENARIOS: dict[str, tuple[Study, OutcomeTruth]] = {
    "as the model takes it": (Study(drop_out=None), MIP_TRUTH),
    "leaving by what was seen": (Study(), MIP_TRUTH),
    "leaving by the unseen slope": (Study(leaving_by_slope=-0.25), MIP_TRUTH),
    "stable health moves both": (Study(stable_confounding=5.0), MIP_TRUTH),
    "varying health moves both": (Study(varying_confounding=5.0), MIP_TRUTH),
    "a result moves training": (Study(feedback=0.04), MIP_TRUTH),
    "sites differ in slope": (Study(), replace(MIP_TRUTH, site_slope=SLOPES)),
}
Draw = dict[str, Contrast | float | None]


def fits(frame: pl.DataFrame, settings: Settings) -> PressureModels:
    """The fits that dose and protocol are read from, as analyse makes them."""
    rows = with_lead(prepared(frame, "mip"))
    found, recipe = gate(rows, "mip", settings), MODELS["R1"]
    base = rows.drop_nulls(recipe.needs())
    made = {"primary": (rows, recipe), "as_delivered": (rows, recipe.without("dose", "effort")),
            "dose_alone": (base, recipe.without("effort")),
            "parts": (base, recipe.without("dose").having("between", "within")), "lead": (base, recipe.having("lead"))}
    return PressureModels("mip", rows, found, {n: run(n, *given, settings) for n, given in made.items()})


def gain_at_12(fitted: Fitted) -> Contrast | None:
    """The mean gain at week 12 of the people in a model."""
    return None if fitted.look is None else fitted.read(fitted.look.gain(12.0))


def one_cohort(clients: int, seed: int, study: Study, truth: OutcomeTruth) -> Draw:
    """What the pages would read in one cohort; None where a fit gives nothing."""
    models = fits(simulate_model_frame(clients, seed, truth, study), Settings())
    seen, primary = association(models), models.fits["primary"]
    effort = primary.term("effort_e", TEN)
    contrast = None if primary.look is None else primary.read(primary.look.difference(SECOND, FIRST, 12.0))
    return {"mean gain at 12 weeks": gain_at_12(models.fits["as_delivered"]),
            "dose done so far, per 10 points": seen.dose, "dose between people, per 10 points": seen.between,
            "dose within people, per 10 points": seen.within, "effort in band, per 10 points": effort,
            f"{SECOND} - {FIRST} at 12 weeks": contrast,
            "lead": None if seen.lead is None else float(seen.lead.p < 0.05), "headline": float(seen.shown)}


def true_values(study: Study, truth: OutcomeTruth, seed: int) -> dict[str, float]:
    """The truth of each term; the mean gain from 20,000 people of whom nobody leaves, learning included."""
    everyone = simulate_model_frame(20_000, seed, truth, replace(study, drop_out=None))
    level = pl.col("true_level_cmh2o") - truth.per_effort_kept * (pl.col("efforts_kept") - 5)
    at = {w: everyone.filter((pl.col("week") - w).abs() < 1e-9).select("client_key", at=level) for w in (0, 12)}
    rise = at[12].join(at[0], on="client_key", suffix="_0").select(pl.col("at") - pl.col("at_0"))
    gain = rise.to_series().mean()
    assert isinstance(gain, float)
    dose, protocol = TEN * truth.dose, truth.protocol_gain12[SECOND] - truth.protocol_gain12[FIRST]
    return {"mean gain at 12 weeks": gain, "dose done so far, per 10 points": dose,
            "dose between people, per 10 points": dose, "dose within people, per 10 points": dose,
            "effort in band, per 10 points": TEN * truth.effort, f"{SECOND} - {FIRST} at 12 weeks": protocol}


def summary(scenario: str, draws: list[Draw], true: dict[str, float]) -> Iterator[dict[str, object]]:
    """One row a term: how far off on average and how often its interval holds the truth, with Monte Carlo errors."""
    lead, headline = ([d[name] for d in draws if d[name] is not None] for name in ("lead", "headline"))
    rates = {"lead_test_rejects_pct": 100 * np.mean(lead), "headline_let_through_pct": 100 * np.mean(headline)}
    for term, value in true.items():
        found = [c for d in draws if isinstance(c := d[term], Contrast)]
        estimate = np.array([c.estimate for c in found])
        covered = float(np.mean([c.low <= value <= c.high for c in found]))
        yield {"scenario": scenario, "term": term, "fitted": len(found), "true_cmh2o": value,
               "mean_cmh2o": estimate.mean(), "bias_cmh2o": estimate.mean() - value,
               "bias_mc_error": estimate.std(ddof=1) / sqrt(len(found)), "coverage_pct": 100 * covered,
               "coverage_mc_error_pct": 100 * sqrt(covered * (1 - covered) / len(found)), **rates}


def type_one(cohorts: int, clients: int, seed: int) -> Iterator[dict[str, object]]:
    """How often null protocols seem to differ where each stands mostly at one site and sites differ in slope."""
    study, truth = tied_sites()
    plain, settings = MODELS["R1"], Settings()
    models: dict[str, Callable[[pl.DataFrame], Fitted]] = {
        "without site x time": lambda rows: run("plain", rows, plain, settings),
        "with site x time": lambda rows: run("site", rows, plain.having("site_slope"), settings),
    }
    hits: dict[str, list[float]] = {name: [] for name in (*models, "kept back or site x time by the gate")}
    for k in range(cohorts):
        rows = with_lead(prepared(simulate_model_frame(clients, seed + k, truth, study), "mip"))
        for name, fit in models.items():
            fitted = fit(rows)
            found = None if fitted.look is None else fitted.read(fitted.look.difference(SECOND, FIRST, 12.0))
            if found is not None:
                hits[name].append(float(found.p < 0.05))
        judged = gate(rows, "mip", settings)
        closed = judged.needs_site_slope or not judged.answers["protocol"].is_open
        hits["kept back or site x time by the gate"].append(float(closed or bool({FIRST, SECOND} & judged.inseparable)))
    for name, found_hits in hits.items():
        share = float(np.mean(found_hits))
        yield {"clients": clients, "model": name, "cohorts": len(found_hits), "share_pct": 100 * share,
               "mc_error_pct": 100 * sqrt(share * (1 - share) / len(found_hits))}


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--cohorts", type=int, default=500)
    words.add_argument("--clients", type=int, default=200)
    words.add_argument("--seed", type=int, default=20261127)
    asked = words.parse_args()
    rows: list[dict[str, object]] = []
    for name, (study, truth) in SCENARIOS.items():
        draws = [one_cohort(asked.clients, asked.seed + k, study, truth) for k in range(asked.cohorts)]
        rows += summary(name, draws, true_values(study, truth, asked.seed - 1))
        print(name, flush=True)  # noqa: T201 - a study of minutes says how far it is
    tied = [row for n in (60, 240) for row in type_one(asked.cohorts, n, asked.seed)]
    tables = [pl.DataFrame(t).with_columns(pl.col(pl.Float64).round(3)) for t in (rows, tied)]
    RESULTS.mkdir(exist_ok=True)
    tables[0].write_csv(RESULTS / "misleading.csv")
    tables[1].write_csv(RESULTS / "misleading_type_one.csv")
    command = f"--cohorts {asked.cohorts} --clients {asked.clients} --seed {asked.seed}"
    text = (f"# What would mislead, and by how much\n\nMade by `python -m tests.studies.misleading {command}`.\n\n"
            f"{as_text(tables[0])}\n\n## Null protocols tied to sites with slopes up to 6 cmH2O per 12 weeks apart: "
            f"share of cohorts with p < 0.05 for {SECOND} - {FIRST}\n\n{as_text(tables[1])}\n")
    (RESULTS / "misleading.md").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
