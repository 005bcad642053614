"""Standardised changes and differences, each with its denominator named, and its variance convention pinned.

No words such as "small" or "large" come from here. Formulas: Hedges 1981 (J); Morris 2008, Organ Res Methods
11:364-86 (pretest-posttest designs); Borenstein et al. 2009, Introduction to Meta-Analysis, ch. 4.
"""

from dataclasses import dataclass
from math import exp, inf, sqrt

from scipy.special import gammaln, ndtri

from pipeline.stats.noncentral import noncentrality

LARGE_SAMPLE = "large_sample"
TEXTBOOK = "textbook"


@dataclass(frozen=True)
class EffectSize:
    """A standardised value without unit, its variance and interval, and what it was divided by.

    ``interval`` says how low and high came about; ``denominator_sd`` is in the unit of the outcome.
    """

    value: float
    variance: float
    low: float
    high: float
    level: float
    denominator: str
    denominator_sd: float
    interval: str = "normal, value ± z·√variance"

    @property
    def std_error(self) -> float:
        """Square root of the variance, no unit."""
        return sqrt(self.variance)


def _effect(value: float, variance: float, denominator: str, denominator_sd: float, level: float) -> EffectSize:
    half = float(ndtri(0.5 + level / 2)) * sqrt(variance)
    return EffectSize(value, variance, value - half, value + half, level, denominator, denominator_sd)


def _require(condition: bool, what: str) -> None:
    if not condition:
        raise ValueError(what)


def small_sample_factor(df: float) -> float:
    """Hedges' J, exact: Γ(m/2) / (√(m/2)·Γ((m−1)/2)) with m = df > 1; no unit, below 1, towards 1.

    The usual 1 − 3/(4m−1) is within 0.0004 of it from m = 9 on.
    """
    _require(df > 1, "df: expected more than 1")
    return exp(float(gammaln(df / 2) - gammaln((df - 1) / 2))) / sqrt(df / 2)


def change_per_baseline_sd(
    mean_before: float, mean_after: float, sd_before: float, correlation: float, n: int, *, level: float = 0.95
) -> EffectSize:
    """Change per SD of the baseline (g_base) of one group: J(n−1)·(after − before)/SD_before.

    Variance 2(1−r)/n + g²/(2n), r the correlation of before and after (Morris 2008; as in widely used meta-analysis
    software). n from 3. Comparable with published pre-post work; depends on how mixed the group is.
    """
    _require(n > 2 and sd_before > 0 and -1 <= correlation <= 1, "expected n > 2, SD > 0 and a correlation in -1..1")
    g = small_sample_factor(n - 1) * (mean_after - mean_before) / sd_before
    return _effect(g, 2 * (1 - correlation) / n + g * g / (2 * n), "SD of the baseline", sd_before, level)


def sd_of_change(sd_before: float, sd_after: float, correlation: float) -> float:
    """SD of the change from the SDs before and after and their correlation: √(a² + b² − 2r·a·b), unit of the SDs."""
    return sqrt(sd_before**2 + sd_after**2 - 2 * correlation * sd_before * sd_after)


def change_per_change_sd(mean_change: float, sd_change: float, n: int, *, level: float = 0.95) -> EffectSize:
    """Change per SD of the change (standardised response mean, g_change): J(n−1)·change/SD_change.

    Variance 1/n + g²/(2n). n from 3. Not comparable with change_per_baseline_sd; without SD of the change or the
    correlation behind it, a published value of this kind cannot be checked.
    """
    _require(n > 2 and sd_change > 0, "expected n > 2 and SD > 0")
    g = small_sample_factor(n - 1) * mean_change / sd_change
    return _effect(g, 1 / n + g * g / (2 * n), "SD of the change", sd_change, level)


def pooled_sd(sd_1: float, n_1: int, sd_2: float, n_2: int) -> float:
    """Pooled SD of two independent groups, weighted by n − 1, in the unit of the SDs."""
    return sqrt(((n_1 - 1) * sd_1**2 + (n_2 - 1) * sd_2**2) / (n_1 + n_2 - 2))


def difference_of_changes(
    change_1: float, sd_before_1: float, n_1: int, change_2: float, sd_before_2: float, n_2: int,
    correlation: float, *, level: float = 0.95,
) -> EffectSize:  # fmt: skip
    """Difference of two groups' changes per pooled baseline SD (g_diff): J(n1+n2−2)·(Δ1 − Δ2)/SD_pooled.

    Morris 2008, d_ppc2. Variance, large-sample: 2(1−r)(1/n1 + 1/n2) + g²/(2(n1+n2)), one correlation r for both.
    """
    _require(min(n_1, n_2) > 1 and -1 <= correlation <= 1, "expected two or more in each group, correlation in -1..1")
    sd = pooled_sd(sd_before_1, n_1, sd_before_2, n_2)
    g = small_sample_factor(n_1 + n_2 - 2) * (change_1 - change_2) / sd
    variance = 2 * (1 - correlation) * (1 / n_1 + 1 / n_2) + g * g / (2 * (n_1 + n_2))
    return _effect(g, variance, "pooled SD of the baselines", sd, level)


