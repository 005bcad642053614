"""The first half of a review: check, load and derive."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline import __version__
from pipeline.settings import Settings

if TYPE_CHECKING:
    import polars as pl

    from pipeline.contract.annotations import Annotation
    from pipeline.engines import Choice
    from pipeline.ingest import Intake
    from pipeline.stages import Progress, Summary
    from pipeline.stages_engine import OnlySums
    from pipeline.store import Store
    from pipeline.validate import LoadSummary, Verdict

STORE = "store.duckdb"
SHOWN_RULES = 8


def settings_text(settings: Settings) -> str:
    """Return the settings as canonical JSON: the text that is hashed and kept with each batch."""
    return json.dumps(settings.as_row(), sort_keys=True)


def _read(
    folder: Path, map_path: Path | None, settings: Settings, summary: Summary, progress: Progress,
    store: Path | None = None,
) -> Intake:
    from pipeline.ingest import load_map, read_folder
    from pipeline.stages_door import with_door
    progress("read", 0, 3)
    with summary.timed("read"):
        return with_door(lambda: read_folder(folder, load_map(map_path)), store, settings, summary)


def _verdict(intake: Intake, settings: Settings, summary: Summary, progress: Progress, store: Store | None) -> Verdict:
    from pipeline.stages_door import told_expected
    from pipeline.validate import check as validate_check
    progress("check", 1, 3)
    with summary.timed("check"):
        verdict = told_expected(validate_check(intake, settings, store), settings)
    progress("check", 3, 3)
    return verdict


def check(
    folder: Path, settings: Settings, summary: Summary, progress: Progress, map_path: Path | None = None
) -> Summary:
    """Validate a folder and say what would be kept; exit code 7 when rows were set aside."""
    from pipeline.stages_plan import beside
    plan, notes = beside(folder), _notes(folder, settings, summary)
    verdict = _verdict(_read(folder, map_path, settings, summary, progress), settings, summary, progress, None)
    _say_set_aside(verdict.set_aside, summary)
    _say_unknown_columns(verdict.unknown_columns, summary)
    _say_other_files(verdict.other_files, summary)
    for file in verdict.files:
        summary.lines.append(
            f"{file.file}: {file.rows_read} rows read, {file.rows_kept} would be kept, {file.rows_set_aside} set aside"
        )
    summary.counts = _totals(verdict.files)
    summary.exit_code = 7 if summary.counts["rows_set_aside"] else 0
    summary.lines += ["plan.toml: a whole plan, without a fault"] if plan else []
    summary.lines += [f"annotations.toml: {len(notes)} notes and decisions, without a fault"] if notes else []
    summary.lines.append("Next: rmt-outcomes review DIR" + (" --map FILE" if map_path else ""))
    return summary


def load(
    folder: Path, out: Path, settings: Settings, loaded_at: str, summary: Summary, progress: Progress,
    map_path: Path | None = None,
) -> Summary:
    """Load a folder into the store as one batch, or change nothing and say so. A plan beside the tables goes first."""
    from pipeline.stages_door import told_when
    from pipeline.stages_plan import beside, register, register_in
    from pipeline.store import edit_store
    from pipeline.validate import LoadMeta
    from pipeline.validate import load as validate_load
    plan, notes = beside(folder), _notes(folder, settings, summary)
    intake = _read(folder, map_path, settings, summary, progress, out / STORE)
    loaded = _standing(intake, notes, out, summary)
    if loaded is not None and plan is not None:
        register_in(out, plan, told_when(loaded_at, settings), summary)
    if loaded is None:
        out.mkdir(parents=True, exist_ok=True)
        with edit_store(out / STORE) as store:
            register(store, plan, told_when(loaded_at, settings), summary)
            verdict = _verdict(intake, settings, summary, progress, store)
            with summary.timed("store"):
                meta = LoadMeta(told_when(loaded_at, settings), __version__, settings_text(settings))
                loaded = validate_load(store, verdict, meta, notes)
        _say_set_aside(verdict.set_aside, summary, most=SHOWN_RULES)
        _say_unknown_columns(verdict.unknown_columns, summary)
        _say_other_files(verdict.other_files, summary)
    summary.counts |= _totals(loaded.files)
    totals = summary.counts
    summary.lines.append(
        f"Loaded as batch {loaded.batch_id}: {totals['rows_read']} rows read, {totals['rows_kept']} kept, "
        f"{totals['rows_set_aside']} set aside, {totals['rows_unchanged']} unchanged."
        if loaded.changed else
        f"Nothing changed: the store holds what the {totals['rows_read']} rows read say "
        f"({totals['rows_set_aside']} of them set aside as before)."
    )
    return summary


def _notes(folder: Path, settings: Settings, summary: Summary) -> tuple[Annotation, ...] | None:
    """Read the folder's notes and decisions; under `relative` they are left out, and that is said."""
    from pipeline.identity.day_offsets import RELATIVE
    from pipeline.ingest.annotations import read_annotations
    notes = read_annotations(folder)
    if notes and settings.date_policy == RELATIVE:
        summary.lines.append("annotations.toml: left out, its days are calendar days (date_policy is relative).")
        return None
    return notes


