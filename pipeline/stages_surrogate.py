"""Turns a clinic's own files into files fit for intake: people become keys, identifiers go, days may become offsets."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import polars as pl

from pipeline.contract import TABLES
from pipeline.errors import FileRefused, RmtError
from pipeline.identity import findings, shown_heading
from pipeline.identity.day_offsets import as_offsets, last_day, starts, undated, until
from pipeline.identity.people import KEY, Named, keyed, maybe_two, named, people_in, with_ages_told
from pipeline.identity.surrogates import Crosswalk, Entry, entries_for, replayed
from pipeline.ingest import RawTable, load_map, read_folder
from pipeline.ingest.crosswalk import add_entries, create_crosswalk, read_crosswalk
from pipeline.ingest.csv_file import whole
from pipeline.settings import Settings
from pipeline.stages import Progress, Summary
from pipeline.stages_door import day_columns

#: Tables whose rows are about no person.
NOBODYS = tuple(n for n, t in TABLES.items() if KEY not in t.column_names)


@dataclass
class Told:
    """What is said of one table: rows left out and columns dropped, by reason; rows whose last day is yet to come."""

    left_out: dict[str, int] = field(default_factory=dict)
    dropped: dict[str, list[str]] = field(default_factory=dict)
    still_open: int = 0


def _state(crosswalk: Path, person: tuple[str, ...], tables: list[RawTable]) -> Crosswalk:
    """Return the crosswalk's state, the file being made where it is new; RmtError if the columns do not fit."""
    if crosswalk.exists():
        state = replayed(read_crosswalk(crosswalk))
        if person and state.columns != person:
            raise RmtError("the crosswalk names people by other columns", expected=", ".join(state.columns),
                           now="leave --person out, or use another crosswalk")
    else:
        state = Crosswalk(columns=person or (KEY,))
    lacking = [RmtError(f"the columns that name a person are missing: {', '.join(miss)}", where=raw.file,
                        expected="in every table about people: " + ", ".join(state.columns),
                        now="name them with --person (once for each column), or add them to the file")
               for raw in tables if (miss := [c for c in state.columns if c not in raw.headings])]
    if lacking:
        raise FileRefused(list(lacking))
    if not crosswalk.exists():
        create_crosswalk(crosswalk, state.columns)
    return state


def _fit(raw: RawTable, rows: pl.DataFrame, person: tuple[str, ...], told: Told) -> pl.DataFrame:
    """Keep the contract's columns that hold no identifier; list the others. FileRefused if a needed one holds some."""
    table = TABLES[raw.table]
    headings = [h for h in raw.headings if h != KEY and h not in person]
    if person != (KEY,) and KEY in rows.columns:
        told.dropped["names the person"] = [shown_heading(h) for h in person]
    found = {f.column: f.kind for f in reversed(findings(headings, rows.select(headings), table.column_names))}
    needed = [c.name for c in table.columns if c.required and c.name in found]
    if needed:
        raise FileRefused([RmtError(f"column {n} looks like identifying data: {found[n]}", where=raw.file,
                                    expected="no identifier in a column that is needed", now="mend it at the source")
                           for n in needed])
    for heading in headings:
        if heading in found:
            told.dropped.setdefault(found[heading], []).append(shown_heading(heading))
        elif heading not in table.column_names:
            told.dropped.setdefault("not in the contract", []).append(shown_heading(heading))
    kept = [n for n in table.column_names if n in headings and n not in found]
    return rows.select(*([KEY] if KEY in rows.columns else []), *kept)


def _without(rows: pl.DataFrame, keys: set[str], reason: str, told: Told) -> pl.DataFrame:
    there = pl.col(KEY).is_in(sorted(keys))
    if n := int(rows.select(there.sum()).item() or 0):
        told.left_out[reason] = n
    return rows.filter(~there)


def _keyed(raw: RawTable, name: Named, state: Crosswalk, told: Told) -> pl.DataFrame:
    for reason, n in (("name nobody", name.n_unnamed), ("of a person who was split, without the columns that tell",
                                                        name.n_untold), ("unreadable", len(raw.broken))):
        if n:
            told.left_out[reason] = n
    return _without(keyed(name, state), state.withdrawn, "consent withdrawn", told)


def _told_by_offset(
    tables: dict[str, pl.DataFrame], state: Crosswalk, raws: dict[str, RawTable], told: dict[str, Told]
) -> tuple[dict[str, pl.DataFrame], list[Entry]]:
    """Return the tables with days as offsets, and the starts that are new; FileRefused where a day is none."""
    days = {name: day_columns(name) for name in tables}
    faults = [RmtError(f"{n} cells of {column} are no day", where=raws[name].file, expected="days written YYYY-MM-DD",
                       now="write them so, or declare their order in a map")
              for name, rows in tables.items() for column, n in undated(rows, days[name]).items()]
    if faults:
        raise FileRefused(list(faults))
    tables = _until_the_end(tables, days, told)
    new = starts(tables, days, state.starts)
    from_on = state.starts | new
    offsets = {name: as_offsets(rows, days[name], from_on) for name, rows in tables.items()}
    return offsets, [Entry("start", key, on=day) for key, day in new.items()]


