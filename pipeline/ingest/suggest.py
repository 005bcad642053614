"""Drafts an intake map for a foreign file: each line with its reason, and every question that a person must settle."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from pipeline.contract import TABLES
from pipeline.identity import findings, shown_heading
from pipeline.ingest.maps_units import FACTORS
from pipeline.ingest.suggest_cells import codes_in, comma_lines, days_in, unit_for
from pipeline.ingest.suggest_columns import ONE_A_DAY, Shape, second_shape, shape_of
from pipeline.ingest.suggest_sources import Seen, quoted, seen_in
from pipeline.ingest.suggest_words import TICKS, unit_in
from pipeline.ingest.template import WontOverwrite

_READ_IT = "Does every line of this draft say what the files mean? Take this question out when you have read them all."
_HEAD = """# A draft. Every line is a guess with its reason; nothing of it has been applied.
# Settle each question, take it out of 'open_questions', and try: rmt-outcomes check DIR --map THIS_FILE
"""

#: Share of empty cells from which a column of keys may be one of merged cells (our choice, no source).
_GAPS = 0.1

#: Kinds of identifiers that a draft never maps; a record number's heading may stand over a surrogate key.
_KEY_HEADING = "record number"


@dataclass
class Draft:
    """The text of a drafted map and what it holds."""

    n_sources: int = 0
    n_mapped: int = 0
    tables: set[str] = field(default_factory=set)
    questions: list[str] = field(default_factory=lambda: [_READ_IT])
    lines: list[str] = field(default_factory=list)

    @property
    def n_questions(self) -> int:
        return len(self.questions)

    def text(self, file: str) -> str:
        asked = "".join(f"  {quoted(q)},\n" for q in self.questions)
        head = f"{_HEAD}\nname = {quoted(file.split('.')[0])}\nabout = \"drafted\"\nopen_questions = [\n{asked}]\n"
        return head + "\n".join(self.lines) + "\n"


def draft(path: Path) -> Draft:
    """Draft a map for one file. Unreadable where no reader can open it."""
    found = Draft()
    for seen in seen_in(path):
        _source(found, path.name, seen)
    return found


def write_draft(path: Path, out: Path) -> Draft:
    """Write a draft to `out`; WontOverwrite where a file is there."""
    if out.exists():
        raise WontOverwrite(f"{out.name} is there already and was not touched", expected="a new file for the draft",
                            now="name another one with --out, or move it away")
    found = draft(path)
    out.write_text(found.text(path.name), encoding="utf-8", newline="\n")
    return found


def _source(found: Draft, file: str, seen: Seen) -> None:
    """Draft one source, or say in a comment why it has none."""
    raw = seen.raw
    telling = {f.column: f.kind for f in findings(raw.headings, raw.rows) if f.kind != _KEY_HEADING}
    headings = [h for h in raw.headings if h not in telling]
    shape = shape_of(headings)
    if shape is None:
        found.lines += ["", f"# {raw.file}: no table of the contract fits its headings; left out."]
        return
    shapes = [shape, *filter(None, [second_shape(shape, headings)])]
    found.n_sources += 1
    found.questions += seen.questions
    found.lines += ["", "[[source]]", f"file = {quoted(file)}", *seen.how, *_how_written(found, seen, shapes)]
    found.lines += [f"# left out: {shown_heading(h)} looks like identifying data ({kind}); take it out of the file"
                    for h, kind in telling.items()]
    rest = [h for h in headings if all(h not in s.headings() for s in shapes)]
    if rest:
        found.lines.append("# left out, no column fits: " + ", ".join(map(quoted, rest)))
    for one in shapes:
        _table(found, seen, one)


def _table(found: Draft, seen: Seen, shape: Shape) -> None:
    if shape.table in found.tables:
        found.questions.append(f"{seen.raw.file}: another source gives {shape.table} too; keep one, or load the other "
                               "with a map of its own")
    found.tables.add(shape.table)
    found.lines += ["", "[[source.table]]", f"name = {quoted(shape.table)}   # its columns fit best"]
    _columns(found, seen, shape)
    _codes_and_units(found, seen, shape)
    _parts(found, seen, shape)


def _by_kind(shapes: list[Shape], *kinds: str) -> list[str]:
    """Return the headings of all columns of these kinds."""
    pairs = [(s.table, m.column, m.heading) for s in shapes for m in s.matches]
    pairs += [(s.table, c, h) for s in shapes for columns, _, _ in s.repeats for c, h in columns.items()]
    return list(dict.fromkeys(h for t, c, h in pairs if TABLES[t].column(c).kind in kinds))


def _how_written(found: Draft, seen: Seen, shapes: list[Shape]) -> list[str]:
    """Draft the order of days and the decimal comma, from what the cells prove."""
    rows, file, lines = seen.raw.rows, seen.raw.file, []
    days = days_in(rows, _by_kind(shapes, "day"))
    proved = [order for order, at in days.proof.items() if at]
    if len(proved) == 1:
        at = days.proof[proved[0]][:3]
        lines.append(f'date_order = "{proved[0]}"   # lines {", ".join(map(str, at))} can be nothing else')
        found.questions.append(f"{file}: are all days {proved[0]} (d day, m month, y year)?")
    elif proved or days.open:
        lines.append('# date_order = "dmy"   # or "mdy"')
        found.questions.append(f"{file}: {'both orders of days occur: which rows are wrong?' if proved else ''}"
                               f"{'' if proved else 'does the day or the month come first? No row proves it'}")
    if days.serial:
        lines.append(f"serial_dates = true   # {days.serial} days stand as bare numbers")
        found.questions.append(f"{file}: are the bare numbers in the day columns days?")
    keys = [m.heading for m in shapes[0].matches if m.column == "client_key"]
    if keys and (gaps := rows[keys[0]].null_count()) > _GAPS * max(rows.height, 1):
        lines.append(f"fill_down = [{quoted(keys[0])}]   # {gaps} cells are empty, as merged cells arrive")
        found.questions.append(f"{file}: does an empty cell under '{shown_heading(keys[0])}' mean the one above?")
    if at := comma_lines(rows, _by_kind(shapes, "number", "whole")):
        lines.append(f"decimal_comma = true   # lines {', '.join(map(str, at[:3]))} hold a comma")
        found.questions.append(f"{file}: is the comma in numbers a decimal comma?")
    return lines


def _columns(found: Draft, seen: Seen, shape: Shape) -> None:
    table, file = TABLES[shape.table], seen.raw.file
    found.lines += ["", "[source.table.columns]"]
    found.lines += [f"{m.column} = {quoted(m.heading)}   # {m.why}" for m in shape.matches]
    found.n_mapped += len(shape.matches) + sum(len(c) for c, _, _ in shape.repeats)
    for match in shape.matches:
        if match.score < 0.7:
            found.questions.append(f"{file}: is '{shown_heading(match.heading)}' really {match.column}?")
    counted = {"days_trained", "sessions_done"} if shape.ticks else set()
    lacking = [n for n in table.required_names if n not in shape.filled() | counted]
    unit = next((u for m in shape.matches if m.column == "value" and (u := unit_in(m.heading))), None)
    constants = []
    for name in lacking:
        if name == "unit" and unit:
            constants.append(f'unit = "{unit}"   # the heading of the value says so')
            continue
        constants.append(f'# {name} = "?"   # {table.column(name).expected}')
        found.questions.append(f"{file}: no heading fits the required column {name}: which one is it, or "
                               "which constant?")
    if shape.filled() & {"effort_rating", "usual_effort"} and "effort_scale" not in shape.filled():
        constants.append(f'# effort_scale = "?"   # {table.column("effort_scale").expected}')
        found.questions.append(f"{file}: no heading tells the scale of the effort: which constant is effort_scale?")
    if constants:
        found.lines += ["", "[source.table.constants]", *constants]


def _codes_and_units(found: Draft, seen: Seen, shape: Shape) -> None:
    table, file = TABLES[shape.table], seen.raw.file
    units = []
    for match in shape.matches:
        column = table.column(match.column)
        if column.unit in FACTORS and (unit := unit_for(column, match.heading)):
            units.append(f'{match.column} = "{unit}"   # the heading says so')
        if not column.codes:
            continue
        spelled = codes_in(column, seen.raw.rows, match.heading)
        if spelled is None:
            found.questions.append(f"{file}: the cells of {match.column} are no code list; is its heading right?")
            continue
        known, open_ones = spelled
        if known or open_ones:
            found.lines += ["", f"[source.table.codes.{match.column}]   # one of {', '.join(column.codes)}"]
            found.lines += [f"{quoted(t)} = {quoted(c)}" for t, c in known.items()]
            found.lines += [f"# {quoted(t)} = \"?\"" for t in open_ones]
        if open_ones:
            found.questions.append(f"{file}: what does each open spelling of {match.column} mean ({len(open_ones)})?")
    if units:
        found.lines += ["", "[source.table.units]", *units]


def _parts(found: Draft, seen: Seen, shape: Shape) -> None:
    """Draft wide-to-long and ticks."""
    for columns, constants, why in shape.repeats:
        inside = ", ".join(f"{c} = {quoted(h)}" for c, h in columns.items())
        fixed = ", ".join(f"{c} = {quoted(v)}" for c, v in constants.items())
        found.lines += ["", f"[[source.table.repeat]]   # {why}", f"columns = {{ {inside} }}",
                        f"constants = {{ {fixed} }}"]
    if any(why == ONE_A_DAY for _, _, why in shape.repeats):
        found.questions.append(f"{seen.raw.file}: a test has one value a day: is it the best of several efforts "
                               "(efforts_recorded = \"best_only\"), or the only one?")
    if shape.ticks:
        days = [f"[{', '.join(map(quoted, hs))}]" for hs in shape.ticks.values()]
        each = [quoted(h) for hs in shape.ticks.values() for h in hs]
        found.n_mapped += 2
        found.lines += ["", "[source.table.ticks]", f"marks = [{', '.join(map(quoted, TICKS))}]",
                        'blank = "not recorded"   # or "zero"', "", "[source.table.ticks.counts]",
                        f"days_trained = [{', '.join(days)}]", f"sessions_done = [{', '.join(each)}]"]
        found.questions.append(f"{seen.raw.file}: which marks are ticks, and does a week without one mean that nothing "
                               "was done?")
