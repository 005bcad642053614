"""What holds for every equation, shipped or switched off: unit, range, and None instead of a guess."""

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.reference import EQUATIONS, PREDICTION_COLUMNS, SWITCHED_OFF, predictions

ALL = EQUATIONS + SWITCHED_OFF
every = pytest.mark.parametrize("equation", ALL, ids=lambda equation: equation.id)


def test_the_defaults_are_the_confirmed_three():
    assert [equation.id for equation in EQUATIONS] == ["harik_khan_1998_mip", "araujo_2024_mip", "araujo_2024_mep"]
    assert all(equation.status == "confirmed" for equation in EQUATIONS)
    assert not any(equation.status == "confirmed" for equation in SWITCHED_OFF)


@every
def test_ids_unit_and_source_are_stated(equation):
    assert [other.id for other in ALL].count(equation.id) == 1
    assert equation.unit == "cmH2O" and equation.pressure in {"mip", "mep"}
    assert equation.id.endswith(equation.pressure) and len(equation.citation) > 40


@every
def test_the_range_ends_are_in_and_beyond_is_none(equation):
    low, high = equation.ages_years
    for sex in ("female", "male"):
        assert equation.predict(sex, low, 170, 70) is not None and equation.predict(sex, high, 170, 70) is not None
        assert equation.predict(sex, low - 0.5, 170, 70) is None and equation.predict(sex, high + 0.5, 170, 70) is None


@every
@pytest.mark.parametrize("sex", ["other", "unknown", "", "F", None])
def test_other_sexes_are_none(equation, sex):
    assert equation.predict(sex, 50, 170, 70) is None
    assert equation.lower_limit_cmh2o(sex, 90.0) is None


@pytest.mark.parametrize("missing", [None, float("nan"), 0.0, -1.0])
def test_harik_khan_needs_weight_and_for_women_height(missing):
    predict = EQUATIONS[0].predict
    assert predict("male", 50, 170, missing) is None and predict("female", 50, 170, missing) is None
    assert predict("female", 50, missing, 70) is None
    assert predict("male", 50, missing, 70) == predict("male", 50, 170, 70)


@every
def test_no_age_is_none(equation):
    assert equation.predict("male", None, 170, 70) is None and equation.predict("male", float("nan"), 170, 70) is None


@given(st.sampled_from(EQUATIONS), st.sampled_from(["female", "male"]), st.floats(20, 79), st.floats(40, 110))
def test_older_is_weaker_and_the_limit_is_below(equation, sex, age, weight):
    younger, older = (equation.predict(sex, years, 165, weight) for years in (age, age + 1))
    assert older < younger
    assert equation.lower_limit_cmh2o(sex, older) == pytest.approx(older - 1.645 * equation.see_cmh2o[sex])


def _clients():
    return pl.DataFrame(
        {
            "client_key": ["b", "a", "c", "d"],
            "sex": ["male", "female", "unknown", "male"],
            "age_years": [70, 85, 40, 19],
            "height_cm": [172.0, 160.0, 170.0, 180.0],
            "weight_kg": [None, 66.0, 70.0, 80.0],
        }
    )


def test_predictions_are_long_sorted_and_hold_only_what_applies():
    out = predictions(_clients())
    assert dict(out.schema) == PREDICTION_COLUMNS
    # a: 85 years, past Araujo's 80; b: no weight, so no Harik-Khan; c: sex; d: too young for any.
    assert out.select("client_key", "equation").rows() == [
        ("a", "harik_khan_1998_mip"),
        ("b", "araujo_2024_mep"),
        ("b", "araujo_2024_mip"),
    ]


def test_predictions_do_not_depend_on_the_order_of_rows_and_can_be_empty():
    assert predictions(_clients().reverse()).equals(predictions(_clients()))
    empty = predictions(_clients().head(0))
    assert empty.height == 0 and dict(empty.schema) == PREDICTION_COLUMNS


def test_a_switched_off_equation_joins_only_when_asked_and_has_no_limit():
    out = predictions(_clients(), EQUATIONS + SWITCHED_OFF)
    row = out.filter(pl.col("equation") == "pessoa_2014_mip").row(0, named=True)
    assert row["client_key"] == "a" and row["lower_limit_cmh2o"] is None and row["see_cmh2o"] is None
