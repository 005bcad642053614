"""The sums formed by SQL are the sums formed by NumPy, and the fit from either is the fit from the rows."""

import duckdb
import numpy as np
import polars as pl
import pytest
from numpy.testing import assert_allclose

from bench.cohort import cohort
from bench.sql_sums import Layout, sums_from_sql
from pipeline.stats import MixedModel, Varies, fit_mixed
from pipeline.stats.elsewhere import fit_from_sums
from pipeline.stats.sums import Sums, as_patterns, from_rows

WEEK_CENTRE = 10
TIME = "(cast(weeks as double) - 10) / 12e0"
COLUMNS = ("1e0", TIME, "adherence - 5e-1", "effort - 5e-1", f"{TIME} * (adherence - 5e-1)", "mip_cmh2o - 75")
NAMES = ("1", "time", "adherence", "effort", "time:adherence")


@pytest.fixture(scope="module")
def rows():
    """400 clients of 3 sites in few patterns: weeks without jitter, so that many clients share theirs."""
    return cohort(400, seed=8, sites=3).with_columns(weeks=pl.col("weeks") // 4 * 4).sort("site", "client_key", "weeks")


def by_sql(rows, layout):
    database = duckdb.connect()
    database.register("tests", rows.to_arrow())
    return sums_from_sql(database, layout)


def by_numpy(rows, outer):
    """The same columns in NumPy; time is scaled after grouping, so that equal patterns are equal to the last bit."""
    time = (rows["weeks"].to_numpy() - 10.0) / 12.0
    adherence, effort = rows["adherence"].to_numpy() - 0.5, rows["effort"].to_numpy() - 0.5
    x = np.column_stack([np.ones(len(time)), time, adherence, effort, time * adherence])
    z = np.column_stack([np.ones(len(time)), rows["weeks"].to_numpy() - 10.0])
    starts = np.flatnonzero(rows["client_key"].to_numpy() != np.roll(rows["client_key"].to_numpy(), 1))
    site = rows["site"].to_numpy()[starts]
    outer_starts = np.flatnonzero(site != np.roll(site, 1)) if outer else np.array([0])
    own = np.ones((len(time), int(outer)))
    sums = as_patterns(from_rows(z, own, x, rows["mip_cmh2o"].to_numpy() - 75.0, starts, outer_starts))
    return sums.in_basis(np.diag([1.0, 1.0 / 12.0]), np.eye(sums.k), int(outer))


@pytest.mark.parametrize("outer", [False, True])
def test_sql_sums_are_numpy_sums(rows, outer):
    extra = {"outer": "site", "outer_columns": 1} if outer else {}
    columns = ("1e0", *COLUMNS) if outer else COLUMNS
    theirs = by_sql(rows, Layout("tests", columns, WEEK_CENTRE, **extra))
    ours = by_numpy(rows, outer)
    assert len(theirs.rows) < 400  # several clients share a pattern
    for name in Sums.__dataclass_fields__:
        if name not in ("zw", "pairs"):
            assert_allclose(getattr(theirs, name), getattr(ours, name), rtol=1e-10, atol=1e-8, err_msg=name)
    # SQL keeps the symmetric half of a_j b_k; the criterion reads no other part of it
    half = (ours.pairs + np.swapaxes(ours.pairs, 3, 4)) / 2.0
    assert_allclose(theirs.pairs, half, rtol=1e-10, atol=1e-8)


def test_the_fit_from_sql_sums_is_the_fit_from_rows(rows):
    model = MixedModel("y", "1 + t + a + e + t:a", (Varies("client_key", "1 + t"),))
    found = fit_from_sums(by_sql(rows, Layout("tests", COLUMNS, WEEK_CENTRE)), model, NAMES)
    centred = rows.with_columns(
        t=(pl.col("weeks") - 10) / 12, a=pl.col("adherence") - 0.5, e=pl.col("effort") - 0.5, y=pl.col("mip_cmh2o") - 75
    )
    whole = fit_mixed(centred, model)
    assert found.log_likelihood == pytest.approx(whole.log_likelihood, abs=1e-7)
    assert found.residual_sd == pytest.approx(whole.residual_sd, rel=1e-8)
    for column in ("estimate", "std_error", "df"):
        assert_allclose(found.mean_terms[column].to_numpy(), whole.mean_terms[column].to_numpy(), rtol=1e-7)
