"""The typed tables are the ones R ships, where R's data are at hand; and the sleep lines carry the same sums."""

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from tests.published import published_tables
from tests.published.r_data import r_frame


@pytest.mark.parametrize(("table", "name"), [("DYESTUFF", "Dyestuff"), ("DYESTUFF2", "Dyestuff2")])
def test_batches_are_those_of_r(table, name):
    theirs = r_frame(f"lme4::{name}").with_columns(pl.col("Batch").cast(pl.String))
    assert_frame_equal(published_tables.batches(getattr(published_tables, table)), theirs)


def test_orthodont_is_that_of_r():
    theirs = r_frame("nlme::Orthodont").with_columns(pl.col("Subject", "Sex").cast(pl.String)).sort("Subject", "age")
    ours = published_tables.orthodont().with_columns(pl.col("Sex").cast(pl.String)).sort("Subject", "age")
    assert_frame_equal(ours.select(theirs.columns), theirs)


def test_sleep_lines_carry_the_sums_of_the_rows():
    sums = [
        pl.col("Reaction").sum().alias("y"),
        (pl.col("Reaction") * pl.col("Days")).sum().alias("ty"),
        (pl.col("Reaction") ** 2).sum().alias("yy"),
    ]
    theirs = r_frame("lme4::sleepstudy").with_columns(pl.col("Subject").cast(pl.String))
    expected = theirs.group_by("Subject").agg(sums).sort("Subject")
    ours = published_tables.sleep_lines().group_by("Subject").agg(sums).sort("Subject")
    assert_frame_equal(ours, expected, rel_tol=1e-10)
