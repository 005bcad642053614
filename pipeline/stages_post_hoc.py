"""`analyse --where CONDITION --label TEXT`: keep an analysis asked for after the data were seen, with its day.

Kept in results.post_hoc (asked_no, label, condition, asked_on, batch_id: the last one loaded by then). It is computed
in every later run too: what was tried stays to be seen, beside the primary analysis and never in its place.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.settings import Settings
from pipeline.stages_frames import POST_HOC, asked_of, frames_of
from pipeline.stages_load import STORE

if TYPE_CHECKING:
    from pipeline.stages import Summary
    from pipeline.store import Store


def ask(out: Path, label: str, condition: str, now: str, settings: Settings, summary: Summary) -> None:
    """Check label and condition against the store's own columns and keep them; the same again changes nothing.

    BadCondition where either cannot be read, or the label stands for another condition already.
    """
    from pipeline.analyse.post_hoc import check
    from pipeline.analyse.where import BadCondition
    from pipeline.stages_door import told_when
    from pipeline.store import edit_store, open_store
    with open_store(out / STORE, read_only=True) as store:
        check(label, condition, frames_of(store))
        known = {row["label"]: row for row in asked_of(store, True).iter_rows(named=True)}
    if label in known:
        if known[label]["condition"] != condition:
            raise BadCondition("the label stands for another condition already", where="--label",
                               expected="a new label, or the same condition", now="choose another label and run again")
        summary.lines.append(f"Asked before, on {known[label]['asked_on']}: its row is in the table already.")
        return
    with edit_store(out / STORE, must_exist=True) as store:
        _keep(store, label, condition, told_when(now, settings)[:10])
    summary.lines.append("Kept as post hoc: its row stands in the table of other choices, now and in every later run.")


def _keep(store: Store, label: str, condition: str, day: str) -> None:
    import polars as pl
    store.execute("create schema if not exists results")
    if not store.has_table(POST_HOC):
        store.execute(f"create table {POST_HOC} (asked_no bigint, label varchar, condition varchar, asked_on varchar, "
                      "batch_id bigint)")
    batch = int(store.sql("select as_of_batch from settings.current").item())
    number = asked_of(store, True).height + 1
    store.insert(POST_HOC, pl.DataFrame([{"asked_no": number, "label": label, "condition": condition, "asked_on": day,
                                          "batch_id": batch}]))  # fmt: skip
