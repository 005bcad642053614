"""Drop-out by weights: people who were retested stand for those like them who were not.

A model of being retested, pooled over the intervals from a test to the next: of each test before the 12-week window,
whether another comparable one followed, by what was known at that test. A person with a test from the first week of the
window on has the weight prod P(again | time, protocol) / P(again | all that was known), over those tests: stabilised
inverse probability of censoring (Robins, Rotnitzky and Zhao 1995, J Am Stat Assoc 90:106-121; Hernan, Brumback and
Robins 2000, Epidemiology 11:561-570). The primary model is then fitted to these people alone, weighted. The weight is
one for the whole of a person, so it leaves the person's own tests as they lean on each other.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from pipeline.analyse.baselines import COVARIATE
from pipeline.analyse.choice import Ground, Reading, Target, TargetReader, failed
from pipeline.analyse.choice_rows import with_health
from pipeline.analyse.common import FEW, Array, Frames, labelled
from pipeline.analyse.fits import Fitted
from pipeline.settings import Settings
from pipeline.stats import CannotFit, Contrast, fit_mixed
from pipeline.stats.propensity import effective_size, multinomial
from pipeline.stats.weighted_robust import weighted_robust

NAME = "weighted by the chance of being retested"
AGAIN, GONE = "again", "gone"
NUMBERS = ("baseline_cmh2o", "rise_cmh2o", "done", "illness_weeks", "age_10", "caution_c", "support_c")
"""At a test: pressure at the baseline and its rise since, share of the sessions done and weeks of illness since the
test before, age, any caution, any respiratory support."""
TIME = ("is_first", "week")
LEVELS = ("protocol", "site")
MODEL = "retested ~ " + " + ".join((*TIME, *LEVELS, *NUMBERS))
STABLE = "retested ~ " + " + ".join((*TIME, "protocol"))
FEWEST_OF_A_LEVEL = 4
"""Tests of a level with another after them, and without: with fewer of either it has no column (a choice of ours)."""
CERTAIN = "being retested is certain for people of some kind, so that no weight can be given"
CUT_AT = (0.01, 0.99)
"""Shares of people at which weights are cut, below and above."""


@dataclass(frozen=True)
class Retested:
    """weight: columns client_key, weight (people retested, after the cut). lost: people not retested, their 12 weeks
    over. cut_pct: share of the weights that were cut. trouble: why there are none."""

    lost: int
    retested: int
    trouble: str = ""
    weight: pl.DataFrame | None = None
    cut_pct: float = 0.0

    @property
    def effective(self) -> float:
        """Kish's effective number of people."""
        assert self.weight is not None
        return effective_size(self.weight["weight"].to_numpy())

    @property
    def largest(self) -> float:
        """The largest weight, in mean weights."""
        assert self.weight is not None
        values = self.weight["weight"].to_numpy()
        return float(values.max() / values.mean())


def at_risk(rows: pl.DataFrame, frames: Frames, settings: Settings) -> pl.DataFrame:
    """One row for each test before the window, of people whose 12 weeks are over (or whose course is): what was known
    at it, `again` (another comparable test followed) and `retested` (of the person: a test from the window on)."""
    length = (pl.col("last_on") - pl.col("week0_on")).dt.total_days()
    is_over = ~pl.col("is_open") | (length >= 7 * settings.window_12_high_weeks)
    over = frames["courses"].filter(pl.col("is_primary") & is_over).select("client_key")
    tests = with_health(rows.join(over, on="client_key", how="semi"), frames).sort("client_key", "tested_on")
    value, of = pl.col("value_cmh2o"), "client_key"
    return tests.with_columns(
        value.first().over(of).alias("baseline_cmh2o"), (value - value.first().over(of)).alias("rise_cmh2o"),
        pl.col("is_baseline").cast(pl.Float64).alias("is_first"),
        pl.when(~pl.col("is_baseline")).then(pl.col("interval_adherence")).alias("done"),
        (pl.col("tested_on") < pl.col("tested_on").max().over(of)).alias("again"),
        (pl.col("week").max().over(of) >= settings.window_12_low_weeks).alias("retested"),
    ).filter(pl.col("week") < settings.window_12_low_weeks)  # fmt: skip


def _number(risk: pl.DataFrame, name: str) -> Array:
    """A number about its mean; where it is not known (or not asked for yet: at the baseline) it stands at the mean."""
    seen = risk[name].cast(pl.Float64)
    return (seen - (seen.mean() or 0.0)).fill_null(0.0).to_numpy()


def _levels(risk: pl.DataFrame, name: str) -> list[Array]:
    """A column for each level but the commonest; levels with next to nobody lost, or kept, have none of their own."""
    labels = np.array(risk.select(labelled(name).alias("x"))["x"].to_list())
    again = risk["again"].to_numpy()
    commonest = max(sorted(set(labels)), key=lambda v: int((labels == v).sum()))
    columns = []
    for level in sorted(set(labels) - {commonest}):
        has = labels == level
        if min(int((has & again).sum()), int((has & ~again).sum())) >= FEWEST_OF_A_LEVEL:
            columns.append(has.astype(float))
    return columns


