"""Mixed models behind one door: `MixedModel`, `Varies`, `fit_mixed`, `MixedFit`. Pure: no file, no clock, no chance."""

from pipeline.stats.contrasts import Contrast, FTest, contrast, holm, tukey_kramer
from pipeline.stats.mixed import MixedFit, fit_mixed
from pipeline.stats.model import CannotFit, MixedModel, Varies
from pipeline.stats.predict import gains, predict, random_effects

__all__ = [
    "CannotFit",
    "Contrast",
    "FTest",
    "MixedFit",
    "MixedModel",
    "Varies",
    "contrast",
    "fit_mixed",
    "gains",
    "holm",
    "predict",
    "random_effects",
    "tukey_kramer",
]
