"""What a fit from sums says when it cannot be made: the sentence that the rows would have got."""

from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from pipeline.stats import CannotFit, MixedModel, Varies, fit_from_sums, fit_mixed
from tests.stats.programme import CLIENT, CLIENT_LEVEL, SITE, SITE_LEVEL, model, programme, sums_of

FEW = ("time12", "age")


def refused(rows: pl.DataFrame, made: MixedModel, terms: tuple[str, ...] = FEW) -> str:
    """The sentence of the fit from sums, which must be that of the fit from rows."""
    outer = None if len(made.varies) == 1 else 2 if "time12" in made.varies[1].terms else 1
    with pytest.raises(CannotFit) as by_rows:
        fit_mixed(rows, made)
    with pytest.raises(CannotFit) as by_sums:
        fit_from_sums(sums_of(rows, terms, outer), made, ("Intercept", *terms))
    assert str(by_sums.value) == str(by_rows.value)
    return str(by_sums.value)


def small(**how) -> pl.DataFrame:
    return programme(40, sites=3, **how)


def test_one_group_is_none_to_compare():
    rows = small()
    one = rows.filter(pl.col("client_key") == rows["client_key"][0])
    assert "only one 'client_key'" in refused(one, model(CLIENT_LEVEL, terms=FEW))
    assert "only one 'site'" in refused(rows.with_columns(site=pl.lit(0)), model(CLIENT, SITE_LEVEL, terms=FEW))


def test_two_groupings_that_are_one():
    rows = small().with_columns(site=pl.col("client_key")).sort("site", "time12")
    assert "holds one group of 'client_key'" in refused(rows, model(CLIENT_LEVEL, SITE_LEVEL, terms=FEW))


def test_fewer_rows_than_terms():
    rows = small().group_by("client_key").head(1).sort("site", "client_key").head(3)
    assert "3 rows cannot carry 3 terms" in refused(rows, model(CLIENT_LEVEL, terms=FEW))


def test_an_outcome_without_variation():
    for value in (0.0, 4.0):
        rows = small().with_columns(y=pl.lit(value))
        assert "the same value in all" in refused(rows, model(CLIENT, SITE, terms=FEW))


def test_an_outcome_that_the_terms_give_exactly():
    rows = small().with_columns(y=pl.col("time12") * 2.0 - pl.col("age") / 7.0)
    assert "reproduce the outcome exactly" in refused(rows, model(CLIENT, terms=FEW))


def test_clients_with_one_test_each():
    rows = small().group_by("client_key").head(1).sort("site", "client_key")
    assert "All 40 groups of 'client_key' have one row" in refused(rows, model(CLIENT_LEVEL, terms=FEW))
    rows = small().group_by("client_key").head(2).sort("site", "client_key", "time12")
    rows = rows.with_columns(time12=pl.int_range(pl.len()) % 2 * 1.0)
    assert "2 rows or fewer" in refused(rows, model(CLIENT, terms=FEW))


def test_time_that_stands_still_has_no_slope():
    rows = small().with_columns(time12=pl.lit(1.0))
    assert "'time12' by 'client_key'" in refused(rows, model(CLIENT, terms=("age",)), ("age",))
    assert "'time12' by 'site'" in refused(rows, model(CLIENT_LEVEL, SITE, terms=("age",)), ("age",))


def test_terms_that_are_zero_everywhere():
    rows = small().with_columns(zero=pl.lit(0.0))
    sums = sums_of(rows, ("zero",))
    only = sums.in_basis(np.eye(2), np.eye(3)[:, 1:], 0)
    with pytest.raises(CannotFit, match="Every term of the mean is 0 in every row"):
        fit_from_sums(only, MixedModel("y", "0 + zero", (CLIENT,)), ("zero",))


def test_sums_that_are_not_those_of_the_model():
    sums = sums_of(small(), FEW, 1)
    names = ("Intercept", *FEW)
    for made, said in ((model(CLIENT, SITE, terms=FEW), "hold 1 random columns by 'site', the model 2"),
                       (model(Varies("client_key", "1 + a + b"), terms=FEW), "'1 \\+ a \\+ b' cannot be made"),
                       (model(Varies("client_key", "0 + time12"), terms=FEW), "cannot be made of them")):  # fmt: skip
        with pytest.raises(CannotFit, match=said):
            fit_from_sums(sums, made, names)
    with pytest.raises(CannotFit, match="3 terms and an outcome; got 2 names"):
        fit_from_sums(sums, model(CLIENT, terms=FEW), names[:2])
    with pytest.raises(CannotFit, match="A sum is infinite or missing"):
        fit_from_sums(replace(sums, total=sums.total * np.nan), model(CLIENT, terms=FEW), names)
    apart = Varies("client_key", "1 + time12", correlated=False)
    with pytest.raises(CannotFit, match="hang on where time is 0"):
        fit_from_sums(sums, model(apart, terms=FEW), names, t_centre=1.0)
