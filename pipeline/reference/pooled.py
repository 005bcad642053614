"""Pooled effects of trials against control, as read in the sources named: rows a page may show beside a gain.

Difference to a control group in cmH2O, which an uncontrolled gain is not: beside a gain they give scale, no
benchmark. Left out on purpose: standardised effects, and rows that fail a check of transcription (the point estimate
must lie at the middle of its interval).
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class PooledEffect:
    """One pooled mean difference to control in cmH2O; low and high are its 95 % limits, None if not read."""

    condition_group: str
    pressure: str
    value_cmh2o: float
    low_cmh2o: float | None
    high_cmh2o: float | None
    what: str
    citation: str
    doi: str | None = None


_GOSSELINK = "Gosselink R, De Vos J, van den Heuvel SP, et al. Eur Respir J 2011;37:416-25 (abstract)"
_CRD_COPD = "Centre for Reviews and Dissemination, database record 12008104522 (two trials)"
_LI_2022 = "Meta-analysis of 17 trials, Front Cardiovasc Med 2022;9:993846 (abstract)"
_PLENTZ = "Meta-analysis of 7 trials in chronic heart failure, Arq Bras Cardiol 2012 (abstract)"
_GOMES_2018 = "Gomes Neto M, Ferrari F, Helal L, et al. Clin Rehabil 2018, five trials (abstract)"
_MENEZES = "Menezes KKP, Nascimento LR, Ada L, et al. J Physiother 2016;62:138-44 (abstract)"
_GOMES_2016 = "Gomes-Neto M, Saquetto MB, Silva CM, et al. Arch Phys Med Rehabil 2016;97:1994-2001 (abstract)"
_TAMPLIN = "Tamplin J, Berlowitz DJ. Spinal Cord 2014;52:175-80, 11 trials (abstract)"
_VORONA = "Vorona S, Sabatini U, Al-Maqbali S, et al. Ann Am Thorac Soc 2018, PMC6137679, table 1"
_ALONE = "training against control"

POOLED_EFFECTS: tuple[PooledEffect, ...] = (
    PooledEffect("copd", "mip", 13.0, None, None, _ALONE, _GOSSELINK, "10.1183/09031936.00031810"),
    PooledEffect("copd", "mip", 8.60, 2.55, 14.65, "training with exercise against exercise", _CRD_COPD),
    PooledEffect("heart_failure", "mip", 17.25, 13.75, 20.75, _ALONE, _LI_2022, "10.3389/fcvm.2022.993846"),
    PooledEffect("heart_failure", "mip", 23.36, 11.71, 35.02, _ALONE, _PLENTZ, "10.1590/S0066-782X2012001100011"),
    PooledEffect(
        "heart_failure", "mip", 16.63, 10.34, 22.91, "high load against low or sham, reduced ejection fraction",
        _GOMES_2018, "10.1177/0269215518784345",
    ),
    PooledEffect("stroke", "mip", 7.0, 1.0, 14.0, _ALONE, _MENEZES),
    PooledEffect("stroke", "mep", 13.0, 1.0, 25.0, _ALONE, _MENEZES),
    PooledEffect("stroke", "mip", 7.5, 2.7, 12.4, _ALONE, _GOMES_2016),
    PooledEffect("spinal_cord_injury", "mip", 10.66, 3.59, 17.72, "training in tetraplegia", _TAMPLIN),
    PooledEffect("spinal_cord_injury", "mep", 10.31, 2.80, 17.82, "training in tetraplegia", _TAMPLIN),
    PooledEffect("post_intensive_care", "mip", 6.0, 5.0, 8.0, "change, in intensive care", _VORONA),
    PooledEffect(
        "post_intensive_care", "mip", 9.0, 7.0, 12.0, "change, in intensive care, trials at high risk of bias left out",
        _VORONA,
    ),
    PooledEffect("post_intensive_care", "mep", 9.0, 5.0, 14.0, "change, in intensive care", _VORONA),
)  # fmt: skip


def pooled_effects(pressure: str, condition_group: str) -> tuple[PooledEffect, ...]:
    """The pooled rows held for a pressure and a condition group; empty where none is held."""
    return tuple(row for row in POOLED_EFFECTS if (row.pressure, row.condition_group) == (pressure, condition_group))
