"""Repeat tests of the cohort itself: which tests make a pair, the error they give, where it replaces the default."""

from dataclasses import replace
from datetime import date, timedelta
from math import sqrt

import numpy as np
import polars as pl
import pytest

from pipeline.analyse.effects import OWN_REPEATS, measurement_error
from pipeline.analyse.fits import PressureModels
from pipeline.analyse.repeats import pairs, repeats
from pipeline.settings import Settings

SETTINGS = Settings(min_repeat_people=2, repeat_days=14, familiar_tests=3)
DAY = date(2026, 1, 1)


def days(rows):
    """(client, series, day, test_no, value) a row."""
    return pl.DataFrame([(c, s, DAY + timedelta(days=d), k, v, "mip") for c, s, d, k, v in rows], orient="row",
                        schema={"client_key": pl.String, "series_no": pl.Int64, "tested_on": pl.Date,
                                "test_no": pl.Int64, "best_cmh2o": pl.Float64, "pressure": pl.String})  # fmt: skip


def test_pairs_are_close_familiar_comparable_and_do_not_overlap():
    found = pairs(days([
        ("a", 1, 0, 2, 50.0), ("a", 1, 7, 3, 52.0), ("a", 1, 14, 4, 55.0), ("a", 1, 21, 5, 54.0), ("a", 1, 28, 6, 53.0),
        ("b", 1, 0, 3, 70.0), ("b", 1, 15, 4, 75.0),  # too far apart
        ("c", 1, 0, 3, 70.0), ("c", 2, 7, 4, 75.0),  # another series
        ("d", 1, 0, 3, 70.0), ("e", 1, 7, 4, 75.0),  # two people
    ]), "mip", SETTINGS)  # fmt: skip
    assert found.select("client_key", "value_cmh2o").rows() == [("a", 52.0), ("a", 55.0), ("a", 54.0), ("a", 53.0)]
    assert found["pair"].n_unique() == 2


def test_the_error_by_hand():
    """Differences 3 and -5 of two people: SEM = sqrt((9 + 25) / 4), the second lies 1 below the first on average."""
    rows = [("a", 1, 0, 3, 50.0), ("a", 1, 9, 4, 53.0), ("b", 1, 0, 4, 65.0), ("b", 1, 9, 5, 60.0)]
    found = repeats(days(rows), "mip", SETTINGS)
    assert found.people == 2
    assert found.error.sem == pytest.approx(sqrt(34 / 4)) and found.error.df == 2
    assert found.error.sdc95 == pytest.approx(1.96 * sqrt(2) * sqrt(34 / 4))
    assert found.rise == pytest.approx(-1.0)


def test_too_few_people_are_nobody():
    one = days([("a", 1, 0, 3, 50.0), ("a", 1, 9, 4, 53.0)])
    assert repeats(one, "mip", SETTINGS) is None
    assert repeats(one, "mep", SETTINGS) is None


def test_the_interval_covers_the_error_that_made_the_tests():
    draw, inside = np.random.default_rng(4), 0
    for _ in range(200):
        level = draw.normal(60, 15, 25)
        rows = [(f"p{k:02d}", 1, 7 * i, 3 + i, level[k] + draw.normal(0, 8)) for k in range(25) for i in range(2)]
        own = repeats(days(rows), "mip", SETTINGS).error
        inside += own.low <= 8.0 <= own.high
    assert 182 <= inside <= 198  # 95 % of 200: outside this once in two hundred


def test_own_repeats_take_the_place_of_the_published_error_where_there_is_no_model():
    rows = [(f"p{k}", 1, 7 * i, 3 + i, 60.0 + 4.0 * i) for k in range(3) for i in range(2)]
    own = repeats(days(rows), "mip", SETTINGS)
    bare = PressureModels("mip", pl.DataFrame(), None)
    assert measurement_error(bare, SETTINGS).sem == SETTINGS.mip_sem_cmh2o
    found = measurement_error(replace(bare, repeats=own), SETTINGS)
    assert (found.sem, found.low, found.source) == (own.error.sem, own.error.low, OWN_REPEATS)


def test_on_the_sample_both_stand_with_interval_formula_and_people(by_key):
    model = by_key["quarter.gains.sem_cmh2o[pressure=mip]"]
    own = by_key["quarter.gains.sem_repeats_cmh2o[pressure=mip]"]
    change = by_key["quarter.gains.sdc95_repeats_cmh2o[pressure=mip]"]
    assert model.text.startswith("residual SD") and own.n >= Settings().min_repeat_people
    assert own.low < own.value < own.high
    assert change.value == pytest.approx(1.96 * sqrt(2) * own.value) and "1.96" in change.text
