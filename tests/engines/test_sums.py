"""A model fitted from the sums of an engine is the model fitted from the rows, to 1e-8: only sums leave the engine."""

from __future__ import annotations

from pathlib import Path

import polars as pl
import pytest
from numpy.testing import assert_allclose

from bench.cohort import cohort
from pipeline.derive_sums import AtEngine, sums_by
from pipeline.engines import Engine, opened, parse
from pipeline.stats import MixedModel, Varies, fit_mixed
from pipeline.stats.elsewhere import SumsFit, fit_from_sums
from pipeline.stats.sums_sql import Layout

DAYS = "cast(floor(m.week * 7e0 + 5e-1) as bigint)"
TIME = f"(cast({DAYS} as double) - 70) / 84e0"
DOSE, WITHIN = "m.between_dose - 5e-1", "m.within_dose"
MODEL = MixedModel("y", "1 + t + d + w", (Varies("client_key", "1 + t"),))
LAYOUT = Layout("frames.model as m", ("1e0", TIME, DOSE, WITHIN, "m.value_cmh2o - 75e0"), 70, weeks=DAYS,
                units_in_12_weeks=84)


@pytest.fixture(scope="module")
def rows() -> pl.DataFrame:
    """A model frame as a derivation makes it: 300 clients, tests on single days."""
    made = cohort(300, seed=11, slope_sd=6.0)
    key = "C" + pl.col("client_key").cast(pl.String).str.zfill(8)
    return made.select(key.alias("client_key"), (pl.col("weeks").cast(pl.Float64)).alias("week"),
                       pl.col("adherence").alias("between_dose"), pl.col("adherence_within").alias("within_dose"),
                       pl.col("mip_cmh2o").alias("value_cmh2o"))


def fitted(engine: Engine, rows: pl.DataFrame, folder: Path) -> SumsFit:
    place = folder / "frames.model"
    place.mkdir()
    rows.write_parquet(place / "rows.parquet")
    engine.table("frames.model", place)
    sums = sums_by(AtEngine(engine, folder / "answers"), LAYOUT)
    assert len(sums.rows) < rows.height  # patterns of clients, not rows
    return fit_from_sums(sums, MODEL, ("1", "t", "d", "w"))


@pytest.mark.parametrize("word", ["slices:1", "slices:7", "sc"])
def test_the_fit_from_an_engines_sums_is_the_fit_from_rows(
    word: str, rows: pl.DataFrame, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    choice = parse(request.getfixturevalue("address") if word == "sc" else word)
    assert choice is not None
    with opened(choice, choice.slices, tmp_path / "_spill") as engine:
        found = fitted(engine, rows, tmp_path)
    centred = rows.with_columns(t=(pl.col("week") - 10) / 12, d=pl.col("between_dose") - 0.5, w=pl.col("within_dose"),
                                y=pl.col("value_cmh2o") - 75)
    whole = fit_mixed(centred, MODEL)
    assert found.log_likelihood == pytest.approx(whole.log_likelihood, rel=1e-8)
    assert found.residual_sd == pytest.approx(whole.residual_sd, rel=1e-8)
    for column in ("estimate", "std_error", "df"):
        assert_allclose(found.mean_terms[column].to_numpy(), whole.mean_terms[column].to_numpy(), rtol=1e-8, atol=1e-8)
