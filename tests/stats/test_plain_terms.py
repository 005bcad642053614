"""The short way round formulaic gives formulaic's names, order and numbers, or steps aside."""

import numpy as np
import polars as pl
import pytest
from formulaic import Formula

from pipeline.stats import CannotFit
from pipeline.stats.formula import columns
from pipeline.stats.plain_terms import plain_recipe, plain_terms

FRAME = pl.DataFrame(
    {
        "t": [0.0, 1.5, 2.0, 3.0, 4.0, 5.5],
        "n": [1, 2, 3, 4, 5, 6],
        "arm": ["b", "a", "c", "a", "b", "c"],
        "site": ["x", "y", "x", "y", "x", "y"],
        "device": ["q", "q", "p", "r", "p", "r"],
    }
)
PLAIN = [
    "1",
    "1 + t",
    "t",
    "1 + t * arm",
    "1 + arm * t",
    "1 + t + arm + t:arm",
    "1 + site + t * arm + n",
    "1 + arm * site",
    "1 + site * arm",
    "1 + arm + t*site + arm:t",
    "1 + t * n * arm",
    "1 + arm * site * device",
    "1 + device * arm * t",
    "1 + t + t",
    "1 + n + arm:site + site + arm",
    "1 + (t + arm)",
    "1 + t * (arm + n) + site",
    "(t + arm) * (n + site) + device",
    "1 + arm * (t * (n + site))",
    "1 + (t + n) * arm:site + site + arm + (t + n) * (arm + site)",
    "1 + (t + n):arm + t*arm + n",
    "1 + t + n + arm:(t + n) + site",
    "1 + t + n + site + t:site:(n) + n:t + n:site + t:site",
    "1 + t + n + (arm + site + n):t",
    "1 + t:n + (t:n):arm",
]


@pytest.mark.parametrize("text", PLAIN)
def test_a_plain_formula_is_what_formulaic_makes_of_it(text):
    recipe = plain_recipe(FRAME, text)
    expected = Formula(text).get_model_matrix(FRAME, output="numpy")
    assert recipe.names() == tuple(expected.model_spec.column_names)
    assert np.array_equal(recipe.values(FRAME), np.asarray(expected, dtype=float))
    part = FRAME.head(2)
    assert np.array_equal(recipe.values(part), np.asarray(expected.model_spec.get_model_matrix(part), dtype=float))


LEFT = (
    "0 + t",
    "1 + t - 1",
    "1 + np.log(t)",
    "1 + C(n)",
    "1 + t * (1 + arm)",
    "1 + (t + arm",
    "1 + t)",
    "1 + t t",
    "1 + t * (t + arm)",
    "1 + t**2",
    "1 + I(t - 1)",
    "t + 1",
    "1 +",
)


@pytest.mark.parametrize("text", LEFT)
def test_anything_else_is_left_to_formulaic(text):
    assert plain_terms(text) is None


@pytest.mark.parametrize("text", ["1 + t:arm", "1 + arm:site", "1 + arm + arm:site", "1 + t + arm:site:t + arm:t"])
def test_levels_without_a_reference_are_left_to_formulaic(text):
    recipe = plain_recipe(FRAME, text)
    assert recipe is None
    assert any("[a]" in name or "[x]" in name for name in columns(FRAME, text).names)  # formulaic codes every level


def test_a_single_level_has_no_column_and_a_strange_one_is_named():
    one = FRAME.with_columns(arm=pl.lit("a"))
    expected = Formula("1 + t * arm").get_model_matrix(one, output="numpy")
    assert plain_recipe(one, "1 + t * arm").names() == tuple(expected.model_spec.column_names)
    with pytest.raises(CannotFit, match="'b', which the fit has not seen"):
        plain_recipe(one, "1 + arm").values(FRAME)
