"""What would tip a result: how far the people not retested would have to have lost, how much unlogged training be real.

The primary model takes those without a later test as it expects them, given all that was seen (missing at random).
Delta adjustment: let their curve after the last test fall by delta cmH2O per 12 weeks below that. With m_i the part of
the 12 weeks after the last test of a person not retested (0 for others), in 12-week units, a protocol's mean at 12
weeks moves by -delta x mean(m_i), a difference by the difference of those means. Source of the method: Carpenter, Roger
and Kenward 2013, J Biopharm Stat 23:1352-71; the formula is a derivation of ours, held to imputing and refitting.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

import polars as pl

from pipeline.analyse.choice import GAIN, WEEK, Ground, Reading, Target, moved
from pipeline.analyse.fits import Fitted, PressureModels, run
from pipeline.settings import Settings
from pipeline.stats import Contrast, random_effects

BOTH, BETTER = "both", "better"
"""Who loses: the people not retested of both protocols alike, or of the one that does better only."""
EVERYBODY, LESS = "everybody", "less"
"""Who did the unlogged training: everybody, or only people who gained less than the model expects of the mean one."""
SHARES = (0.0, 25.0, 50.0, 75.0, 100.0)
"""Shares (%) of the unlogged sessions that are taken as done."""
SAME = 1e-9


@dataclass(frozen=True)
class Lost:
    """By protocol: people, those not retested, and over all of them the mean missing time in 12-week units."""

    people: Mapping[str, int]
    not_retested: Mapping[str, int]
    missing: Mapping[str, float]

    def per_person(self, protocols: tuple[str, ...]) -> float:
        """Mean missing time of those not retested in these protocols; 0 where there is nobody."""
        gone = sum(self.not_retested[p] for p in protocols)
        return sum(self.missing[p] * self.people[p] for p in protocols) / gone if gone else 0.0


def with_missing_time(rows: pl.DataFrame, settings: Settings) -> pl.DataFrame:
    """One row a person: client_key, protocol, is_lost (no test from the first week of the window on), lost (m_i)."""
    last = rows.group_by("client_key", "protocol").agg(pl.col("time12").max()).sort("client_key")
    is_lost = pl.col("time12") * WEEK < settings.window_12_low_weeks
    return last.with_columns(
        is_lost.alias("is_lost"), pl.when(is_lost).then(1.0 - pl.col("time12")).otherwise(0.0).alias("lost")
    )


def lost(rows: pl.DataFrame, settings: Settings) -> Lost:
    """Who is not retested, from the prepared rows of one pressure."""
    people = with_missing_time(rows, settings).group_by("protocol").agg(
        pl.len().alias("people"), pl.col("is_lost").sum(), pl.col("lost").mean()
    ).sort("protocol")  # fmt: skip
    names = people["protocol"].to_list()
    return Lost(*(dict(zip(names, people[c].to_list(), strict=True)) for c in ("people", "is_lost", "lost")))


def shift(gone: Lost, target: Target, fit: Fitted, who: str = BOTH, first_is_better: bool = True) -> float:
    """How far a target moves for each cmH2O per 12 weeks that the people not retested lose."""
    if target.is_pair:
        parts = {target.first: -gone.missing[target.first], target.second: gone.missing[target.second]}
        if who == BETTER:
            return parts[target.first if first_is_better else target.second]
        return sum(parts.values())
    assert fit.look is not None
    return -sum(share * gone.missing[p] for p, share in fit.look.protocols.items()) if target.statistic == GAIN else 0.0


def fallen(ground: Ground) -> list[Reading]:
    """Two analyses: the people not retested rose half as fast after their last test as everybody on average, or not."""
    main = ground.found.working("primary")
    rise = None if main is None or main.look is None else main.read(main.look.gain(WEEK))
    if rise is None:
        return []
    gone = lost(ground.found.rows, ground.settings)
    said = []
    for share, words in ((0.5, "half the mean rise"), (1.0, "no rise")):
        found: dict[Target, Contrast | None] = {}
        for target in ground.targets:
            fit, answer = ground.fit_for(target), ground.primary[target]
            if target.is_pair or target.statistic == GAIN:
                found[target] = None if fit is None or answer is None else moved(
                    answer, share * rise.estimate * shift(gone, target, fit))  # fmt: skip
        tests = main.rows.height if main is not None else None
        said.append(Reading("drop-out", f"not retested: {words} after the last test", found, tests=tests,
                            method="primary estimate moved by delta x mean missing time, its interval with it"))
    return said


@dataclass(frozen=True)
class Tip:
    """Loss at which a difference is nothing, and at which its interval first holds 0; None: no loss does that.

    In cmH2O per 12 weeks; per_person turns it into cmH2O at week 12 for each person not retested.
    """

    to_nothing: float | None
    to_doubt: float | None
    per_person: float
    slope: float


def tip(gone: Lost, target: Target, fit: Fitted, answer: Contrast, who: str) -> Tip:
    """The tipping point of a difference of two protocols."""
    first_is_better = answer.estimate > 0
    slope = shift(gone, target, fit, who, first_is_better)
    better = (target.first if first_is_better else target.second,)
    near = answer.low if first_is_better else answer.high
    has_doubt = answer.low <= 0 <= answer.high
    per_person = gone.per_person((target.first, target.second) if who == BOTH else better)
    return Tip(_root(answer.estimate, slope), None if has_doubt else _root(near, slope), per_person, slope)


def _root(value: float, slope: float) -> float | None:
    """Where value + slope x delta is 0, for a delta above 0."""
    if abs(slope) < SAME or value * slope >= 0:
        return None
    return -value / slope


def dose_by_share(found: PressureModels, settings: Settings, who: str) -> list[tuple[float, Contrast | None]]:
    """The association with dose were each SHARE of the unlogged sessions done: by everybody, or by those who gained
    less than the model expects (nothing unlogged by the others).
    """
    assert found.gate is not None
    main = found.working("primary")
    few = _less(main) if main is not None and who == LESS else None
    answers = []
    for share in SHARES:
        low, high = pl.col("dose_d_low"), pl.col("dose_d_high")
        done = low + share / 100.0 * (high - low)
        if few is not None:
            done = pl.when(pl.col("client_key").is_in(few)).then(done).otherwise(low)
        again = run(f"unlogged {share:g} %", found.rows.with_columns(done.alias("dose_d")), found.gate.recipe, settings)
        answers.append((share, again.term("dose_d", 0.1)))
    return answers


def _less(main: Fitted) -> list[str]:
    """People whose own slope (level, where there is no slope) lies under the mean."""
    assert main.fit is not None
    own = random_effects(main.fit, "client_key")
    column = "time12" if "time12" in own.columns else "Intercept"
    return own.filter(pl.col(column) < 0)["client_key"].cast(pl.String).to_list()


def share_that_tips(answers: list[tuple[float, Contrast | None]], to_doubt: bool) -> float | None:
    """Smallest share (%) at which the estimate (to_doubt: the nearer end of its interval) reaches 0, between refits on
    a straight line; 0 where it does so with none done; None where no share does.
    """
    seen = [(share, c) for share, c in answers if c is not None]
    if not seen:
        return None
    up = seen[0][1].estimate > 0
    values = [(share, (c.low if up else c.high) if to_doubt else c.estimate) for share, c in seen]
    signed = [(share, v if up else -v) for share, v in values]
    if signed[0][1] <= 0:
        return signed[0][0]
    for (a, before), (b, after) in pairwise(signed):
        if after <= 0:
            return a + (b - a) * before / (before - after)
    return None
