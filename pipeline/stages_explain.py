"""Explain a result key, a word of the trade or a rule: what it is, how it is got, from what, and what moved it."""

from __future__ import annotations

import difflib
import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.errors import RmtError
from pipeline.stages import Summary
from pipeline.stages_frames import holds_only_sums
from pipeline.stages_load import STORE
from pipeline.stages_published import Review, reviews

if TYPE_CHECKING:
    from pipeline.analyse.definition import Definition
    from pipeline.store import Store

SHOWN_ROWS = 20
"""Changed rows that are listed one by one; the rest are counted."""
NO_COUNT = "The store holds sums only: how many rows that is now cannot be told from it."


class NotDefined(RmtError):
    """A key, a word or a rule that nobody has defined."""

    exit_code = 2


def explain(key: str, out: Path, printed: float | None, quarter: str | None) -> Summary:
    """Explain `key`. printed: a number of an earlier review (of `quarter`, where given): says which rows changed it."""
    from pipeline.analyse.definitions import DEFINITIONS, defined
    summary = Summary("explain")
    definition, rule = defined(key), rule_lines(key) or query_lines(key)
    if definition is None and not rule:
        close = difflib.get_close_matches(key.partition("[")[0], sorted(DEFINITIONS), n=3, cutoff=0.5)
        raise NotDefined(f"nothing is defined under the name given ({len(key)} characters)", expected="a result key as "
                         "in results.json, a word such as dose, or a rule such as tests.value.number",
                         now=f"try {', '.join(close)}" if close else "look it up in results.json")  # fmt: skip
    summary.lines += rule if definition is None else definition_lines(key, definition)
    if (out / STORE).is_file():
        from pipeline.store import open_store
        with open_store(out / STORE, read_only=True) as store:
            has_rows = store.has_table("frames.courses")
            if not has_rows and not holds_only_sums(store):
                summary.lines.append("Nothing has been derived in this store yet: `rmt-outcomes derive` does it.")
            elif definition is None:
                summary.lines += rule_counts(store, key) if has_rows else [NO_COUNT]
            else:
                summary.lines += stored_lines(store, key, definition)
                if printed is not None:
                    summary.lines += changed_lines(store, key, definition, printed, quarter)
    elif printed is not None:
        raise RmtError("there is no store here yet", where=STORE, now="give --out, or run a review first")
    return summary


def definition_lines(key: str, definition: Definition) -> list[str]:
    """What stands in the catalogue."""
    return [key, f"What it is: {definition.what}.", f"Formula: {definition.formula}.", f"Source: {definition.source}.",
            f"Defined in: {', '.join(definition.where)}"]  # fmt: skip


def rule_lines(name: str) -> list[str]:
    """What a rule of the contract asks for; nothing where there is no such rule."""
    from pipeline.contract import TABLES
    from pipeline.contract.faults import faults
    for table in TABLES.values():
        for fault in faults(table):
            if fault.rule == name:
                meaning = table.column(fault.column).meaning
                return [name, f"Column {fault.column} of {table.name}: {meaning}.", f"Expected: {fault.expected}.",
                        "A row that breaks it is set aside, counted, and comes back corrected.",
                        "Defined in: pipeline/contract/faults.py:faults"]  # fmt: skip
        if name in (f"{table.name}.row.repeated", f"{table.name}.row.conflict"):
            same = ", ".join(table.natural_key)
            what = ("said the same as an earlier row" if name.endswith("repeated") else
                    "said something else than another row")  # fmt: skip
            return [name, f"A row of {table.name} with the same {same} {what} of its file.",
                    "Defined in: pipeline/validate/repeats.py:repeated_rows"]  # fmt: skip
    return []


def query_lines(cause: str) -> list[str]:
    """What a question to the sites asks, from its one SQL file; nothing where there is no such cause."""
    from pipeline import assets
    place = f"quantities/query_{cause}.sql"
    if not re.fullmatch(r"[a-z0-9_]+", cause) or place not in assets.names("sql", ".sql"):
        return []
    text = assets.text("sql", place)
    grain = text.splitlines()[0].removeprefix("-- ")
    words = [re.search(rf"'([^']+)' as {name}\b", text) for name in ("question", "meanwhile")]
    said = [f"{name}: {found[1]}" for name, found in zip(("Question", "Meanwhile"), words, strict=True) if found]
    return [cause, f"A question to the sites, {grain}.", *said, f"Defined in: sql/{place}"]


def rule_counts(store: Store, name: str) -> list[str]:
    """How many rows the rule holds back now, or how often the question stands open."""
    if query_lines(name):
        open_now = store.sql("select count(*) as n from frames.queries where cause = $cause", {"cause": name})
        return [f"Open now: {open_now['n'][0]}."]
    found = store.sql("select count(*) as n, count(distinct file) as files from frames.set_aside where rule = $rule",
                      {"rule": name})  # fmt: skip
    return [f"Set aside by it now: {found['n'][0]} faults in {found['files'][0]} files."]


