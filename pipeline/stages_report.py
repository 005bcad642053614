"""The second half of a review: analyse, keep the results, and write both editions."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import shutil
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from pipeline import __version__
from pipeline.assets import checked_language
from pipeline.errors import SettingsError
from pipeline.settings import Settings
from pipeline.stages_frames import data_until, frames_of, holds_only_sums, require, told_until
from pipeline.stages_load import STORE, settings_text

if TYPE_CHECKING:
    from pipeline.report import PageMeta
    from pipeline.results import ResultSet
    from pipeline.stages import Progress, Summary
    from pipeline.store import Store

EDITIONS: tuple[Literal["internal", "shared"], ...] = ("internal", "shared")
MANIFEST = "manifest.json"


def reported(store: Store, given: str | None, settings: Settings) -> str:
    """Return the quarter to report: the one given, else the last calendar quarter that the data cover to its end.

    Under `relative` no block is full for everybody: the last one that enough people for a count to be shown took part
    in. SettingsError for a quarter of the other date policy.
    """
    from pipeline.analyse.people import last_block
    from pipeline.identity.day_offsets import RELATIVE
    from pipeline.identity.quarters import last_full
    refuse_quarter(given, settings)
    if given or settings.date_policy != RELATIVE:
        return given or last_full(dt.date.fromisoformat(data_until(store)))
    return last_block(frames_of(store), more_than=settings.small_cell_max)


def refuse_quarter(given: str | None, settings: Settings, *, only_sums: bool = False) -> None:
    """Raise SettingsError for a quarter of the other date policy, or where none is given and sums cannot tell it."""
    from pipeline.identity.day_offsets import RELATIVE
    from pipeline.identity.quarters import fits
    is_relative = settings.date_policy == RELATIVE
    if given and not fits(given, settings.date_policy):
        raise SettingsError(f"date_policy is {settings.date_policy}, and --quarter names another kind of quarter",
                            expected="a block such as block-003" if is_relative else "a quarter such as 2026Q3",
                            now="name such a one, or leave --quarter out")
    if only_sums and is_relative and not given:
        raise SettingsError("no block is the last full one for everybody, and sums do not tell which to report",
                            expected="--quarter beside --only-sums", now="name a block such as block-003")


def analyse(
    out: Path, settings: Settings, quarter: str | None, summary: Summary, progress: Progress
) -> Summary:
    """Compute the results from the frames in the store, and keep them in it."""
    from pipeline.analyse import analyse as compute
    from pipeline.stages_door import require_one_policy
    from pipeline.stages_earlier import earlier_results
    from pipeline.store import edit_store
    with summary.timed("analyse"), edit_store(out / STORE, must_exist=True) as store:
        progress("analyse", 0, 1)
        frames = frames_of(store)
        require_one_policy(store, settings)
        chosen = reported(store, quarter, settings)
        results = compute(frames, settings, chosen)
        results = results + earlier_results(store, frames, results, settings, chosen)
        keep_results(store, results, chosen, settings, summary)
        progress("analyse", 1, 1)
    return summary


def keep_results(
    store: Store, results: ResultSet, quarter: str, settings: Settings, summary: Summary, *, only_sums: bool = False
) -> None:  # fmt: skip
    """Look results over, keep them in the store, and say so. only_sums: see `_keep`."""
    from pipeline.identity.small_cells import broken_sums
    from pipeline.results import repeated_keys
    if twice := repeated_keys(results.rows):
        raise AssertionError(f"{len(twice)} results share a name, the first is of {twice[0].split('[')[0]}")
    if wrong := broken_sums(results):
        raise AssertionError(f"{len(wrong)} declared sums do not add up, the first is {wrong[0].split('[')[0]}")
    _keep(store, results, quarter, settings, only_sums=only_sums)
    summary.counts["results"] = len(results.rows)
    summary.lines.append(f"Computed {len(results.rows)} results for {quarter}.")
    summary.exit_code = 5 if _models_failed(results) else summary.exit_code


def _models_failed(results: ResultSet) -> bool:
    """Tell whether every fitted model of the run failed to converge or had too few data."""
    states = [r for r in results.rows if r.section == "can_answer" and r.statistic == "fit_state"]
    return not states or all("numerical failure" in r.text or "cannot" in r.text or not r.text for r in states)


def _keep(store: Store, results: ResultSet, quarter: str, settings: Settings, *, only_sums: bool = False) -> None:
    """Store the results, their sums and the run's facts as tables of the schema `results`.

    only_sums: they were computed from the sums of an engine, without a row of a client.
    """
    import polars as pl

    from pipeline.results import to_frame
    from pipeline.stages_plan import in_force
    numbered = enumerate(results.partitions)
    sums = [{"sum_no": no, "total": s.total, "part": part} for no, s in numbered for part in s.parts]
    run = {"quarter": quarter, "settings_text": settings_text(settings), "program_version": __version__,
           "plan_hash": in_force(store), "only_sums": only_sums}
    tables = {
        "current": to_frame(results.rows).with_row_index("position"),
        "partitions": pl.DataFrame(sums, schema={"sum_no": pl.Int64, "total": pl.String, "part": pl.String})
        .with_row_index("position"),
        "run": pl.DataFrame([run]),
    }
    store.execute("create schema if not exists results")
    for name, frame in tables.items():
        store.register(f"new_{name}", frame)
        store.execute(f"create or replace table results.{name} as select * from new_{name}")


def read_results(store: Store) -> tuple[ResultSet, str]:
    """Return the stored results in their order, and the quarter they are for."""
    from itertools import groupby

    from pipeline.results import Partition, Result, ResultSet
    require(store, "results.current", "analyse")
    rows = store.sql("select * exclude (position) from results.current order by position")
    sums = store.sql("select sum_no, total, part from results.partitions order by position")
    grouped = groupby(sums.iter_rows(), key=lambda r: (r[0], r[1]))
    partitions = tuple(Partition(total, tuple(part for _, _, part in found)) for (_, total), found in grouped)
    quarter = str(store.sql("select quarter from results.run")["quarter"][0])
    return ResultSet(tuple(Result(**r) for r in rows.iter_rows(named=True)), partitions), quarter


def data_hash(store: Store) -> str:
    """Hash of what the results rest on: the files read up to their batch, the notes and decisions of then (of which
    results from sums know nothing)."""
    hashes = store.sql("select sha256 from received.files where batch_id <= (select as_of_batch from "
                       "settings.current) order by batch_id, file")["sha256"].to_list()
    if holds_only_sums(store):
        return _sha("\n".join(hashes))
    notes = store.table("frames.annotations")
    lines = sorted(json.dumps(row, ensure_ascii=False, default=str) for row in notes.iter_rows())
    return _sha("\n".join([*hashes, *lines]))


def report(out: Path, settings: Settings, written_at: str, summary: Summary, progress: Progress,
           language: str | None = None, *, replace_shared: bool = False) -> Summary:
    """Write out/internal and out/shared from the stored results; each edition replaces the old one whole.

    The manifest is taken away first and written last: without one the last report did not finish. Results from sums
    alone have no internal edition, and are not kept as a review: the next one finds no row in them to go on from.
    Where a shared edition from rows stands all the same, the internal one beside it does too.
    """
    spoken = checked_language(language or settings.language)
    from pipeline.report import write
    from pipeline.stages_door import require_one_policy, told_when
    from pipeline.stages_editions import keep, shared_edition
    from pipeline.stages_published import publish
    from pipeline.store import edit_store, open_store
    (out / MANIFEST).unlink(missing_ok=True)
    with summary.timed("report"), open_store(out / STORE, read_only=True) as store:
        require_one_policy(store, settings)
        results, quarter = read_results(store)
        meta = _head(store, settings, quarter, spoken)
        progress("write internal", 0, len(EDITIONS))
        if not meta.only_sums:
            _write_internal(out, store, results, meta, settings)
        progress("write shared", 1, len(EDITIONS))
        shared = shared_edition(store, results, meta, settings.small_cell_max, replace_shared=replace_shared)
        is_older = meta.only_sums and not shared.meta.only_sums  # one from rows stands, and what is beside it
        fresh = _empty(out / ".shared.next")
        write(shared.rows, fresh, shared.meta)
        _swap(fresh, out / "shared")
        if meta.only_sums and shared.meta.only_sums:
            _without_internal(out, summary)
    with summary.timed("report"), edit_store(out / STORE, must_exist=True) as store:
        if not meta.only_sums:
            publish(store)
        keep(store, shared, settings.small_cell_max)
    _manifest(out, summary, told_when(written_at, settings), shared.meta if is_older else meta)
    pages = sorted(o.path for o in summary.outputs if o.path.endswith(".html"))
    seconds = ", ".join(f"{stage} {taken:.1f}" for stage, taken in summary.seconds.items())
    summary.lines += [*shared.said, f"Seconds: {seconds}.", "Open first:",
                      *(f"  {p}" for p in pages if p.endswith("index.html"))]  # fmt: skip
    return summary


def _head(store: Store, settings: Settings, quarter: str, language: str) -> PageMeta:
    """What the head and foot of the internal pages say of the stored results."""
    from pipeline.report import PageMeta
    from pipeline.stages_published import present_review
    only_sums = holds_only_sums(store)
    how = "DIR --engine WORD --only-sums" if only_sums else "DIR"
    return PageMeta(
        edition="internal", quarter=quarter, data_until_on=told_until(store, quarter), program_version=__version__,
        settings_hash=_sha(settings_text(settings)), data_hash=data_hash(store),
        command=f"rmt-outcomes review {how} --quarter {quarter}", language=language,
        date_policy=settings.date_policy, plan_hash=present_review(store).plan_hash or "", only_sums=only_sums,
    )


def _write_internal(out: Path, store: Store, results: ResultSet, meta: PageMeta, settings: Settings) -> None:
    """The internal edition, with the tables of questions and of rows set aside."""
    from pipeline.identity.site_cells import with_few_of_a_site_hidden
    from pipeline.report import write, write_table
    from pipeline.stages_door import told_days
    fresh = _empty(out / ".internal.next")
    write(with_few_of_a_site_hidden(results, settings.small_cell_max), fresh, meta)
    write_table(told_days(store.table("frames.queries"), settings), fresh / "queries.csv")
    write_table(told_days(store.table("frames.set_aside"), settings), fresh / "set_aside.csv")
    _swap(fresh, out / "internal")


def _without_internal(out: Path, summary: Summary) -> None:
    """Take away the internal edition of an earlier review: it would stand beside as if it were of this one."""
    summary.lines.append("Made from sums: the shared edition alone.")
    if (out / "internal").exists():
        shutil.rmtree(out / "internal")
        summary.lines.append("The internal edition of an earlier review was removed: it is not of these results. "
                             "rmt-outcomes review without --only-sums makes it again.")


def _sha(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def _empty(folder: Path) -> Path:
    if folder.exists():
        shutil.rmtree(folder)
    folder.mkdir(parents=True)
    return folder


def _swap(fresh: Path, place: Path) -> None:
    """Put the finished folder in place of the old one; until then the old one stands."""
    old = place.with_name(f".{place.name}.old")
    if old.exists():
        shutil.rmtree(old)
    if place.exists():
        place.rename(old)
    fresh.rename(place)
    if old.exists():
        shutil.rmtree(old)


def _manifest(out: Path, summary: Summary, written_at: str, meta: PageMeta) -> None:
    """List every output with its hash beside the editions, what they were made from, and what its days are; the time of
    writing stands here and nowhere else."""
    from pipeline.identity.day_offsets import NOTES
    from pipeline.stages import Output
    for path in sorted(p for edition in EDITIONS for p in (out / edition).glob("*")):
        content = path.read_bytes()
        summary.outputs.append(Output(path.as_posix(), hashlib.sha256(content).hexdigest(), len(content)))
    listing = {"written_at": written_at, "program_version": __version__, "date_policy": meta.date_policy,
               "date_policy_note": NOTES[meta.date_policy], "data_hash": meta.data_hash,
               "settings_hash": meta.settings_hash, "plan_hash": meta.plan_hash, "command": meta.command,
               "seconds": summary.seconds,
               "outputs": [{"path": Path(o.path).relative_to(out).as_posix(), "sha256": o.sha256, "bytes": o.size}
                           for o in summary.outputs]}
    (out / MANIFEST).write_text(json.dumps(listing, indent=2) + "\n", encoding="utf-8")
