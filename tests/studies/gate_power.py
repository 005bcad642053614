"""Does the gate promise what a fit keeps? Its smallest detectable differences against simulated power.

    python -m tests.studies.gate_power DATE [draws] writes tests/studies/results/DATE_gate_power.md

For each rung one cohort's design (who was tested when and on which dose; pipeline.simulate.model_frame) is kept.
Outcomes are drawn with the spread that the gate assumes (settings: planning_level_sd, planning_slope_sd, sem), the
rung's own model is fitted, and each contrast is tested at a two-sided 5 % with Kenward-Roger degrees of freedom while
the truth is the difference that the gate calls detectable: 80 % of the fits should find it. REML's variances do not
depend on the mean, so one fit of pure noise serves all contrasts: the difference is added to its estimate.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import polars as pl

from pipeline.analyse.contrasts import centred, reader
from pipeline.analyse.design import prepared
from pipeline.analyse.gate import PER_12_WEEKS, TEN_POINTS, Gate, gate
from pipeline.analyse.models import Recipe, build, varying_terms
from pipeline.settings import Settings
from pipeline.simulate.model_frame import simulate_model_frame
from pipeline.stats import CannotFit, MixedModel
from pipeline.stats.basis import standardised
from pipeline.stats.boundary import Solved, solve
from pipeline.stats.contrasts import combine, t_quantile
from pipeline.stats.formula import Rows, read_rows
from pipeline.stats.likelihood import Shape

RESULTS = Path(__file__).parent / "results"
SEED = 20261127
SETTINGS = Settings()
COHORTS = (("R3", 30), ("R3", 50), ("R2", 60), ("R2", 130), ("R1", 240))
WITHIN_POINTS = 3.0
Array = np.ndarray


@dataclass(frozen=True)
class Asked:
    """One model on one design: the contrasts by name, their weights (names, kept terms), and the true sizes that are
    promised to be found. spread: SD of client levels and slopes; sem: of one test."""

    rows: Rows
    model: MixedModel
    names: list[str]
    weights: Array
    promised: Array
    spread: tuple[float, float] = (SETTINGS.planning_level_sd_cmh2o, SETTINGS.planning_slope_sd_cmh2o)
    sem: float = SETTINGS.mip_sem_cmh2o


def asked(rows: pl.DataFrame, found: Gate, recipe: Recipe, wanted: set[str]) -> Asked:
    """The contrasts of one recipe that the gate has a detectable difference for, as the gate itself reads them."""
    usable = rows.drop_nulls(recipe.needs())
    built = build(varying_terms(recipe, usable), SETTINGS)
    frame = centred(usable, built)
    look = reader(usable, frame, built)
    weights = {"gain": look.gain(12.0)}
    weights |= {n: TEN_POINTS * look.term(t) for n, t in PER_12_WEEKS.items() if t in look.design.names}
    for name in (n for n in found.detectable if " - " in n):
        first, second = name.split(" - ")
        weights[name] = look.difference(first, second, 12.0)
    names = [n for n in weights if n in found.detectable and (n in wanted or (" - " in n and "pairs" in wanted))]
    return Asked(read_rows(frame, built.model), built.model, names, np.array([weights[n] for n in names]),
                 np.array([found.detectable[n] for n in names]))  # fmt: skip


def fit_noise(one: Asked, rng: np.random.Generator) -> Solved:
    """Outcomes of no mean and the assumed spread on this design, fitted as `fit_mixed` does, its columns made once."""
    rows, who = one.rows, one.rows.inner_of
    people = len(rows.inner_starts)
    own = rng.standard_normal((people, 2)) * np.array(one.spread)
    y = np.einsum("ij,ij->i", rows.z.values, own[who]) + one.sem * rng.standard_normal(len(who))
    drawn = replace(rows, y=y)
    correlated = tuple(v.correlated for v in one.model.varies)
    standard, basis = standardised(drawn, correlated, tuple(v.by for v in one.model.varies))
    sums = standard.sums(drawn)
    return solve(sums, Shape(sums.q, correlated[0], sums.outer_columns, correlated[-1]), basis, True, "drop")


def power(one: Asked, draws: int, seed: int, zero: list[bool] | None = None) -> tuple[Array, Array, int]:
    """Share of fits that find each promised difference, median df, and how many fits failed (counted as not found).

    zero: gathers whether each fit had a variance of zero and dropped it.
    """
    rng = np.random.Generator(np.random.PCG64(np.random.SeedSequence([SEED, seed])))
    hits, df, failed = np.zeros(len(one.names)), [], 0
    for _ in range(draws):
        try:
            solved = fit_noise(one, rng)
        except CannotFit:
            failed += 1
            continue
        made = combine(solved, one.weights[:, list(solved.basis.kept)], "kenward-roger")
        if not solved.proof.converged:
            failed += 1
            continue
        hits += np.abs(made["estimate"] + one.promised) > t_quantile(0.975, made["df"]) * made["std_error"]
        df.append(made["df"])
        if zero is not None:
            zero.append(solved.zero[0])
    return hits / draws, np.median(df, axis=0), failed


def lines(draws: int, cohorts: tuple[tuple[str, int], ...] = COHORTS) -> Iterator[dict[str, object]]:
    """One row a cohort and question."""
    for rung, clients in cohorts:
        rows = prepared(simulate_model_frame(clients, SEED + clients), "mip")
        found = gate(rows, "mip", SETTINGS)
        assert found.rung == rung
        split = found.recipe.without("dose").having("between", "within")
        parts = ((found.recipe, {"gain", "pairs", "dose", "effort"}), (split, {"between", "within"}))
        for recipe, wanted in parts:
            one = asked(rows, found, recipe, wanted)
            shares, df, failed = power(one, draws, clients)
            for name, promised, share, middle in zip(one.names, one.promised, shares, df, strict=True):
                yield {"rung": rung, "people": found.people, "question": name, "detectable": float(promised),
                       "power": float(share), "df": float(middle), "failed": failed}  # fmt: skip


def page(date: str, draws: int, rows: list[dict[str, object]], seconds: float) -> str:
    """The dated table."""
    error = 100 * np.sqrt(0.8 * 0.2 / draws)
    off = np.array([100 * float(str(r["power"])) - 80.0 for r in rows])
    table = "\n".join(
        f"| {r['rung']} | {r['people']} | {r['question']} | {r['detectable']:.2f} | {100 * float(str(r['power'])):.1f} "
        f"| {r['df']:.0f} | {r['failed']} |" for r in rows)  # fmt: skip
    return "\n\n".join([
        "# What the gate calls detectable, and the power that fits then have",
        f"`python -m tests.studies.gate_power {date} {draws}`, seed {SEED}, {draws} draws a model, {seconds:.0f} s. "
        f"Monte Carlo standard error {error:.2f} points.",
        "Promised: 80 % at a two-sided 5 %, Kenward-Roger. Contrasts of protocols and the gain at 12 weeks in cmH2O; "
        "dose, its parts and effort in cmH2O per ten points over 12 weeks. Spread as the settings plan with: "
        f"{SETTINGS.planning_level_sd_cmh2o:g} between people, {SETTINGS.planning_slope_sd_cmh2o:g} per 12 weeks in "
        f"slopes, {SETTINGS.mip_sem_cmh2o:g} between tests.",
        "| rung | people | question | detectable | power, % | median df | fits that failed |\n"
        "|---|---|---|---|---|---|---|\n" + table,
        f"From the promised 80 %: {off.min():+.1f} to {off.max():+.1f} points; "
        f"{int((np.abs(off) <= WITHIN_POINTS).sum())} of {len(off)} within {WITHIN_POINTS:g}.",
    ]) + "\n"  # fmt: skip


def main(date: str, draws: str = "2000") -> None:
    """Run every rung and write the table."""
    start = time.perf_counter()
    rows = list(lines(int(draws)))
    RESULTS.mkdir(exist_ok=True)
    text = page(date, int(draws), rows, time.perf_counter() - start)
    (RESULTS / f"{date}_gate_power.md").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main(*sys.argv[1:])
