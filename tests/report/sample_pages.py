"""Every page of the sample's review in each language, made again from its results.json; read by more than one test."""

from __future__ import annotations

import json
from dataclasses import dataclass, fields, replace
from pathlib import Path

from pipeline import assets
from pipeline.report.editions import PAGES, pages
from pipeline.report.views import PageMeta
from pipeline.results import Result, ResultSet

EACH = [(edition, code) for edition in PAGES for code in assets.languages()]
"""Editions and languages; the pages of an edition are those that the program lists."""


@dataclass(frozen=True)
class Edition:
    """What one edition says in one language: file name to HTML; and the results and head that it is made from."""

    made: dict[str, str]
    results: ResultSet
    meta: PageMeta


def edition_of(folder: Path, language: str) -> Edition:
    """Make the pages of a written edition again, in a language."""
    kept = json.loads((folder / "results.json").read_text(encoding="utf-8"))
    known = {f.name for f in fields(Result)}
    rows = [Result(**{k: v for k, v in r.items() if k in known}) for r in kept["results"]]
    # "none" is what the file says for a number without a unit; the pages have their own words for it
    results = ResultSet(tuple(replace(r, unit="") if r.unit == "none" else r for r in rows))
    meta = PageMeta(**{f.name: kept[f.name] for f in fields(PageMeta) if f.name in kept})
    meta = replace(meta, language=language)
    return Edition(pages(results, meta), results, meta)
