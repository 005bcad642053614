"""Protocols made alike by weights: a stated model of who was given which, the weights, and what they do to balance.

Two protocols: overlap weights, for the people who could have been given either. More: inverse-probability weights, for
everybody. Nothing is truncated: to trim would be to speak of other people.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.analyse.baselines import COVARIATE
from pipeline.analyse.choice import Ground, Reading, Target, TargetReader, failed
from pipeline.analyse.choice_spread import from_draws
from pipeline.analyse.common import FEW, Array, Frames, labelled
from pipeline.analyse.fits import Fitted, PressureModels, run
from pipeline.settings import Settings
from pipeline.stats import CannotFit, Contrast, MixedFit, fit_mixed
from pipeline.stats.held import Held, held
from pipeline.stats.propensity import Propensity, inverse_weights, multinomial, overlap_weights

NUMBERS = ("baseline_cmh2o", "age_years")
LEVELS = ("sex", "condition_group", "site", "referral_reason")
MODEL = "protocol ~ " + " + ".join((*NUMBERS, *LEVELS))
"""The model of who was given which protocol: multinomial logistic, main effects, fixed before results are seen."""
FEWEST_IN_A_CELL = 4
"""People of a level in every protocol for it to have a column: with fewer, draws lose it (a choice of ours)."""
OVERLAP, INVERSE = "overlap weights", "inverse-probability weights"


@dataclass(frozen=True)
class Columns:
    """Covariates of people (rows in order of client_key). values: by code, "sex:female" for a level; missing: people
    without it, by covariate; x: the columns of the model, a one first.
    """

    people: pl.DataFrame
    values: dict[str, Array]
    missing: dict[str, Array]
    x: Array


@dataclass(frozen=True)
class Weighing:
    """Weights of people, mean 1 in each protocol; fewest: people of the smallest protocol. trouble: why there are none.

    columns: None where it did not come so far.
    """

    kind: str
    fewest: int
    trouble: str = ""
    columns: Columns | None = None
    made: Propensity | None = None
    weight: Array | None = None


def covariates(found: PressureModels, frames: Frames, protocols: list[str]) -> Columns:
    """People of these protocols with a baseline, and what the model of protocols reads of them.

    An unknown age takes the mean, an unknown level is a level; levels of up to FEW people are joined into "other". A
    level that some protocol has next to nobody of has no column of its own: it counts with the commonest level.
    """
    told = frames["courses"].filter(pl.col("is_primary")).select("client_key", "referral_reason", "age_years")
    people = found.rows.filter(pl.col("is_baseline") & pl.col("protocol").is_in(protocols)).select(
        "client_key", "protocol", "sex", "condition_group", "site", pl.col("value_cmh2o").alias("baseline_cmh2o")
    ).unique("client_key", keep="first").join(told, on="client_key", how="left").sort("client_key")  # fmt: skip
    values: dict[str, Array] = {}
    missing: dict[str, Array] = {}
    columns = [np.ones(people.height)]
    for name in NUMBERS:
        missing[name] = people[name].is_null().to_numpy()
        values[name] = people[name].cast(pl.Float64).fill_null(strategy="mean").to_numpy()
        columns.append(values[name])
    for name in LEVELS:
        missing[name] = people[name].is_null().to_numpy()
        labels = _joined(people, name)
        commonest = max(sorted(set(labels)), key=labels.count)
        for level in sorted(set(labels)):
            values[f"{name}:{level}"] = np.array([float(v == level) for v in labels])
            if level != commonest and _fewest(people, values[f"{name}:{level}"]) >= FEWEST_IN_A_CELL:
                columns.append(values[f"{name}:{level}"])
    return Columns(people, values, missing, np.column_stack(columns))


def _fewest(people: pl.DataFrame, has: Array) -> int:
    """People with a level in the protocol that has fewest of them."""
    cells = people.select("protocol", pl.Series("has", has)).group_by("protocol").agg(pl.col("has").sum())
    return int(float(str(cells["has"].min())))


def _joined(people: pl.DataFrame, column: str) -> list[str]:
    """Labels of a column, the rare ones joined."""
    labels = people.select(labelled(column).alias("label"))["label"].to_list()
    return [v if labels.count(v) > FEW else "other" for v in labels]


def weighing(found: PressureModels, frames: Frames, settings: Settings) -> Weighing:
    """Weights of the compared protocols, or why there are none."""
    protocols = sorted({p for pair in found.pairs for p in pair})
    kind = OVERLAP if len(protocols) == 2 else INVERSE
    if len(protocols) < 2:
        return Weighing(kind, 0, "fewer than two protocols can be told apart from their sites")
    columns = covariates(found, frames, protocols)
    fewest = min(columns.people.filter(pl.col("protocol") == p).height for p in protocols)
    if fewest < settings.min_per_protocol_weights:
        return Weighing(kind, fewest, "a protocol has fewer people than the settings ask for weights")
    given = columns.people["protocol"].to_list()
    try:
        made = multinomial(columns.x, given)
    except CannotFit as why:
        return Weighing(kind, fewest, str(why), columns)
    return Weighing(kind, fewest, "", columns, made, weights_of(kind, made, given))


def weights_of(kind: str, made: Propensity, given: list[str]) -> Array:
    """The weights of that kind, mean 1 in each protocol."""
    return overlap_weights(made, given) if kind == OVERLAP else inverse_weights(made, given)


def weighted(ground: Ground) -> list[Reading]:
    """The primary answers under weights, with the interval of a bootstrap that fits the model of protocols anew.

    In each draw whole people are drawn, the weights are made again, and the mean is fitted with the variances held.
    """
    pairs = [t for t in ground.targets if t.is_pair]
    if not pairs:
        return []
    found = weighing(ground.found, ground.frames, ground.settings)
    name = f"weighted ({found.kind})"
    if found.weight is None or found.columns is None:
        return [failed("weights", name, ground, found.trouble)]
    fitted: list[Fitted] = []

    def reader_of(fit: Fitted) -> TargetReader:
        again, inner, draws = _drawn(fit, found, ground.settings)
        fitted.append(again)
        kept = list(inner.solved.basis.kept)

        def read(target: Target, weights: Array) -> Contrast | None:
            # the weighted fit has fewer people where a small protocol is left out: its own reader, its own terms
            asked = target.weights(again, ground.found.handling.name == COVARIATE and target.is_pair)
            return None if asked is None else from_draws(float(inner.beta[kept] @ asked[kept]), draws @ asked[kept])

        return read

    try:
        answers = ground.answers(reader_of)
    except CannotFit as why:
        return [failed("weights", name, ground, str(why))]
    tests = fitted[0].rows.height if fitted else None
    return [Reading("weights", name, answers, tests=tests,
                    method="percentile interval of a bootstrap of people, weights made anew in each draw")]


def _drawn(fit: Fitted, found: Weighing, settings: Settings) -> tuple[Fitted, MixedFit, Array]:
    """(the fit on weighted people, the same weighted, coefficients of every draw (draws, kept terms))."""
    assert found.columns is not None and found.weight is not None
    people = found.columns.people.with_columns(pl.Series("weight", found.weight)).select("client_key", "weight")
    again = run(fit.name, fit.rows.join(people, on="client_key", how="semi", maintain_order="left"),
                fit.built.fixed_recipe, settings, random_sites=False)  # fmt: skip
    if again.look is None or not again.works:
        raise CannotFit(again.state)
    frame = again.look.frame.join(people, on="client_key", how="left", maintain_order="left")
    inner = fit_mixed(frame, again.built.model, weights="weight")
    pieces, keys = held(inner), [str(k) for k in inner.rows.inner_keys]
    place = {k: i for i, k in enumerate(found.columns.people["client_key"].to_list())}
    rows = np.array([place[k] for k in keys])
    draw = np.random.default_rng(settings.seed)
    return again, inner, np.array([_one(draw, found, pieces, rows) for _ in range(settings.bootstrap_draws)])


def _one(draw: np.random.Generator, found: Weighing, pieces: Held, rows: np.ndarray) -> Array:
    """Coefficients of one draw of people; NaN where it cannot be fitted."""
    assert found.columns is not None
    n = len(found.columns.x)
    counts = np.bincount(draw.integers(0, n, n), minlength=n).astype(float)
    seen = counts > 0
    given = [g for g, s in zip(found.columns.people["protocol"].to_list(), seen, strict=True) if s]
    nothing = np.full(pieces.pieces.shape[1] - 1, np.nan)
    try:
        made = multinomial(found.columns.x[seen], given, counts[seen], found.made)
    except CannotFit:
        return nothing
    weight = np.zeros(n)
    weight[seen] = weights_of(found.kind, made, given) * counts[seen]
    return pieces.beta(weight[rows])
