"""The gate reads the design alone, its numbers are those of the textbook algebra, and its ladder has four rungs."""

from dataclasses import replace
from math import inf

import numpy as np
import polars as pl
import pytest

from pipeline.analyse.contrasts import centred, reader
from pipeline.analyse.design import prepared
from pipeline.analyse.gate import assumed, block_vif, gate, rung, site_overlap
from pipeline.analyse.models import MODELS, build
from pipeline.analyse.who import who_of
from pipeline.settings import Settings
from pipeline.simulate.model_frame import simulate_model_frame, tied_sites
from pipeline.stats.planned import planned

SETTINGS = Settings()


def rows_of(n, seed=1, **more):
    return prepared(simulate_model_frame(n, seed, **more), "mip")


@pytest.mark.parametrize(("people", "expected"), [(20, "R4"), (45, "R3"), (100, "R2"), (300, "R1")])
def test_ladder(people, expected):
    assert rung(who_of(rows_of(people)), SETTINGS)[0] == expected


def test_under_half_with_three_tests_is_the_lowest_rung_however_many_people():
    rows = rows_of(300).filter(pl.col("test_no") <= 2)
    assert rung(who_of(rows), SETTINGS) == ("R4", "under half of the people have three tests or more")


def test_no_outcome_is_read():
    """The same verdict without the outcome's column, and with every outcome turned into noise."""
    rows = rows_of(120)
    seen, blind = gate(rows, "mip", SETTINGS), gate(rows.drop("value_cmh2o", "true_level_cmh2o"), "mip", SETTINGS)
    assert (seen.detectable, seen.vif, seen.answers) == (blind.detectable, blind.vif, blind.answers)


def test_information_is_that_of_the_dense_algebra():
    rows = rows_of(15)
    built = build(MODELS["R2"], SETTINGS)
    x = reader(rows, centred(rows, built), built).design.values
    psi = np.diag([SETTINGS.planning_level_sd_cmh2o**2, SETTINGS.planning_slope_sd_cmh2o**2])
    z = np.column_stack([np.ones(rows.height), rows["time12"].to_numpy()])
    same = rows["client_key"].to_numpy()[:, None] == rows["client_key"].to_numpy()
    v = same * (z @ psi @ z.T) + SETTINGS.mip_sem_cmh2o**2 * np.eye(rows.height)
    found = assumed(rows, x, "mip", SETTINGS).information
    np.testing.assert_allclose(found, x.T @ np.linalg.solve(v, x), rtol=1e-9)


def test_vif_of_one_column_is_one_over_one_less_r_squared_whatever_the_basis():
    rng = np.random.default_rng(4)
    x = np.column_stack([np.ones(200), rng.standard_normal((200, 3))])
    x[:, 3] += 0.8 * x[:, 1]
    centre = x[:, 1:] - x[:, 1:].mean(0)
    r = np.corrcoef(centre.T)
    expected = np.linalg.inv(r)[2, 2]
    assert block_vif(x.T @ x, [3], [0]) == pytest.approx(expected, rel=1e-9)
    turned = x.copy()
    turned[:, 1:3] = x[:, 1:3] @ np.array([[2.0, 1.0], [0.5, -3.0]])
    assert block_vif(turned.T @ turned, [1, 2], [0]) == pytest.approx(block_vif(x.T @ x, [1, 2], [0]), rel=1e-9)


def test_what_the_design_cannot_tell_has_no_finite_error():
    x = np.column_stack([np.ones(20), np.arange(20.0), 2 * np.arange(20.0)])
    design = planned(x, np.ones((20, 1)), np.arange(0, 20, 5), np.eye(1), 1.0)
    assert design.detectable(np.array([0.0, 1.0, 0.0])) == inf
    assert np.isfinite(design.detectable(np.array([0.0, 1.0, 2.0])))


def test_detectable_difference_falls_with_people_and_decides_the_answer():
    few, many = (gate(rows_of(n), "mip", SETTINGS) for n in (70, 400))
    pair = "firm_5x6 - steady_30"
    assert few.detectable[pair] / many.detectable[pair] == pytest.approx((400 / 70) ** 0.5, rel=0.25)
    assert (few.answers["protocol"].verdict, many.answers["protocol"].verdict) == ("cannot", "can answer")
    assert few.answers["protocol"].more_tests > 0
    strict = replace(SETTINGS, widest_protocol_difference_cmh2o=few.detectable[pair] * 3)
    assert gate(rows_of(70), "mip", strict).answers["protocol"].verdict == "can answer"


def test_protocols_tied_to_sites_need_site_by_time_and_one_at_one_site_is_not_separable():
    study, truth = tied_sites()
    rows = prepared(simulate_model_frame(200, 2, truth, study), "mip")
    assert site_overlap(who_of(rows), SETTINGS) == (True, frozenset())
    assert "site_slope" in gate(rows, "mip", SETTINGS).recipe.terms
    apart = rows.filter((pl.col("protocol") != "firm_5x6") | (pl.col("site") == "mill"))
    assert site_overlap(who_of(apart), SETTINGS)[1] == {"firm_5x6"}
    assert site_overlap(who_of(rows_of(300)), SETTINGS) == (False, frozenset())
