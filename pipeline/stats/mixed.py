"""The door to mixed models: fit_mixed(frame, model) -> MixedFit."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.stats.model import CannotFit, DfMethod, Method, MixedModel, StateKind

Array = NDArray[np.float64]


@dataclass(frozen=True)
class MixedFit:
    """(being built) the fields the door promises."""

    model: MixedModel
    method: Method
    state: str
    state_kind: StateKind
    log_likelihood: float
    residual_sd: float
    n_rows: int
    n_groups: dict[str, int]
    mean_terms: pl.DataFrame

    def covariance(self, by: str) -> tuple[tuple[str, ...], Array]:
        """Names and covariance matrix of the random terms of grouping `by`, in squared units of the outcome."""
        raise NotImplementedError


def fit_mixed(frame: pl.DataFrame, model: MixedModel, method: Method = "reml", *, df: DfMethod = "kenward-roger") -> MixedFit:
    """Fit a linear mixed model by REML or ML (being built)."""
    raise CannotFit("the engine is being built")
