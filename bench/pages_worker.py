"""Makes the pages of a finished review one by one, each in a process of its own, and says seconds and bytes as JSON."""

# ruff: noqa: T201 - its standard output is read by bench.pages
from __future__ import annotations

import argparse
import json
import multiprocessing
import resource
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

from pipeline.report.editions import PAGES, one_page
from pipeline.report.views import PageMeta
from pipeline.results import Result, ResultSet
from pipeline.settings import Settings
from pipeline.stages_editions import shared_edition
from pipeline.stages_report import read_results
from pipeline.store import open_store

META = PageMeta("internal", "2026Q3", "2026-09-30", "s", "d", "0", "bench")


def made(name: Any, results: ResultSet, meta: PageMeta) -> dict[str, Any]:
    """Make one page and say what it cost."""
    begun, busy = time.perf_counter(), time.process_time()
    text = one_page(name, results, meta)
    seconds, cpu = time.perf_counter() - begun, time.process_time() - busy
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss  # kilobytes, imports and results included
    return {"edition": meta.edition, "page": name, "seconds": seconds, "cpu": cpu, "bytes": len(text.encode()),
            "peak_mb": peak / 1024, "charts": text.count('<svg'), "cards": text.count('<li class="card"')}


def many(rows: tuple[Result, ...], count: int) -> ResultSet:
    """The clients of a cohort under ever new keys, all stalled, until the list has `count` rows."""
    own: dict[str, list[Result]] = {}
    for r in rows:
        if r.klass == "client" and r.report == "stalled" and r.section == "worklist":
            own.setdefault(r.group.split(";")[0], []).append(r)
    kept = [found for found in own.values() if any(r.statistic == "state" for r in found)]
    listed: list[Result] = []
    states = at = 0
    while states < count:
        for r in kept[at % len(kept)]:
            key = r.group.split(";")[0]
            moved = replace(r, group=r.group.replace(key, f"{key}{at:05d}"))
            if r.statistic == "state":
                states, moved = states + 1, replace(moved, text="stalled")
            listed.append(moved)
        at += 1
    return ResultSet(tuple(listed))


def main() -> None:
    """Each page of both editions, or one long worklist."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("out", type=Path)
    words.add_argument("--long", type=int, default=0)
    given = words.parse_args()
    with open_store(given.out / "store.duckdb", read_only=True) as store:
        results, quarter = read_results(store)
        meta = replace(META, quarter=quarter)
        editions = {} if given.long else {"internal": results, "shared": ResultSet(
            shared_edition(store, results, meta, Settings().small_cell_max, replace_shared=True).rows.rows)}
    if given.long:
        print(json.dumps({"rows": given.long, **made("stalled", many(results.rows, given.long), meta)}))
        return
    context = multiprocessing.get_context("spawn")
    found = []
    for edition in ("internal", "shared"):
        shown, of = editions[edition], replace(meta, edition=edition)  # type: ignore[arg-type]
        for name in PAGES[edition]:
            with context.Pool(1) as alone:
                found.append(alone.apply(made, (name, shown, of)))
    print(json.dumps(found))


if __name__ == "__main__":
    main()