def _until_the_end(
    tables: dict[str, pl.DataFrame], days: dict[str, list[str]], told: dict[str, Told]
) -> dict[str, pl.DataFrame]:
    """Leave out what lies after the last day of everybody: nobody can see that any more in days from each own start."""
    end = last_day(tables, Settings().lost_contact_days)
    if end is None:
        return tables
    kept = {}
    for name, rows in tables.items():
        kept[name], later, told[name].still_open = until(rows, days[name], end)
        if later:
            told[name].left_out["after the last day of everybody (planned, or the date is not right)"] = later
    return kept


def _write(tables: dict[str, pl.DataFrame], target: Path) -> None:
    """Put the tables in place of those of the run before, all at once; a folder with other files is not touched."""
    ours = {f"{name}.csv" for name in TABLES}
    if target.exists() and any(p.name not in ours for p in target.iterdir()):
        raise RmtError("the folder to write to holds other files than tables of a run before",
                       expected="a new folder, or that of a run before", now="choose another --out")
    fresh = target.with_name(f".{target.name}.next")
    shutil.rmtree(fresh, ignore_errors=True)
    fresh.mkdir(parents=True)
    for name, rows in tables.items():
        rows.write_csv(fresh / f"{name}.csv")
    shutil.rmtree(target, ignore_errors=True)
    fresh.rename(target)


def rewrite(
    folder: Path, crosswalk: Path, target: Path, person: tuple[str, ...], offsets: bool, progress: Progress,
    map_path: Path | None, draw: Callable[[str], str],
) -> Summary:
    """Read a folder, give every person a key, and write its tables to `target`. draw: a random sign of those shown."""
    progress("read", 0, 3)
    intake = read_folder(folder, load_map(map_path))
    if intake.faults:
        raise FileRefused(list(intake.faults))
    raws = {raw.table: whole(raw) for raw in intake.files}
    about = [raw for name, raw in raws.items() if name not in NOBODYS]
    state = _state(crosswalk, person, about)
    told = {name: Told() for name in raws}
    progress("people", 1, 3)
    names = {raw.table: named(raw.rows.select(raw.headings), state) for raw in about}
    new = entries_for(state, people_in([names[n] for n in sorted(names)]), draw)
    add_entries(crosswalk, new)
    state = replayed(read_crosswalk(crosswalk))
    tables = {n: _keyed(raws[n], name, state, told[n]) for n, name in names.items()}
    held = {k: why for k, why in maybe_two(tables).items() if k not in state.are_one}
    tables = {n: _without(rows, set(held), "maybe two people", told[n]) for n, rows in tables.items()}
    tables |= {n: raws[n].rows.select(raws[n].headings) for n in raws if n in NOBODYS and not offsets}
    tables = {n: _fit(raws[n], rows, state.columns, told[n]) for n, rows in tables.items()}
    if offsets:
        tables, begun = _told_by_offset(tables, state, raws, told)
        add_entries(crosswalk, begun)
    ages = {n: with_ages_told(rows) for n, rows in tables.items()}
    progress("write", 2, 3)
    _write({n: rows for n, (rows, _) in ages.items()}, target)
    return _summary(raws, ages, told, held, len(new), target)


def _summary(
    raws: dict[str, RawTable], tables: dict[str, tuple[pl.DataFrame, int]], told: dict[str, Told],
    held: dict[str, list[str]], n_new: int, target: Path,
) -> Summary:
    """Say what was written, left out and dropped; keys are surrogates and may be shown, nothing else of a person is."""
    summary = Summary("surrogate", counts={
        "people_new": n_new, "people_held": len(held), "rows_read": sum(r.n_read for r in raws.values()),
        "rows_written": sum(rows.height for rows, _ in tables.values()),
        "ages_over_90": sum(n for _, n in tables.values())})
    for name, raw in raws.items():
        if name not in tables:
            summary.lines.append(f"{raw.file}: left out, its days belong to no client's own start")
            continue
        summary.lines.append(f"{raw.file}: {raw.n_read} rows read, {tables[name][0].height} written")
        summary.lines += [f"  left out, {why}: {n} rows" for why, n in told[name].left_out.items()]
        summary.lines += [f"  dropped, {kind}: {', '.join(names)}" for kind, names in told[name].dropped.items()]
        if told[name].still_open:
            summary.lines.append(f"  {told[name].still_open} rows end after the last day of everybody: left open")
        if tables[name][1]:
            summary.lines.append(f"  {tables[name][1]} ages over 90 became 90")
    for key, why in held.items():
        summary.faults.append(f"{key}: maybe two people ({', '.join(why)}): held back whole. See who it is on this "
                              "terminal, then `crosswalk split` or `crosswalk confirm`.")
    summary.lines.append(f"{n_new} people are new, {len(held)} are held back. Next: rmt-outcomes check {target}")
    return summary
