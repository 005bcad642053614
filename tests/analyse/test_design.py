"""Time forms and tidy rows: 0 at the baseline, straight outside the knots, rare groups joined."""

import numpy as np
import polars as pl
import pytest

from pipeline.analyse.design import FEWEST_IN_A_LEVEL, natural_spline, prepared, time_form
from pipeline.settings import Settings
from pipeline.simulate.model_frame import simulate_model_frame

KNOTS = np.array([0.0, 1 / 3, 1.0, 26 / 12])


@pytest.mark.parametrize("kind", ["linear", "root", "log", "spline 2", "spline 3", "spline 4"])
def test_every_form_is_zero_at_the_baseline_and_has_its_columns(kind):
    form = time_form(kind, Settings())
    made = form.columns(np.array([-3.0, 0.0, 12.0]))
    assert made.shape == (3, len(form.names))
    assert np.all(made[:2] == 0.0)
    assert np.all(made[2] != 0.0)


def test_spline_is_straight_outside_its_knots_and_bent_within():
    x = np.linspace(3.0, 4.0, 11)
    assert np.abs(np.diff(natural_spline(x, KNOTS), 2, axis=0)).max() < 1e-12
    inside = np.linspace(0.1, 2.0, 11)
    assert np.abs(np.diff(natural_spline(inside, KNOTS)[:, 1:], 2, axis=0)).max() > 1e-4


def test_spline_spans_what_a_textbook_basis_spans():
    """The truncated-power form and cubic pieces with natural ends fit the same curves: residual of one on the other."""
    from scipy.interpolate import CubicSpline

    x = np.linspace(0, KNOTS[-1], 60)
    ours = np.column_stack([np.ones(60), natural_spline(x, KNOTS)])
    theirs = np.column_stack([CubicSpline(KNOTS, row, bc_type="natural")(x) for row in np.eye(4)])
    left = theirs - ours @ np.linalg.lstsq(ours, theirs, rcond=None)[0]
    assert np.abs(left).max() < 1e-10


def test_rows_are_in_order_and_rare_conditions_join_other():
    frame = simulate_model_frame(60, 3)
    rare = sorted(frame["client_key"].unique().to_list())[: FEWEST_IN_A_LEVEL - 1]
    frame = frame.with_columns(
        pl.when(pl.col("client_key").is_in(rare)).then(pl.lit("stroke")).otherwise(pl.lit("copd")).alias("condition_group"),
        pl.when(pl.col("test_no") == 2).then(None).otherwise(pl.col("efforts_kept")).alias("efforts_kept"),
    )
    rows = prepared(frame.sample(fraction=1.0, shuffle=True, seed=1), "mip")
    assert rows.equals(rows.sort("client_key", "tested_on"))
    assert set(rows["condition_group"]) == {"copd", "other"}
    assert rows.filter(pl.col("test_no") == 2)["efforts_more"].unique().to_list() == [0.0]


def test_only_first_courses_and_one_pressure_stay():
    frame = simulate_model_frame(20, 3)
    second = frame.with_columns(is_primary=pl.lit(False), course_no=pl.lit(2, pl.Int64))
    other = frame.with_columns(pressure=pl.lit("mep"))
    assert prepared(pl.concat([frame, second, other]), "mip").height == frame.height
