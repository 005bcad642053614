"""How strong something that nobody measured would have to be to explain an association away.

Cinelli and Hazlett 2020, J R Stat Soc B 82:39-67, sections 4.2 and 4.3. Written for one equation by least squares; with
Kenward-Roger degrees of freedom in the place of its own it is an approximation.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

from scipy.stats import t as student_t


@dataclass(frozen=True)
class Robustness:
    """Shares from 0 to 1, no unit.

    partial_r2: of the outcome's left-over variance, what the term accounts for. to_nothing: the share that an
    unmeasured cause would have to account for in both, the term and the outcome, to bring the estimate to 0.
    to_doubt: the same, to bring the interval of level 1 - alpha to 0; 0 where it holds 0 already.
    """

    partial_r2: float
    to_nothing: float
    to_doubt: float


def robustness(t: float, df: float, alpha: float = 0.05) -> Robustness:
    """Partial R2 and robustness values (q = 1) of an estimate with t = estimate / SE on df > 1 degrees of freedom.

    With f = |t| / sqrt(df): R2 = f^2 / (1 + f^2) and RV = (sqrt(f^4 + 4 f^2) - f^2) / 2; for doubt, f less the critical
    t on df - 1 degrees of freedom over sqrt(df - 1). alpha is two-sided.
    """
    if not df > 1:
        raise ValueError("df: expected more than 1")
    f = abs(t) / sqrt(df)
    critical = float(student_t.ppf(1 - alpha / 2, df - 1)) / sqrt(df - 1)
    return Robustness(f * f / (1 + f * f), _value(f), _value(max(f - critical, 0.0)))


def _value(f: float) -> float:
    """RV solves f^2 = RV^2 / (1 - RV): as much in the outcome as in the term. Written so that nothing cancels."""
    if f == 0.0:
        return 0.0
    return 2.0 / (1.0 + sqrt(1.0 + 4.0 / (f * f)))
