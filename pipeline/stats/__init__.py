"""Mixed models behind one door: `MixedModel`, `Varies`, `fit_mixed`, `MixedFit`. Pure: no file, no clock, no chance."""

from pipeline.stats.mixed import MixedFit, fit_mixed
from pipeline.stats.model import CannotFit, MixedModel, Varies

__all__ = ["CannotFit", "MixedFit", "MixedModel", "Varies", "fit_mixed"]
