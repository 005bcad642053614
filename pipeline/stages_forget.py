"""`forget`: a person is erased from the store and from everything that was written beside it."""

from __future__ import annotations

import datetime as dt
import json
import shutil
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline import settings as settings_file
from pipeline.errors import RmtError, StoreError
from pipeline.stages import Progress, Summary
from pipeline.stages_bundle import PACKED
from pipeline.stages_engine import TABLES
from pipeline.stages_load import STORE
from pipeline.stages_report import MANIFEST

if TYPE_CHECKING:
    from pipeline.identity.erased import Erased

#: What `report` and `export` write into the output folder, and a derivation by another engine that broke off; they
#: write it again.
OUTPUTS = ("internal", "shared", "export", TABLES)


def forget(
    key: str, out: Path, settings_path: Path | None, progress: Progress, *, store_only: bool = False
) -> Summary:
    """Erase a person from every batch and every output, then make the pages again unless `store_only`.

    What was written beside the store goes first: a run that is broken off can be run again. The key is not repeated
    anywhere. Where the pages cannot be made again, or come from sums alone, the person is erased all the same.
    """
    from pipeline.store.erasing import person
    summary = Summary("forget")
    last, only_sums = _last_review(out)
    erased, is_known = person(out / STORE, key)
    if not is_known and not _left_over(erased, out):
        raise StoreError("nobody in this store has the key that was given", now="check it letter by letter")
    _remove_outputs(out)
    _clean_exports(erased, out, summary)
    if is_known:
        _erase(erased, out, summary)
    if only_sums:
        summary.lines.append("The results from sums held them too and are gone. Next: rmt-outcomes derive --engine "
                             "WORD --only-sums and report make the page again.")
    elif last and not store_only:
        _make_again(last, out, settings_path, summary, progress)
    else:
        summary.lines.append("Next: rmt-outcomes derive, analyse and report make the pages again.")
    _say_left_over(erased, out, summary)
    summary.lines.append("Not reached from here: backups, copies, exports elsewhere, the files it was loaded from, and "
                         "the crosswalk (rmt-outcomes crosswalk withdraw KEY --crosswalk FILE).")
    return summary


def _last_review(out: Path) -> tuple[tuple[str, str] | None, bool]:
    """Return quarter and settings of the review that stands in the store, and whether it is made of sums alone: where
    its tables are made is for the user to say again."""
    from pipeline.stages_frames import holds_only_sums
    from pipeline.store import open_store
    with open_store(out / STORE, read_only=True) as store:
        if not store.has_table("results.run"):
            return None, False
        quarter, text = store.sql("select quarter, settings_text from results.run").row(0)
        return (str(quarter), str(text)), holds_only_sums(store)


def _erase(erased: Erased, out: Path, summary: Summary) -> None:
    from pipeline.store.erasing import erase
    day = dt.datetime.now(dt.UTC).date().isoformat()
    note = (f"A person was erased on {day} at their wish: counts are those of the load, and a review as of this batch "
            "cannot be rebuilt byte for byte.")
    with summary.timed("erase"):
        done = erase(out / STORE, erased, note)
    summary.counts |= {"rows_erased": sum(done.rows.values()), "batches": len(done.batches)}
    summary.lines.append(f"Erased {summary.counts['rows_erased']} rows of {len(done.batches)} batches; the store was "
                         "built anew, and every page of it removed.")


def _make_again(
    last: tuple[str, str], out: Path, settings_path: Path | None, summary: Summary, progress: Progress
) -> None:
    """Make the pages of the last review again, by its own settings where no others are given."""
    from pipeline import stages_load, stages_report
    quarter, text = last
    settings = (settings_file.load(settings_path) if settings_path
                else settings_file.from_mapping(json.loads(text), "the settings of the last review"))
    again, now = Summary("forget"), dt.datetime.now(dt.UTC).isoformat(timespec="seconds")
    try:
        stages_load.derive(out, settings, again, progress)
        stages_report.analyse(out, settings, quarter, again, progress)
        summary.outputs = stages_report.report(out, settings, now, again, progress).outputs
        summary.lines.append(f"The pages of {quarter} were made again without them.")
    except RmtError as fault:
        summary.exit_code = fault.exit_code
        summary.faults.append(f"The person is erased, but the pages could not be made again: {fault.text}")


def _remove_outputs(out: Path) -> None:
    """Remove editions, the packed one, exports and earlier reviews, and what an interrupted run left of them."""
    for name in OUTPUTS:
        for folder in (name, f".{name}.next", f".{name}.old"):
            shutil.rmtree(out / folder, ignore_errors=True)
    for earlier in out.glob("as_of_*"):
        shutil.rmtree(earlier, ignore_errors=True)
    for file in (MANIFEST, PACKED):
        (out / file).unlink(missing_ok=True)


def _clean_exports(erased: Erased, out: Path, summary: Summary) -> None:
    """Take the person's rows out of files of rows set aside that lie in the folder, corrected or not yet."""
    from pipeline.validate.corrections import without
    cleaned = 0
    for path in sorted(out.rglob("*.csv")):
        text = _text(path)
        found = without(text, erased.in_text) if erased.in_text(text) else None
        if found is None:
            continue
        cleaned += 1
        if found[1]:
            path.write_bytes(found[0].encode())
        else:
            path.unlink()  # it had no other row
    if cleaned:
        summary.lines.append(f"Took their rows out of {cleaned} files of rows set aside.")


def _text(path: Path) -> str:
    """Return a small file's text; empty where it is none."""
    try:
        return path.read_bytes().decode()
    except (OSError, UnicodeDecodeError):
        return ""


def _left_over(erased: Erased, out: Path) -> list[str]:
    """List the files below `out` that hold the key, however they are packed, or bear it as their name."""
    found = []
    for path in sorted(p for p in out.rglob("*") if p.is_file()):
        name = path.relative_to(out).as_posix()
        try:
            is_held = erased.in_text(name) or _is_held(path, erased)
        except OSError:
            continue  # nobody can read it here
        if is_held:
            found.append(name)
    return found


def _is_held(path: Path, erased: Erased) -> bool:
    """Say whether a file holds the key: a store by its tables (columns are packed), any file by its bytes."""
    from pipeline.ingest.holding import holds
    from pipeline.store.erasing import person
    if path.suffix == ".duckdb":
        try:
            is_known = person(path, erased.key)[1]
            if is_known or erased.longer:  # the bytes show beginnings of longer keys
                return is_known
        except StoreError:
            pass  # no store of ours
    return holds(path, erased)


def _say_left_over(erased: Erased, out: Path, summary: Summary) -> None:
    """Name the files that still hold the key: they are none of ours."""
    found = _left_over(erased, out)
    summary.counts["files_left"] = len(found)
    if found:
        summary.exit_code = 1
        names = ", ".join(name.replace(erased.key, "(the key)") for name in found)
        summary.faults.append(f"{len(found)} files in the folder still hold the key and are none of ours: {names}. "
                              "What now: delete them.")
