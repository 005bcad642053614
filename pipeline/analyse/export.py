"""What another statistician needs to fit the primary models again: their rows without keys or days, and what each is.

A row is a test. People are numbered 1, 2, ... anew for every export; no client key, no calendar day and no manometer
label leaves. It stays person-level data all the same: for those who may see such data, never for publication.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import polars as pl

from pipeline.analyse.fits import Models
from pipeline.stats import MixedFit

FIELDS: dict[str, tuple[str, str]] = {
    "person": ("number of the person in this export; says nothing elsewhere", ""),
    "value_cmh2o": ("best acceptable effort of the test day, a positive size; the outcome", "cmH2O"),
    "week": ("weeks since the first session; the baseline stands at 0", "weeks"),
    "time12": ("week / 12", "12 weeks"),
    "is_baseline": ("the baseline test", ""),
    "protocol": ("dosing protocol of the course", ""),
    "site": ("site of the course, by its surrogate label", ""),
    "sex": ("sex as recorded; rare answers joined", ""),
    "condition_group": ("condition group; groups of few people joined into other", ""),
    "age_10": ("age at the first episode, from 65 years", "10 years"),
    "efforts_more": ("efforts kept at the test, above the cohort's median", "efforts"),
    "dose_done": ("12-week units of the prescribed dose done before the test", "12 weeks of the dose"),
    "dose_d": ("dose_done less its mean course: the mean dose per 12 weeks x time12", "12 weeks of the dose"),
    "effort_done": ("the same as dose_done, times the share of rated sessions in the band less its reference",
                    "12 weeks of the dose"),
    "effort_e": ("effort_done less its mean course", "12 weeks of the dose"),
}  # fmt: skip
TIME_MEANING = "column of the time form: {words}"


@dataclass(frozen=True)
class Exported:
    """One pressure: the rows of its primary model, the model as lme4 writes it, its terms as fitted here.

    terms: columns term, estimate, std_error, df (Kenward-Roger). meanings: column to (what, unit).
    """

    pressure: str
    rows: pl.DataFrame
    formula: str
    terms: pl.DataFrame
    meanings: dict[str, tuple[str, str]]


def exported(models: Models) -> list[Exported]:
    """The primary model of each pressure that has one that works, ready to be fitted elsewhere."""
    made = []
    for pressure, found in models.items():
        primary = found.working("primary")
        if primary is None or primary.fit is None or primary.look is None:
            continue
        form = primary.built.form
        raw = primary.rows.select(
            "client_key", "tested_on",
            *(pl.col(a).alias(b) for a, b in (("dose_d", "dose_done"), ("effort_e", "effort_done"))
              if a in primary.rows.columns))  # fmt: skip
        meanings = FIELDS | {n: (TIME_MEANING.format(words=form.words), "") for n in form.names}
        rows = primary.look.frame.join(raw, on=["client_key", "tested_on"], how="left", maintain_order="left")
        rows = rows.with_columns(person=pl.col("client_key").rank("dense").cast(pl.Int64)).sort("person", "week")
        kept = [c for c in meanings if c in rows.columns]
        made.append(Exported(pressure, rows.select(kept), lme4_formula(primary.fit),
                             primary.fit.mean_terms.select("term", "estimate", "std_error", "df"),
                             {c: meanings[c] for c in kept}))  # fmt: skip
    return made


def lme4_formula(fit: MixedFit) -> str:
    """The model of a fit in the notation of R's lme4, with `person` for the client."""
    model = fit.model
    random = [f"({v.terms} | {v.by.replace('client_key', 'person')})" for v in model.varies]
    return f"{model.outcome} ~ {' + '.join([model.mean, *random])}"


TYPES = {pl.Int64: "integer", pl.Float64: "number", pl.Boolean: "boolean", pl.String: "string"}


def table_schema(made: Exported) -> dict[str, Any]:
    """The data dictionary of one table as a Table Schema (Frictionless Data, specs.frictionlessdata.io)."""
    fields = []
    for name, dtype in made.rows.schema.items():
        what, unit = made.meanings[name]
        field: dict[str, Any] = {"name": name, "type": TYPES[dtype.base_type()], "description": what}
        if unit:
            field["unit"] = unit
        if made.rows[name].null_count() == 0:
            field["constraints"] = {"required": True}
        fields.append(field)
    return {"fields": fields, "missingValues": [""]}


def data_package(made: list[Exported], quarter: str, program_version: str) -> dict[str, Any]:
    """The package that names the tables and their dictionaries (Data Package of Frictionless Data)."""
    resources = [
        {"name": f"tests-{m.pressure}", "path": f"tests_{m.pressure}.csv", "profile": "tabular-data-resource",
         "format": "csv", "mediatype": "text/csv", "encoding": "utf-8", "schema": table_schema(m),
         "title": f"Comparable tests of {m.pressure.upper()} in the primary model", "model": m.formula}
        for m in made
    ]  # fmt: skip
    return {"name": f"rmt-outcomes-{quarter.lower().replace(' ', '-')}", "profile": "tabular-data-package",
            "title": f"Rows of the primary models, {quarter}", "program_version": program_version,
            "description": "Person-level, without keys and days. Internal: only for those who may see such data.",
            "resources": resources}  # fmt: skip
