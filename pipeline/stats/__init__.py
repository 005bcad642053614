"""Mixed models behind one door: `MixedModel`, `Varies`, `fit_mixed`, `MixedFit`. Pure: no file, no clock, no chance."""

from pipeline.stats.contrasts import Contrast, FTest, contrast, holm, tukey_kramer
from pipeline.stats.diagnostics import Diagnostics, diagnostics, residuals
from pipeline.stats.elsewhere import SumsFit, fit_from_sums
from pipeline.stats.explained import Explained, explained, icc_at
from pipeline.stats.lrt import LikelihoodRatio, likelihood_ratio
from pipeline.stats.marginal import marginal_means, marginal_slopes, pairwise
from pipeline.stats.mixed import MixedFit, fit_mixed
from pipeline.stats.model import CannotFit, MixedModel, Varies
from pipeline.stats.predict import gains, predict, random_effects
from pipeline.stats.profiles import profile_intervals
from pipeline.stats.reading import Reading
from pipeline.stats.refit import Bootstrap, Influence, cluster_bootstrap, leave_one_out
from pipeline.stats.robust import robust_contrast, robust_terms
from pipeline.stats.standardised import StandardisedEffect, standardised_effect
from pipeline.stats.unequal import UnequalFit, fit_by_group, fit_by_power

__all__ = [
    "Bootstrap",
    "CannotFit",
    "Contrast",
    "Diagnostics",
    "Explained",
    "FTest",
    "Influence",
    "LikelihoodRatio",
    "MixedFit",
    "MixedModel",
    "Reading",
    "StandardisedEffect",
    "SumsFit",
    "UnequalFit",
    "Varies",
    "cluster_bootstrap",
    "contrast",
    "diagnostics",
    "explained",
    "fit_by_group",
    "fit_by_power",
    "fit_from_sums",
    "fit_mixed",
    "gains",
    "holm",
    "icc_at",
    "leave_one_out",
    "likelihood_ratio",
    "marginal_means",
    "marginal_slopes",
    "pairwise",
    "predict",
    "profile_intervals",
    "random_effects",
    "residuals",
    "robust_contrast",
    "robust_terms",
    "standardised_effect",
    "tukey_kramer",
]
