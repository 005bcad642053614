"""`export`: what others need to check the primary models and to print the figures, out of a finished review."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline import __version__
from pipeline.errors import RmtError
from pipeline.stages_frames import frames_of, refuse_sums
from pipeline.stages_load import STORE

if TYPE_CHECKING:
    from pipeline.analyse.export import Exported
    from pipeline.settings import Settings
    from pipeline.stages import Progress, Summary

SHARED_PAGES = ("quarter", "protocols")
README = """Rows of the primary models ({quarter}), for another statistician. Made by rmt-outcomes {version}.

INTERNAL: one row a test, people numbered anew, no keys and no calendar days. Person-level data all the same: only for
those who may see such data, never for publication. tables/ and figures/ come from the shared edition and may be shown.

tests_*.csv, tests_*.parquet   the rows that each model was fitted on, the same in both forms
datapackage.json               what each column is (Frictionless Data Package with Table Schemas), and each model
models.csv                     pressure, file and the exact model in lme4's notation; REML
terms.csv                      its terms as fitted here, with Kenward-Roger standard errors and degrees of freedom
primary_models.R               fits them again and says how far off: Rscript primary_models.R
"""


def export(
    out: Path, to: Path | None, settings: Settings, summary: Summary, progress: Progress
) -> Summary:
    """Write OUT/export (or `to`): rows, dictionary, models and R script; figures and tables of the shared edition."""
    from pipeline.analyse.earlier import until_quarter
    from pipeline.analyse.export import exported
    from pipeline.analyse.fits import fit_primaries
    from pipeline.analyse.plans import taken
    from pipeline.store import open_store
    if (out / STORE).exists():
        with open_store(out / STORE, read_only=True) as store:
            refuse_sums(store)
    pages = [out / "shared" / f"{name}.html" for name in SHARED_PAGES]
    if missing := [p.name for p in pages if not p.is_file()]:
        raise RmtError(f"the shared edition has no {' and no '.join(missing)}", where="shared", expected="a finished "
                       "review", now="run rmt-outcomes review (or report), then export again")  # fmt: skip
    with summary.timed("export"), open_store(out / STORE, read_only=True) as store:
        progress("export", 0, 1)
        quarter = str(store.sql("select quarter from results.run")["quarter"][0])
        frames = taken(until_quarter(frames_of(store), quarter, settings))
        made = exported(fit_primaries(frames, settings))
        place = to or out / "export"
        write_models(made, place, quarter)
        pictures, tables = write_taken(pages, place)
        progress("export", 1, 1)
    summary.counts |= {"models": len(made), "rows": sum(m.rows.height for m in made), "figures": pictures,
                       "tables": tables}  # fmt: skip
    summary.lines.append(
        f"Wrote {len(made)} models with {summary.counts['rows']} rows (internal, person-level), {pictures} figures and "
        f"{tables} tables of the shared edition. Read README.txt there first.")  # fmt: skip
    return summary


def write_models(made: list[Exported], place: Path, quarter: str) -> None:
    """Rows as CSV and Parquet, the data package, the models, their terms and the R script."""
    import polars as pl

    from pipeline import assets
    from pipeline.analyse.export import data_package
    from pipeline.report.render import put_file
    for m in made:
        put_file(place / f"tests_{m.pressure}.csv", m.rows.write_csv())
        m.rows.write_parquet(place / f"tests_{m.pressure}.parquet")
    models = [{"pressure": m.pressure, "file": f"tests_{m.pressure}.csv", "formula": m.formula} for m in made]
    terms = [m.terms.select(pl.lit(m.pressure).alias("pressure"), pl.all()) for m in made]
    columns = ("pressure", "file", "formula")
    put_file(place / "models.csv", pl.DataFrame(models, schema=dict.fromkeys(columns, pl.String)).write_csv())
    put_file(place / "terms.csv", pl.concat(terms).write_csv() if terms else "pressure,term,estimate,std_error,df\n")
    put_file(place / "datapackage.json", json.dumps(data_package(made, quarter, __version__), indent=1) + "\n")
    put_file(place / "primary_models.R", assets.text("reports", "primary_models.R"))
    put_file(place / "README.txt", README.format(quarter=quarter, version=__version__))


def write_taken(pages: list[Path], place: Path) -> tuple[int, int]:
    """Figures and tables of the shared pages, named after page and place; return how many of each."""
    from pipeline.report.render import put_file
    from pipeline.report.taken import figures, tables
    counts = [0, 0]
    for page in pages:
        text = page.read_text(encoding="utf-8")
        taken = (("figures", "svg", figures(text)), ("tables", "csv", tables(text)))
        for kind, (folder, ending, found) in enumerate(taken):
            for name, content in found.items():
                put_file(place / folder / f"{page.stem}_{name}.{ending}", content)
                counts[kind] += 1
    return counts[0], counts[1]