def _standing(
    intake: Intake, notes: tuple[Annotation, ...] | None, out: Path, summary: Summary
) -> LoadSummary | None:
    """Tell by the hashes alone that the store stands for these files already, and say again what was set aside."""
    from pipeline.errors import StoreError
    from pipeline.store import open_store
    from pipeline.validate import standing_load
    if not (out / STORE).exists():
        return None
    try:
        with open_store(out / STORE, read_only=True) as store:
            loaded = standing_load(store, intake, notes)
            if loaded is not None:
                _say_set_aside(store.sql(
                    "select * from received.set_aside where to_batch is null order by file, line, column_no, rule"
                ), summary, most=SHOWN_RULES)
    except StoreError:  # the writer says what is wrong, or brings an earlier version up to date
        return None
    return loaded


def derive(
    out: Path, settings: Settings, summary: Summary, progress: Progress, as_of_batch: int | None = None,
    engine: Choice | None = None, only_sums: OnlySums | None = None,
) -> Summary:
    """Build the derived tables, as of a batch (None: the last), by an engine (None: in the store itself); a failure
    leaves the store as it was. only_sums: the engine's tables stay with it, and results from sums come back."""
    from pipeline.derive import derive as build
    from pipeline.stages_door import require_one_policy
    from pipeline.store import edit_store
    with summary.timed("derive"), edit_store(out / STORE, must_exist=True) as store:
        require_one_policy(store, settings)
        if engine is None:
            built = build(store, settings, as_of_batch=as_of_batch, progress=progress)
        else:
            from pipeline.stages_engine import derive_by
            built = derive_by(engine, store, out, settings, summary, progress, as_of_batch, only_sums)
        queries = sum(built.queries.values())
    summary.counts |= {"derived_tables": len(built.tables), "queries": queries}
    summary.lines.append(f"Derived {len(built.tables)} tables; {queries} queries for the sites.")
    for name, rows in sorted((n, r) for n, r in built.offending.items() if r):
        summary.warnings.append({"rule": f"must_be_empty.{name}", "count": rows, "where": "derived tables"})
        summary.faults.append(f"{name}: {rows} derived rows break an invariant; report this to the developers.")
    return summary


def _totals(files: Any) -> dict[str, int]:
    names = ("rows_read", "rows_kept", "rows_set_aside", "rows_unchanged")
    return {name: sum(getattr(f, name) for f in files) for name in names}


def _say_set_aside(set_aside: pl.DataFrame, summary: Summary, most: int | None = None) -> None:
    """Say each rule once, at its first place, with the shape of the value and the count of further rows."""
    from pipeline.validate import blocks
    found = blocks(set_aside)
    for number, block in enumerate(found):
        summary.warnings.append({"rule": block.rule, "count": block.n_rows, "where": f"{block.file}:{block.line}"})
        if most is None or number < most:
            summary.faults.append(block.text)
    if most is not None and len(found) > most:
        summary.faults.append(f"... and {len(found) - most} rules more; `rmt-outcomes check DIR` shows them all.")


def _say_unknown_columns(unknown: Any, summary: Summary) -> None:
    for file, names in sorted(dict(unknown).items()):
        if names:
            summary.warnings.append({"rule": "columns.unknown", "count": len(names), "where": file})
            summary.faults.append(f"{file}: left out, not in the contract: {', '.join(names)}")


def _say_other_files(names: tuple[str, ...], summary: Summary) -> None:
    """Count the files of a folder that could hold a table and are named like none; show a name only where it is nearly
    a table's: any other may be a person's."""
    import difflib

    from pipeline.contract import TABLES
    from pipeline.ingest.formats import stem_of, suffix_of
    left = [Path(name) for name in names if suffix_of(Path(name))]
    if not left:
        return
    near = {p.name: t for p in left for t in difflib.get_close_matches(stem_of(p).casefold(), TABLES, n=1, cutoff=0.8)}
    summary.warnings.append({"rule": "files.other", "count": len(left), "where": "the folder"})
    meant = "; ".join(f"{name} (if it is {table}, name it so)" for name, table in near.items())
    summary.faults.append(f"{len(left)} files are named like no table and were left out" + (f": {meant}." if meant
                          else "; a map says how such files become tables."))
