"""Weights by the chance of being retested: exact where the model is saturated, unbiased where completers are not."""

from datetime import date, timedelta

import numpy as np
import polars as pl
import pytest
import statsmodels.api as sm

from pipeline.analyse import retested as made
from pipeline.analyse.choice import DIFFERENCE, DOSE, GAIN
from pipeline.settings import Settings
from pipeline.stats import MixedModel, Varies, fit_mixed
from pipeline.stats.weighted_robust import weighted_robust

SETTINGS = Settings()
START = date(2025, 1, 6)
VISITS = MixedModel("value_cmh2o", "0 + visit", (Varies("client_key", "1"),))
GAIN12 = 10.0


def one_visit(people, values, week, kept, **more):
    """One row for each person kept at a visit, as prepared rows have them."""
    names = [f"p{k:05d}" for k in people]
    return pl.DataFrame({
        "client_key": names, "tested_on": [START + timedelta(weeks=week)] * len(names),
        "week": [float(week)] * len(names), "is_baseline": [week == 0] * len(names), "value_cmh2o": values,
        "visit": [f"w{week:02d}"] * len(names), **more,
    }).filter(pl.Series(kept))  # fmt: skip


def completed(rows):
    """The rows with what the model of being retested reads beside the pressures."""
    absent = {"protocol": "a", "site": "s", "caution": "none_known", "age_10": 0.0, "illness_days_interval": 0,
              "interval_adherence": 0.8}  # fmt: skip
    return rows.with_columns(pl.lit(v).alias(c) for c, v in absent.items() if c not in rows.columns)


def courses(rows, **more):
    keys = rows["client_key"].unique().sort()
    told = {"is_primary": True, "is_open": False, "week0_on": START, "last_on": START + timedelta(weeks=20),
            "respiratory_support": "none"}  # fmt: skip
    facts = (pl.lit(v).alias(c) for c, v in (told | more).items())
    return {"courses": pl.DataFrame({"client_key": keys}).with_columns(facts)}


def weighted_fit(rows, found):
    frame = rows.join(found.weight, on="client_key", how="inner", maintain_order="left")
    return fit_mixed(frame, VISITS, weights="weight")


def rise(fit, first="w00", last="w12"):
    return np.array([float(last in t) - float(first in t) for t in fit.terms])


def test_with_one_label_the_weights_are_direct_standardisation():
    """Baseline and week 12 only; who comes back depends on the site alone. Then P(again | site) is the share itself,
    the weight N_s n / (N n_s), and the weighted gain the mean of the sites' gains by all who started: to rounding."""
    draw, n = np.random.default_rng(5), 300
    people, site = np.arange(n), np.array(["s", "t", "u"])[np.arange(n) % 3]
    back = draw.random(n) < np.select([site == "s", site == "t"], [0.9, 0.5], 0.7)
    late = 60 + np.select([site == "s", site == "t"], [4.0, 14.0], 9.0) + draw.normal(0, 5, n)
    rows = completed(pl.concat([one_visit(people, np.full(n, 60.0), 0, np.ones(n, bool), site=site),
                                one_visit(people, late, 12, back, site=site)]).sort("client_key", "week"))
    found = made.retested(rows, courses(rows), SETTINGS)
    weight = dict(found.weight.iter_rows())
    for label in "stu":
        started, stayed = (site == label).sum(), ((site == label) & back).sum()
        assert weight[f"p{np.flatnonzero((site == label) & back)[0]:05d}"] == pytest.approx(
            started * back.sum() / (n * stayed), rel=1e-9)  # fmt: skip
    fit = weighted_fit(rows, found)
    by_hand = np.mean([late[(site == label) & back].mean() - 60 for label in site])
    assert weighted_robust(fit).read(rise(fit)).estimate == pytest.approx(by_hand, abs=1e-9)
    plain = (late[back] - 60).mean()
    assert abs(plain - by_hand) > 0.5
    assert (found.lost, found.retested, found.cut_pct) == (int((~back).sum()), int(back.sum()), 0.0)


def leavers(n, seed, steps=(4,)):
    """Tests at weeks 0, those of `steps` and 12, with a true gain of 10: one in ten leaves after the baseline whatever
    it was; after each of `steps` those whose rise so far is small leave more often."""
    draw = np.random.default_rng(seed)
    level, slope = draw.normal(60, 15, n), draw.normal(GAIN12, 8, n)
    value = {w: level + slope * w / 12 + draw.normal(0, 6, n) for w in (0, *steps, 12)}
    here, parts, whole = np.ones(n, bool), [], []
    for week, values in value.items():
        parts.append(one_visit(np.arange(n), values, week, here))
        whole.append(values)
        if week == 0:
            here = here & (draw.random(n) < 0.9)
        elif week in steps:
            here = here & (draw.random(n) < stays(values - value[0]))
    return completed(pl.concat(parts).sort("client_key", "week")), np.mean(whole[-1] - whole[0])


