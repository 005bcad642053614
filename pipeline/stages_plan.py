"""Plans of an analysis: registered in the store with what was loaded by then, and sizes of a study to come."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.errors import StoreError
from pipeline.settings import Settings
from pipeline.stages import Summary
from pipeline.stages_load import STORE

if TYPE_CHECKING:
    from pipeline.ingest.plan_file import PlanText
    from pipeline.store import Store

LAYOUT = "comments or layout only"


def beside(folder: Path) -> PlanText | None:
    """The plan that lies beside the tables of a folder, checked; None where there is none."""
    from pipeline.ingest.plan_file import load_plan, plan_beside
    path = plan_beside(folder)
    return load_plan(path) if path else None


def plan(file: Path, out: Path, settings: Settings, now: str, summary: Summary) -> Summary:
    """Check a plan file and register it in the store at `out`, which is made where there is none yet."""
    from pipeline.ingest.plan_file import load_plan
    from pipeline.stages_door import require_one_policy, told_when
    from pipeline.store import open_store
    text = load_plan(file)
    if (out / STORE).exists():
        with open_store(out / STORE, read_only=True) as store:
            require_one_policy(store, settings)
    register_in(out, text, told_when(now, settings), summary)
    summary.counts |= {"sensitivity_rows": len(text.plan.sensitivity), "contrasts": len(text.plan.family)}
    summary.lines += [f"sha256 {text.sha256}", "Next: rmt-outcomes review DIR"]
    return summary


def register_in(out: Path, text: PlanText, now: str, summary: Summary) -> None:
    """Register a plan in the store at `out` unless it is the one in force."""
    from pipeline.store import edit_store, open_store
    if (out / STORE).exists():
        with open_store(out / STORE, read_only=True) as store:
            if in_force(store) == text.sha256:
                summary.lines.append("The plan is the one in force: nothing to register.")
                return
    out.mkdir(parents=True, exist_ok=True)
    with edit_store(out / STORE) as store:
        register(store, text, now, summary)


def in_force(store: Store) -> str:
    """sha256 of the last plan registered; empty where there is none."""
    last = store.sql("select sha256 from received.plans order by plan_no desc limit 1")["sha256"]
    return str(last[0]) if last.len() else ""


def register(store: Store, text: PlanText | None, now: str, summary: Summary) -> None:
    """Add a dated row for a plan that is not the one in force: how many tests were loaded by then, and what changed.

    Counted are test days (person, day, pressure) with a value of every batch so far, those corrected since included.
    """
    import polars as pl

    from pipeline.contract.plan import changed_words
    if text is None or in_force(store) == text.sha256:
        return
    before = store.sql("select plan_no, plan_text from received.plans order by plan_no desc limit 1")
    number = int(before["plan_no"][0]) + 1 if before.height else 1
    changed = ""
    if before.height:
        changed = ", ".join(changed_words(tomllib.loads(str(before["plan_text"][0])), text.given)) or LAYOUT
    tests = int(store.sql("select count(*) as n from (select distinct client_key, tested_on, pressure from "
                          "received.tests where value is not null)")["n"][0])  # fmt: skip
    batch = int(store.sql("select coalesce(max(batch_id), 0) as n from received.batches")["n"][0])
    store.insert("received.plans", pl.DataFrame([{
        "plan_no": number, "registered_at": now, "after_batch": batch, "tests_loaded": tests, "sha256": text.sha256,
        "changed": changed, "plan_text": text.text}]))  # fmt: skip
    summary.counts |= {"plan_no": number, "tests_loaded_before": tests}
    loaded = f"with {tests} outcome tests loaded already" if tests else "before any outcome test was loaded"
    said = f", which changes: {changed}" if changed else ""
    summary.lines.append(f"Registered plan {number} on {now[:10]}, {loaded}{said}.")


def leave_out_later(store: Store, batch: int, quarter: str) -> None:
    """Take the plans out of a copy of the store that were not in force when the review of a batch was written.

    Where that review is kept, it names its plan; else those count that were registered before the batch was loaded, or
    all of them for the last batch.
    """
    from pipeline.stages_published import reviews
    kept = [r for r in reviews(store) if (r.quarter, r.batch_id) == (quarter, batch) and r.plan_hash is not None]
    if kept:
        last = store.sql("select coalesce(max(plan_no), 0) as n from received.plans where sha256 = $sha",
                         {"sha": kept[-1].plan_hash})  # fmt: skip
    else:
        last = store.sql("select coalesce(max(plan_no), 0) as n from received.plans where after_batch < $batch or "
                         "$batch = (select max(batch_id) from received.batches)", {"batch": batch})  # fmt: skip
    store.execute(f"delete from received.plans where plan_no > {int(last['n'][0])}")


NO_SPREAD = "state the spread with --slope-sd and --test-sd, in cmH2O"


def spread_of(out: Path, pressure: str) -> tuple[float, float, int]:
    """SD of slopes (cmH2O per 12 weeks), SD of one test (cmH2O) and people of this store's fitted model."""
    from pipeline.store import open_store
    with open_store(out / STORE, read_only=True) as store:
        if not store.has_table("results.current"):
            raise StoreError("no results have been computed in this store yet", where=STORE,
                             now=f"run `rmt-outcomes analyse` first, or {NO_SPREAD}")
        rows = store.sql("select statistic, \"group\" as place, value, n from results.current where report = "
                         "'protocols' and section = 'fitted'")  # fmt: skip
    where = f"pressure={pressure}"
    wanted = {"random_sd_cmh2o": f"{where};by=client_key;term=time12", "residual_sd_cmh2o": where, "people": where}
    found = {r["statistic"]: r for r in rows.iter_rows(named=True) if wanted.get(r["statistic"]) == r["place"]}
    if len(found) < len(wanted):
        raise StoreError(f"this cohort's {pressure.upper()} model has no spread of slopes", where=STORE,
                         expected="a fitted model with a slope of its own for each person", now=NO_SPREAD)
    slope, test, people = (found[name] for name in wanted)
    return float(slope["value"]), float(test["value"]), int(people["n"])
