"""Mixed models behind one door: `MixedModel`, `Varies`, `fit_mixed`, `MixedFit`. Pure: no file, no clock, no chance."""

from pipeline.stats.contrasts import Contrast, FTest, contrast, holm, tukey_kramer
from pipeline.stats.explained import Explained, explained, icc_at
from pipeline.stats.marginal import marginal_means, marginal_slopes, pairwise
from pipeline.stats.mixed import MixedFit, fit_mixed
from pipeline.stats.model import CannotFit, MixedModel, Varies
from pipeline.stats.predict import gains, predict, random_effects
from pipeline.stats.standardised import StandardisedEffect, standardised_effect

__all__ = [
    "CannotFit",
    "Contrast",
    "Explained",
    "FTest",
    "MixedFit",
    "MixedModel",
    "StandardisedEffect",
    "Varies",
    "contrast",
    "explained",
    "fit_mixed",
    "gains",
    "holm",
    "icc_at",
    "marginal_means",
    "marginal_slopes",
    "pairwise",
    "predict",
    "random_effects",
    "standardised_effect",
    "tukey_kramer",
]