def stays(rise_so_far):
    return 1.0 / (1.0 + np.exp(-(-0.2 + 0.12 * rise_so_far)))


def known_bias():
    """Of the mean gain among those who stay after week 4: the gain leans on that rise with cov / var, and the mean rise
    of those who stay is E[r p(r)] / E[p(r)], by quadrature; nothing of it is simulated."""
    variance, covariance = 8**2 / 9 + 2 * 6**2, 8**2 / 3 + 6**2
    at, mass = np.polynomial.hermite_e.hermegauss(80)
    r = GAIN12 / 3 + np.sqrt(variance) * at
    kept = (mass @ (r * stays(r))) / (mass @ stays(r))
    return covariance / variance * (kept - GAIN12 / 3)


@pytest.fixture(scope="module")
def left():
    rows, _ = leavers(6000, 1)
    return rows, made.retested(rows, courses(rows), SETTINGS)


def test_completers_are_biased_by_a_known_amount_and_the_weighted_are_not(left):
    """Standard errors of the check are those of the fits themselves: about 0.2 cmH2O."""
    rows, found = left
    stayed = rows.filter(pl.col("week").max().over("client_key") >= 10)
    plain = fit_mixed(stayed, VISITS).contrast(rise(fit_mixed(stayed, VISITS)))
    bias = known_bias()
    assert 2.5 < bias < 4.0
    assert plain.estimate - GAIN12 == pytest.approx(bias, abs=3 * plain.std_error)
    fit = weighted_fit(rows, found)
    weighted = weighted_robust(fit).read(rise(fit))
    assert weighted.estimate == pytest.approx(GAIN12, abs=3 * weighted.std_error)
    assert weighted.std_error < bias / 8 and found.effective < found.retested


def test_leaving_again_and_again_is_undone_too():
    rows, _ = leavers(6000, 2, steps=(4, 8))
    found = made.retested(rows, courses(rows), SETTINGS)
    fit = weighted_fit(rows, found)
    weighted = weighted_robust(fit).read(rise(fit))
    stayed = rows.filter(pl.col("week").max().over("client_key") >= 10)
    plain = fit_mixed(stayed, VISITS)
    assert plain.contrast(rise(plain)).estimate > GAIN12 + 4
    # weights cut at 1 and 99 % leave a little of it: under a tenth
    assert weighted.estimate == pytest.approx(GAIN12, abs=3 * weighted.std_error + 0.4)


def test_the_chances_are_those_of_an_independent_logistic_fit(left):
    rows, found = left
    risk = made.at_risk(rows, courses(rows), SETTINGS).sort("client_key", "tested_on")
    again = risk["again"].cast(pl.Float64).to_numpy()
    stable = np.column_stack([np.ones(len(again)), risk["is_first"]])  # one later week: it tells the same
    whole = np.column_stack([stable, risk["baseline_cmh2o"], risk["rise_cmh2o"]])
    above, below = (sm.Logit(again, x).fit(disp=False, method="newton", tol=1e-12).predict() for x in (stable, whole))
    raw = risk.with_columns(pl.Series("ratio", above / below)).filter("retested").group_by("client_key").agg(
        pl.col("ratio").product()).sort("client_key")["ratio"].to_numpy()  # fmt: skip
    ours = found.weight["weight"].to_numpy()
    inside = ours == np.clip(ours, *np.quantile(raw, (0.011, 0.989)))
    assert inside.mean() > 0.97
    assert ours[inside] == pytest.approx(raw[inside], rel=1e-6)
    assert found.cut_pct == pytest.approx(2.0, abs=0.2)


