"""Section "fitted": how many people stand beside a term, so that no level's number can be had by subtraction."""

from __future__ import annotations

import polars as pl
import pytest

from pipeline.analyse.fits import PressureModels, fit_primary
from pipeline.analyse.protocol_models import fitted
from pipeline.settings import Settings
from pipeline.simulate.model_frame import simulate_model_frame

SETTINGS = Settings()


def counts(**protocols: int) -> tuple[int, dict[str, set[int | None]]]:
    """People in the model of a cohort with so many people by protocol, and those told beside each term (value, error
    and degrees of freedom)."""
    frame = simulate_model_frame(60, 7)
    names = [name for name, n in protocols.items() for _ in range(n)]
    given = dict(zip(frame["client_key"].unique().sort().to_list(), names, strict=True))
    mixed = frame.with_columns(pl.col("client_key").replace_strict(given).alias("protocol"))
    found: PressureModels = fit_primary(mixed, "mip", SETTINGS)
    assert found.working("primary") is not None
    told: dict[str, set[int | None]] = {}
    rows = fitted({"mip": found}, SETTINGS).rows
    for row in rows:
        if row.statistic.startswith("mean_term"):
            told.setdefault(row.group.partition("term=")[2], set()).add(row.n)
    everybody = next(r.n for r in rows if r.statistic == "people")
    assert everybody == 60 and any("protocol[T." in term for term in told)
    return everybody, told


@pytest.mark.parametrize("a", [9, 20])
def test_no_term_tells_how_many_people_its_level_has(a: int) -> None:
    """Less the others, the people that terms are measured against would follow; few or not, the whole is told."""
    everybody, told = counts(a=a, b=19, c=41 - a)
    assert all(n == {everybody} for n in told.values())


def test_a_term_of_a_few_people_tells_that_they_are_few() -> None:
    everybody, told = counts(a=21, b=9, c=30)
    few = {term: n for term, n in told.items() if n != {everybody}}
    assert few and all("protocol[T.b]" in term and n == {9} for term, n in few.items())
    assert {t for t in told if "protocol[T.b]" in t} == set(few)
