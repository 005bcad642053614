"""How a contrast of protocols treats the baseline, by how people came to their protocol.

unconstrained: the baseline is an outcome like the others, each protocol has its own mean there (not randomised).
covariate: later tests only, the measured baseline and its slope beside them (a written rule assigned on that value).
constrained: the baseline is an outcome with one mean for all protocols (randomised).
Adjusting for a measured baseline where nobody assigned on it brings Lord's paradox in; not adjusting where a rule did
brings regression to the mean in. Sources: Lord 1967, Psychol Bull 68:304; Liang and Zeger 2000, Sankhya B 62:134.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import polars as pl

from pipeline.settings import Settings

UNCONSTRAINED, COVARIATE, CONSTRAINED = "unconstrained", "covariate", "constrained"
FIT_OF = {UNCONSTRAINED: "primary", COVARIATE: "baseline_covariate", CONSTRAINED: "same_baseline"}
"""The name of the fit that each handling reads its contrasts from."""
HALF = 0.5


@dataclass(frozen=True)
class Handling:
    """One of the three names, and why in words (without counts)."""

    name: str = UNCONSTRAINED
    why: str = "people were not drawn by lot, nor assigned by the measured value"


def handling(rows: pl.DataFrame, settings: Settings) -> Handling:
    """What the assignment of the people of these rows asks for: columns client_key, assigned_by."""
    people = rows.unique("client_key", keep="first", maintain_order=True)["assigned_by"].cast(pl.String)
    return handling_of(dict(people.value_counts().iter_rows()), settings)


def handling_of(people: Mapping[str | None, int], settings: Settings) -> Handling:
    """The same from the number of people by how they were assigned; None: not recorded."""
    total = sum(people.values())
    if total and people.get("randomised", 0) == total:
        return Handling(CONSTRAINED, "everybody was drawn by lot")
    if settings.rule_uses_measured_value and people.get("written_rule", 0) > HALF * total:
        return Handling(COVARIATE, "most were assigned by a written rule on the measured value (settings)")
    return Handling()


def baseline_beside(rows: pl.DataFrame) -> pl.DataFrame:
    """Later tests only, with the person's measured baseline as column baseline_cmh2o."""
    first = rows.filter(pl.col("is_baseline")).select("client_key", pl.col("value_cmh2o").alias("baseline_cmh2o"))
    return rows.filter(~pl.col("is_baseline")).join(first, on="client_key", how="inner").sort("client_key", "tested_on")