def hedges_g(
    mean_1: float, sd_1: float, n_1: int, mean_2: float, sd_2: float, n_2: int, *,
    convention: str = LARGE_SAMPLE, level: float = 0.95,
) -> EffectSize:  # fmt: skip
    """Hedges' g of two independent groups, (mean_1 − mean_2) per pooled SD, times J(n1+n2−2).

    Two variances are in use, and are told apart here by name. "large_sample" (default): 1/n1 + 1/n2 + g²/(2(n1+n2)).
    "textbook" (Borenstein 2009): J²·[1/n1 + 1/n2 + d²/(2(n1+n2))], d the uncorrected value. ValueError on any other.
    """
    sd = pooled_sd(sd_1, n_1, sd_2, n_2)
    factor = small_sample_factor(n_1 + n_2 - 2)
    d = (mean_1 - mean_2) / sd
    variances = {
        LARGE_SAMPLE: 1 / n_1 + 1 / n_2 + (factor * d) ** 2 / (2 * (n_1 + n_2)),
        TEXTBOOK: factor**2 * (1 / n_1 + 1 / n_2 + d * d / (2 * (n_1 + n_2))),
    }
    _require(convention in variances, f"convention: expected one of {', '.join(variances)}")
    return _effect(factor * d, variances[convention], "pooled SD of the two groups", sd, level)


def matched_g(mean_change: float, sd_change: float, correlation: float, n: int, *, level: float = 0.95) -> EffectSize:
    """Matched difference per within-group SD (Borenstein 2009, ch. 4), the SD rebuilt as SD_change/√(2(1−r)).

    g = J(n−1)·d, variance J²·(1/n + d²/(2n))·2(1−r). Correlation below 1.
    """
    _require(n > 2 and correlation < 1 and sd_change > 0, "expected n > 2, correlation below 1 and SD > 0")
    sd_within = sd_change / sqrt(2 * (1 - correlation))
    factor, d = small_sample_factor(n - 1), mean_change / sd_within
    variance = factor**2 * (1 / n + d * d / (2 * n)) * 2 * (1 - correlation)
    return _effect(factor * d, variance, "within-group SD rebuilt from the SD of the change", sd_within, level)


@dataclass(frozen=True)
class PairedDifference:
    """A paired mean difference and its SE in the outcome's unit, and per average SD (smd, no small-sample factor)."""

    difference: float
    sd_difference: float
    std_error: float
    smd: float
    smd_std_error: float


def paired_difference(
    mean_1: float, sd_1: float, mean_2: float, sd_2: float, correlation: float, n: int
) -> PairedDifference:
    """Difference of two means measured in the same n people (crossover, before and after), mean_1 − mean_2.

    SE = SD_diff/√n; smd = difference/√((SD1² + SD2²)/2), SE √(1/n + smd²/(2n))·√(2(1−r)).
    Source: Cochrane Handbook 5.1, section 16.4.6.4.
    """
    _require(n > 0, "n: expected 1 or more")
    sd_difference = sd_of_change(sd_1, sd_2, correlation)
    smd = (mean_1 - mean_2) / sqrt((sd_1**2 + sd_2**2) / 2)
    smd_std_error = sqrt(1 / n + smd**2 / (2 * n)) * sqrt(2 * (1 - correlation))
    return PairedDifference(mean_1 - mean_2, sd_difference, sd_difference / sqrt(n), smd, smd_std_error)


def percent_change(mean_before: float, mean_after: float) -> float | None:
    """Change of a mean in percent of the mean before; None where that is 0 or below. Not the mean of percentages."""
    return 100 * (mean_after - mean_before) / mean_before if mean_before > 0 else None


def noncentrality_limits(t: float, df: float, *, level: float = 0.95) -> tuple[float, float]:
    """Interval of the noncentrality of a t value (Steiger and Fouladi 1997): δ with P(T ≤ t; δ) at both tails."""
    _require(df > 0 and abs(t) < inf, "expected df above 0 and a finite t")
    return noncentrality(t, df, 0.5 + level / 2), noncentrality(t, df, 0.5 - level / 2)


def contrast_per_level_sd(
    estimate: float, std_error: float, df: float, level_sd: float, level_sd_df: float, *, level: float = 0.95
) -> EffectSize:
    """A model contrast per SD of one person's observed pressure, with the limits of a noncentral t.

    estimate, std_error and level_sd (√(between + residual variance)) in cmH2O; df of the contrast; level_sd_df = ν of
    that variance (2·v²/Var(v)). g = J(ν)·estimate/level_sd; limits J(ν)·κ·δ with κ = std_error/level_sd and δ the
    noncentrality limits of t = estimate/std_error. Source: Pustejovsky, Hedges and Shadish 2014, J Educ Behav Stat
    39:368-93.
    """
    _require(std_error > 0 and level_sd > 0, "expected a standard error and an SD above 0")
    factor, kappa = small_sample_factor(level_sd_df), std_error / level_sd
    low, high = noncentrality_limits(estimate / std_error, df, level=level)
    g = factor * estimate / level_sd
    variance = (factor * kappa) ** 2 * df / (df - 2) + g * g / (2 * level_sd_df) if df > 2 else inf
    return EffectSize(
        g, variance, factor * kappa * low, factor * kappa * high, level,
        "SD of one person's observed pressure", level_sd, "noncentral t",
    )  # fmt: skip
