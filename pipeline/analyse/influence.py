"""How much one person or one site moves the primary answers.

Everybody is left out in turn with the variances held; the ten who move most are then left out of a whole refit. A site
is left out of a whole refit.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import polars as pl

from pipeline.analyse.choice import Analysis, Ground, Reading, Refit, Target
from pipeline.analyse.common import Array
from pipeline.analyse.conclusions import changes, worthwhile
from pipeline.stats import CannotFit, Contrast, MixedFit
from pipeline.stats.held import held
from pipeline.stats.refit import Refitter, refitter

REFITTED = 10
ONE = "the most influential person left out"


@dataclass(frozen=True)
class Influence:
    """Of one target: the person who moves it most, the estimate without them, and the move in standard errors.

    past_one: people who move it by more than one standard error; tipping: people without whom the conclusion changes.
    """

    client_key: str
    without: float
    move: float
    past_one: int
    tipping: int


@dataclass(frozen=True)
class LeftOut:
    """Coefficients of a fit without each person in turn: variances held, (people, kept terms), or None where people
    stand inside sites that are random; `refits` by place, made when one is asked for.
    """

    fit: MixedFit
    held: Array | None
    again: Refitter
    refits: dict[int, Array] = field(default_factory=dict)

    def refitted(self, person: int) -> Array:
        """Coefficients of a whole refit without one person."""
        if person not in self.refits:
            self.refits[person] = self.again.without(person).beta
        return self.refits[person]


def left_out(fit: MixedFit) -> LeftOut:
    """Everybody left out in turn; made once for all that is read from a fit."""
    try:
        quick = held(fit).without_each()
    except CannotFit:
        quick = None
    return LeftOut(fit, quick, refitter(fit))


def _answers(made: LeftOut, weights: Array) -> tuple[list[str], Array]:
    """(people, the answer without each of them): variances held, then a refit for those who move most."""
    inner = made.fit
    kept = list(inner.solved.basis.kept)
    asked = weights[kept]
    many = len(inner.rows.inner_keys)
    without, order = np.full(many, np.nan), np.arange(many)
    if made.held is not None:
        without = made.held @ asked
        far = np.abs(without - float(inner.beta[kept] @ asked))
        order = np.argsort(-np.nan_to_num(far, nan=np.inf), kind="stable")[:REFITTED]
    for k in order:
        without[k] = made.refitted(int(k)) @ asked
    keys = [str(k[-1] if isinstance(k, tuple) else k) for k in inner.rows.inner_keys]
    return keys, without


def influences(ground: Ground) -> dict[Target, Influence | None]:
    """The influence of single people on every target."""
    made: dict[str, LeftOut] = {}
    return {target: influence(ground, target, made) for target in ground.targets}


def influence(ground: Ground, target: Target, made: dict[str, LeftOut]) -> Influence | None:
    """The influence of single people on one target; None where it has no primary answer. made: by name of the fit."""
    fit, weights, answer = ground.fit_for(target), ground.weights_for(target), ground.primary[target]
    if fit is None or fit.fit is None or weights is None or answer is None:
        return None
    if fit.name not in made:
        made[fit.name] = left_out(fit.fit)
    keys, without = _answers(made[fit.name], weights)
    moves = (without - answer.estimate) / answer.std_error
    known = np.flatnonzero(np.isfinite(moves))
    if not known.size:
        return None
    least = worthwhile(target, ground.found.pressure, ground.settings)
    most = int(known[np.argmax(np.abs(moves[known]))])
    tipping = sum(bool(changes(_shifted(answer, float(without[k])), answer, least)) for k in known)
    return Influence(keys[most], float(without[most]), float(moves[most]), int((np.abs(moves[known]) > 1.0).sum()),
                     tipping)  # fmt: skip


def _shifted(answer: Contrast, estimate: float) -> Contrast:
    """An answer moved to an estimate, with the primary's interval around it."""
    by = estimate - answer.estimate
    return Contrast(estimate, answer.std_error, answer.df, answer.low + by, answer.high + by, np.nan, np.nan)


def one_person(found: dict[Target, Influence | None], ground: Ground) -> Reading:
    """The row of the most influential person, one for each target: internal only."""
    answers: dict[Target, Contrast | None] = {}
    for target, one in found.items():
        answer = ground.primary[target]
        answers[target] = None if one is None or answer is None else _shifted(answer, one.without)
    main = ground.found.working("primary")
    return Reading("influence", ONE, answers, tests=main.rows.height if main is not None else None, is_client=True,
                   method="refit without that person, with the primary interval moved along")


def sites_left_out(ground: Ground) -> list[Reading]:
    """One analysis for each site: everybody else."""
    sites = sorted(ground.rows["site"].unique().to_list())
    if len(sites) < 2:
        return []
    return [reading for site in sites for reading in _without(site)(ground)]


def _without(site: str) -> Analysis:
    here = pl.col("site") == site

    def smaller(ground: Ground) -> int:
        people = ground.rows.unique("client_key", keep="first")
        inside = people.filter(here).height
        return min(inside, people.height - inside)

    return Refit("influence", f"without site {site}", rows=lambda g: g.rows.filter(~here), apart=smaller)