def stored_lines(store: Store, key: str, definition: Definition) -> list[str]:
    """Row counts of the inputs, settings in force, and what the review now in the store says."""
    lines = []
    if definition.inputs and not store.has_table("frames.courses"):
        lines.append(f"Inputs: {', '.join(f'frames.{t}' for t in definition.inputs)}, of which no row came home: sums "
                     "alone did.")
    elif definition.inputs:
        counts = [f"frames.{t} {store.sql(f'select count(*) as n from frames.{t}').item()} rows"
                  for t in definition.inputs]  # fmt: skip
        lines.append(f"Inputs: {', '.join(counts)}.")
    from pipeline.settings import Settings
    meta = {name: f.metadata for name, f in Settings.__dataclass_fields__.items()}
    now = store.table("settings.current").row(0, named=True)
    lines += [f"Setting {s} = {now[s]} {meta[s]['unit']} ({meta[s]['source']})".replace("  ", " ")
              for s in definition.settings]  # fmt: skip
    if not store.has_table("results.current"):
        return lines
    quarter = str(store.sql("select quarter from results.run").item())
    rows = [r for r in store.sql("select * from results.current order by position").iter_rows(named=True)
            if key_of(r) == key]  # fmt: skip
    return lines + [f"{quarter}: {row_words(r)}" for r in rows]


def key_of(row: dict[str, Any]) -> str:
    """The key of a stored row, as `Result.key` writes it."""
    at = "" if row["at"] is None else f"@{row['at']:g}"
    return f"{row['report']}.{row['section']}.{row['statistic']}[{row['group']}]{at}"


def row_words(row: dict[str, Any]) -> str:
    """A stored number with unit, interval, n and method."""
    parts = [f"{row['value']:.6g}" if row["value"] is not None else row["text"] or "no value", row["unit"]]
    if row["low"] is not None and row["high"] is not None:
        parts.append(f"({row['low']:.6g} to {row['high']:.6g})")
    if row["n"] is not None:
        parts.append(f"n {row['n']} {row.get('n_of', 'people')}")
    if row.get("method"):
        parts.append(f"[{row['method']}]")
    return " ".join(p for p in parts if p)


def agrees(value: float | None, printed: float) -> bool:
    """Tell whether a number could have been printed so: equal at the printed number of decimals."""
    if value is None:
        return False
    decimals = len(repr(printed).partition(".")[2]) if printed != int(printed) else 0
    return abs(value - printed) <= 0.5 * 10.0**-decimals + 1e-9


def changed_lines(
    store: Store, key: str, definition: Definition, printed: float, quarter: str | None
) -> list[str]:
    """The review that printed the number, and the rows of its inputs that came, changed or went since."""
    for review in reversed(reviews(store)):
        row = store.sql("select * from results.published where review_no = $no and key = $key",
                        {"no": review.review_no, "key": key})  # fmt: skip
        for found in row.iter_rows(named=True):
            number = found["value"] if found["value"] is not None else found["n"]
            if agrees(number, printed) and quarter in (None, review.quarter):
                return [f"Printed in the review of {review.quarter} (batch {review.batch_id}): {row_words(found)}.",
                        *_since(store, key, definition, review)]  # fmt: skip
    return ["No review kept in this store printed that number under this key."]


def _since(store: Store, key: str, definition: Definition, review: Review) -> list[str]:
    from pipeline.derive import received_behind
    people = re.search(r"\[([A-Za-z0-9_-]{8,40})(;|\])", key)
    lines = []
    for table in received_behind(f"frames.{t}" for t in definition.inputs):
        changes = changed_rows_of(store, table, review, people[1] if people and "=" not in people[1] else None)
        lines += [f"  {how} {file}:{line}" for how, file, line in changes]
    told = lines[:SHOWN_ROWS] + ([f"  ... and {len(lines) - SHOWN_ROWS} more"] if len(lines) > SHOWN_ROWS else [])
    if not lines:
        return ["No row of its inputs has come, changed or gone since."]
    return [f"Rows of its inputs that came (+) or went or were replaced (-) since: {len(lines)}", *told]


def changed_rows_of(store: Store, table: str, review: Review, client_key: str | None) -> list[tuple[str, str, int]]:
    """Rows of one received table that came (+) or stopped holding (-) after a review's batch: mark, file, line."""
    from pipeline.contract import TABLES
    if table not in TABLES:
        return []
    mine = "and client_key = $key" if client_key and "client_key" in TABLES[table].column_names else ""
    text = (f"select case when from_batch > $then then '+' else '-' end as how, file, line from received.{table} "
            f"where (from_batch > $then or (from_batch <= $then and to_batch > $then)) {mine} order by file, line, how")
    values: dict[str, Any] = {"then": review.batch_id} | ({"key": client_key} if mine else {})
    return list(store.sql(text, values).iter_rows())