def _unknown(risk: pl.DataFrame) -> list[Array]:
    """Whether the share done is not known at a later test: a column where enough are so."""
    lacks = (risk["done"].is_null() & ~risk["is_baseline"]).to_numpy()
    again = risk["again"].to_numpy()
    is_told = min(int((lacks & again).sum()), int((lacks & ~again).sum())) >= FEWEST_OF_A_LEVEL
    return [lacks.astype(float)] if is_told else []


def _unsure(risk: pl.DataFrame) -> pl.DataFrame:
    """Without the baseline tests, or the later ones, where next to nobody was lost after those: they told of no one."""
    for is_first in (True, False):
        lost = risk.filter((pl.col("is_baseline") == is_first) & ~pl.col("again")).height
        if lost < FEWEST_OF_A_LEVEL:
            risk = risk.filter(pl.col("is_baseline") != is_first)
    return risk


def _ratio(risk: pl.DataFrame) -> Array:
    """P(another test | time, protocol) / P(another test | all known) at each row."""
    again = [AGAIN if a else GONE for a in risk["again"].to_list()]
    stable = [risk[name].cast(pl.Float64).to_numpy() for name in TIME] + _levels(risk, "protocol")
    known = [_number(risk, n) for n in NUMBERS] + _unknown(risk) + _levels(risk, "site")
    return _chance(stable, again) / _chance([*stable, *known], again)


def _chance(columns: list[Array], again: list[str]) -> Array:
    """P(another test) at each row, by logistic regression."""
    return multinomial(np.column_stack([np.ones(len(again)), *columns]), again).of(AGAIN)


def retested(rows: pl.DataFrame, frames: Frames, settings: Settings) -> Retested:
    """Weights of the people retested, or the words why there are none."""
    risk = at_risk(rows, frames, settings)
    people = risk.unique("client_key", keep="first", maintain_order=True)
    stayed = int(people["retested"].sum())
    lost = people.height - stayed
    if min(lost, stayed) <= FEW:
        few = "not retested, too few to weigh for" if lost <= FEW else "retested, too few to weigh"
        return Retested(lost, stayed, f"at most {FEW} people were {few}")
    unsure = _unsure(risk)
    try:
        ratio = unsure.select("client_key", pl.Series("ratio", _ratio(unsure)))
    except CannotFit:
        return Retested(lost, stayed, CERTAIN)
    each = ratio.group_by("client_key").agg(pl.col("ratio").product().alias("raw"))
    kept = people.filter("retested").select("client_key").join(each, on="client_key", how="left").sort("client_key")
    raw = kept["raw"].fill_null(1.0).to_numpy()
    weight = np.clip(raw, *np.quantile(raw, CUT_AT))
    return Retested(lost, stayed, "", kept.select("client_key", pl.Series("weight", weight)),
                    100.0 * float((weight != raw).mean()))


def _refitted(fit: Fitted, weight: pl.DataFrame) -> Fitted:
    """The same model on the people retested, weighted; read at everybody's protocols, sites and mean dose."""
    assert fit.look is not None
    frame = fit.look.frame.join(weight, on="client_key", how="inner", maintain_order="left")
    for column in LEVELS:
        if frame[column].n_unique() < fit.look.frame[column].n_unique():
            raise CannotFit(f"of some {column} nobody was retested")
    model = replace(fit.built.model, varies=fit.built.model.varies[:1])  # people: a site that varies is left out
    made = fit_mixed(frame, model, weights="weight")
    again = Fitted(fit.name, frame, fit.built, replace(fit.look, design=made.rows.x, frame=frame), made)
    if not again.works:
        raise CannotFit(again.state)
    return again


def by_retesting(ground: Ground) -> list[Reading]:
    """The primary answers among people retested, weighted to stand for all."""
    found = retested(ground.found.rows, ground.frames, ground.settings)
    if found.weight is None:
        return [failed("drop-out", NAME, ground, found.trouble)]
    weight, fitted = found.weight, list[Fitted]()

    def reader_of(fit: Fitted) -> TargetReader:
        again = _refitted(fit, weight)
        fitted.append(again)
        assert again.fit is not None
        made = weighted_robust(again.fit)

        def read(target: Target, weights: Array) -> Contrast | None:
            # terms of its own: a level of a covariate that nobody retested has is not among them
            asked = target.weights(again, ground.found.handling.name == COVARIATE and target.is_pair)
            return None if asked is None else made.read(asked)

        return read

    try:
        answers = ground.answers(reader_of)
    except CannotFit as why:
        return [failed("drop-out", NAME, ground, str(why))]
    return [Reading("drop-out", NAME, answers, tests=fitted[0].rows.height if fitted else None,
                    apart=min(found.lost, found.retested),
                    facts={"effective_n": (found.effective, "people"), "cut_pct": (found.cut_pct, "% of people"),
                           "largest_weight": (found.largest, "times the mean weight")},
                    method="stabilised inverse-probability-of-censoring weights, cut at 1 and 99 % of people; "
                           "cluster-robust by people, bias-reduced, Satterthwaite df")]
