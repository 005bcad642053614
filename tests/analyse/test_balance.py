"""Balance, overlap and the limits below which nobody is weighted."""

from itertools import pairwise

import numpy as np
import polars as pl
import pytest

from pipeline.analyse.balance import balanced, bins
from pipeline.analyse.fits import fit_pressure
from pipeline.analyse.weighting import INVERSE, OVERLAP, weighing
from pipeline.identity.small_cells import broken_sums
from pipeline.settings import Settings
from pipeline.simulate.model_frame import simulate_model_frame

SETTINGS = Settings()


def test_bins_hold_eleven_people_or_are_joined():
    draw = np.random.default_rng(2).beta(3, 6, 180)
    made = bins(draw)
    assert sum(n for *_, n in made) == 180 and all(n >= 11 for *_, n in made)
    assert all(a[1] == b[0] for a, b in pairwise(made))
    for low, high, n in made:
        assert n == int(((draw >= low) & (draw < high)).sum())


def test_too_few_for_two_bins_are_one():
    assert bins(np.array([0.11, 0.32, 0.33])) == [(0.1, 0.35, 3)]
    assert bins(np.array([])) == []


def cohort(protocols, seed=6, n=260):
    frame = simulate_model_frame(n, seed).filter(pl.col("protocol").is_in(protocols))
    found = fit_pressure(frame, "mip", SETTINGS)
    keys = frame["client_key"].unique().sort()
    ages = frame.unique("client_key").sort("client_key")["age_years"]
    draw = np.random.default_rng(seed)
    courses = pl.DataFrame({"client_key": keys, "course_no": [1] * len(keys), "is_primary": [True] * len(keys),
                            "age_years": ages, "referral_reason": draw.choice(["cough", "voice"], len(keys))})
    return found, {"model": frame, "courses": courses}


@pytest.fixture(scope="module")
def two():
    return cohort(["firm_5x6", "steady_30"])


def test_two_protocols_take_overlap_weights_and_their_means_agree(two):
    found, frames = two
    made = weighing(found, frames, SETTINGS)
    assert made.kind == OVERLAP and made.trouble == ""
    given = np.array(made.columns.people["protocol"].to_list())
    one, other = (given == g for g in made.made.groups)
    for column in made.columns.x.T[1:]:
        means = [np.average(column[part], weights=made.weight[part]) for part in (one, other)]
        assert abs(means[0] - means[1]) < 1e-10 * max(1.0, float(np.abs(column).max()))


def test_the_table_of_two_shows_balance_reached_and_its_sums_hold(two):
    found, frames = two
    said = balanced(frames, {"mip": found}, SETTINGS)
    assert broken_sums(said) == []
    before = {r.group: r.value for r in said.rows if r.statistic == "smd_before"}
    after = {r.group: r.value for r in said.rows if r.statistic == "smd_after"}
    assert set(before) == set(after)
    age = next(g for g in before if "covariate=age_years;" in g)
    assert after[age] < 1e-10 < before[age]
    levels = [r for r in said.rows if r.statistic == "smd_before" and ":" in r.group]
    assert levels and all(r.n_people is not None for r in levels)
    assert any(" squared" in g for g in before) and any(" x " in g for g in before)
    people = {r.group: r.n for r in said.rows if r.statistic == "people"}
    effective = {r.group: r.value for r in said.rows if r.statistic == "effective_n"}
    assert all(effective[g] <= people[g] for g in effective)


def test_three_protocols_take_inverse_probability_weights():
    found, frames = cohort(["firm_5x6", "steady_30", "ladder_6"])
    made = weighing(found, frames, SETTINGS)
    assert made.kind == INVERSE and made.weight is not None
    given = np.array(made.columns.people["protocol"].to_list())
    assert all(made.weight[given == g].mean() == pytest.approx(1.0) for g in made.made.groups)


def test_a_small_protocol_is_not_weighted_and_its_people_are_counted(two):
    found, frames = two
    said = balanced(frames, {"mip": found}, Settings(min_per_protocol_weights=500))
    lacks = next(r for r in said.rows if r.statistic == "not_weighted")
    counts = found.rows.filter(pl.col("is_baseline")).unique("client_key")["protocol"].value_counts()["count"]
    assert lacks.n == counts.min()
    assert next(r for r in said.rows if r.statistic == "needed").value == 500.0
    assert not any(r.statistic.startswith("smd") for r in said.rows)


def test_a_covariate_that_tells_the_protocol_leaves_nobody_to_weigh(two):
    found, frames = two
    protocol = found.rows.unique("client_key").select("client_key", "protocol")
    courses = frames["courses"].join(protocol, on="client_key").with_columns(
        pl.when(pl.col("protocol") == "firm_5x6").then(pl.lit(40)).otherwise(pl.lit(70)).alias("age_years"))
    made = weighing(found, {**frames, "courses": courses}, SETTINGS)
    assert made.weight is None and "no chance of another group is left" in made.trouble