def test_who_is_at_risk_by_hand():
    """a: weeks 0, 5, 11; b: week 0 and 5, then nothing; c: as b, but in an open course of nine weeks: not over."""
    kept = {0: [1, 1, 1], 5: [1, 1, 1], 11: [1, 0, 0]}
    values = {0: [50.0, 60.0, 70.0], 5: [55.0, 58.0, 71.0], 11: [60.0, 0.0, 0.0]}
    rows = completed(pl.concat([one_visit(range(3), values[w], w, [bool(k) for k in kept[w]]) for w in kept]))
    frames = courses(rows)
    key = pl.col("client_key")
    frames["courses"] = frames["courses"].with_columns(
        (key == "p00002").alias("is_open"),
        pl.when(key == "p00002").then(START + timedelta(weeks=9)).otherwise("last_on").alias("last_on"))
    risk = made.at_risk(rows, frames, SETTINGS)
    assert risk["client_key"].to_list() == ["p00000", "p00000", "p00001", "p00001"]
    assert risk["again"].to_list() == [True, True, True, False]
    assert risk["retested"].to_list() == [True, True, False, False]
    assert risk["rise_cmh2o"].to_list() == [0.0, 5.0, 0.0, -2.0]
    assert risk["done"].to_list() == [None, 0.8, None, 0.8]


def test_an_open_course_whose_window_has_passed_counts():
    rows, _ = leavers(80, 3)
    whole = made.at_risk(rows, courses(rows), SETTINGS)
    passed = made.at_risk(rows, courses(rows, is_open=True), SETTINGS)
    running = made.at_risk(rows, courses(rows, is_open=True, last_on=START + timedelta(weeks=15)), SETTINGS)
    assert passed.equals(whole) and running.is_empty()


def test_too_few_lost_or_kept_are_not_weighed():
    rows, _ = leavers(400, 4)
    late = pl.col("week").max().over("client_key") >= 10
    gone = rows.filter(~late)["client_key"].unique().sort()
    few = rows.filter(late | pl.col("client_key").is_in(gone[:10].to_list()))
    trouble = made.retested(few, courses(few), SETTINGS).trouble
    assert trouble == "at most 10 people were not retested, too few to weigh for"
    enough = rows.filter(late | pl.col("client_key").is_in(gone[:40].to_list()))
    assert made.retested(enough, courses(enough), SETTINGS).weight is not None
    stayed = rows.filter(late)["client_key"].unique().sort()[:9].to_list()
    lone = rows.filter(~late | pl.col("client_key").is_in(stayed))
    assert made.retested(lone, courses(lone), SETTINGS).trouble == "at most 10 people were retested, too few to weigh"


def test_where_being_retested_is_certain_it_says_so():
    """Everybody whose pressure fell by week 4 leaves and nobody else: the rise tells who stays."""
    rows, _ = leavers(500, 5)
    base = pl.col("value_cmh2o").filter(pl.col("week") == 0).first().over("client_key")
    early = pl.col("value_cmh2o").filter(pl.col("week") == 4).first().over("client_key")
    late = (pl.col("week") > 4).any().over("client_key")
    rows = rows.filter((pl.col("week") <= 4) | (early - base > 2)).filter((early - base < 2) | late | early.is_null())
    assert made.retested(rows, courses(rows), SETTINGS).trouble == made.CERTAIN


def test_a_step_that_lost_nobody_is_taken_as_certain():
    rows, _ = leavers(300, 6, steps=(4,))
    stayed = rows.filter(pl.col("week") == 4)["client_key"].to_list()
    nobody_lost_at_first = rows.filter(pl.col("client_key").is_in(stayed))
    found = made.retested(nobody_lost_at_first, courses(nobody_lost_at_first), SETTINGS)
    assert found.weight is not None and found.largest > 1.2


@pytest.fixture(scope="module")
def rows_of_sample(results):
    return [r for r in results.rows if r.section == "choices" and made.NAME in r.group]


def test_the_sample_has_a_row_for_every_question(rows_of_sample):
    for pressure in ("mip", "mep"):
        mine = [r for r in rows_of_sample if r.group.startswith(f"pressure={pressure}")]
        asked = [r for r in mine if r.statistic in (GAIN, DIFFERENCE, DOSE)]
        assert len(asked) == 5 and all(r.low < r.value < r.high and r.n > 1000 and r.n_of == "tests" for r in asked)
        facts = {r.statistic: r.value for r in mine if r.statistic in ("effective_n", "largest_weight", "cut_pct")}
        assert 200 < facts["effective_n"] < 420 and 1 < facts["largest_weight"] < 10 and 0 < facts["cut_pct"] <= 4


def test_the_sample_agrees_with_its_primary(rows_of_sample, by_key):
    """The sample's people leave by what was seen, which the primary model allows for as well: the two agree."""
    one = next(r for r in rows_of_sample if r.statistic == GAIN and r.group.startswith("pressure=mip"))
    main = by_key["protocols.choices.gain_cmh2o[pressure=mip;kind=primary;choice=primary]@12"]
    assert one.value == pytest.approx(main.value, abs=1.0)
