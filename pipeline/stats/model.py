"""What a mixed model is, as data: the outcome, the mean in Wilkinson notation, and what varies by which grouping.

Model: y = X b + sum over groupings of Z u + e, with u ~ N(0, Psi) in each group and e ~ N(0, sigma^2 I)
(Laird and Ware 1982, Biometrics 38:963-974).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Method = Literal["reml", "ml"]
DfMethod = Literal["kenward-roger", "satterthwaite"]
StateKind = Literal["interior", "variance zero", "not identified", "numerical failure"]
Boundary = Literal["drop", "keep"]


class CannotFit(ValueError):
    """The model has no answer on these rows; the text names the term or the count and says what to do."""


@dataclass(frozen=True)
class Varies:
    """Random terms of one grouping.

    by: column of the frame with the group's key. terms: right-hand side in Wilkinson notation, "1 + time12".
    correlated: one full covariance matrix of the terms; False gives variances only.
    """

    by: str
    terms: str = "1"
    correlated: bool = True

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the random columns where the terms are a plain sum, such as "1 + time12"."""
        parts = (part.strip() for part in self.terms.split("+"))
        return tuple("Intercept" if part == "1" else part for part in parts if part != "0")


@dataclass(frozen=True)
class MixedModel:
    """A linear mixed model. varies: innermost grouping first, each nested in the next; at most two groupings."""

    outcome: str
    mean: str
    varies: tuple[Varies, ...]

    def __post_init__(self) -> None:
        if not 1 <= len(self.varies) <= 2:
            raise CannotFit(
                f"The model names {len(self.varies)} groupings; one or two can be fitted, the innermost first. "
                "For more, make the outer ones fixed terms of the mean."
            )
        if len({v.by for v in self.varies}) < len(self.varies):
            raise CannotFit(f"The grouping {self.varies[0].by!r} is named twice; put all its terms into one Varies.")
