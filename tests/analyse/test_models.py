"""Recipes of models, and what is built of them."""

from __future__ import annotations

import pytest

from pipeline.analyse.models import MODELS, build
from pipeline.settings import Settings


@pytest.mark.parametrize("more", [(), ("site_slope",)])
def test_sites_drawn_at_random_can_be_put_back_into_the_mean(more):
    """The weighted fit has no random sites: of many sites it must hold them as terms, not go without."""
    recipe = MODELS["R1"].having(*more)
    built = build(recipe, Settings(), random_sites=True)
    assert "site" not in built.recipe.terms
    assert set(built.fixed_recipe.terms) == set(recipe.terms)
    assert build(recipe, Settings()).fixed_recipe == recipe
