"""The printable diary week: one page to tick by hand, whose columns to be typed in are those of `weekly_logs`."""

from __future__ import annotations

from html import escape

from pipeline.contract import TABLES, Column

_DAYS = tuple(f"Day {k}" for k in range(1, 8))

_STYLE = """
@page { size: A4; margin: 12mm }
* { box-sizing: border-box }
body { font: 11pt/1.35 system-ui, sans-serif; color: #111; background: #fff; max-width: 186mm; margin: 0 auto }
h1 { font-size: 17pt; margin: 0 0 2mm } h2 { font-size: 12pt; margin: 5mm 0 1.5mm } p { margin: 0 0 2mm }
table { border-collapse: collapse; width: 100%; break-inside: avoid }
th, td { border: .3mm solid #444; padding: 1.2mm 2mm; text-align: left; vertical-align: middle }
thead th { background: #eee } .box { height: 8.5mm } .note { color: #444; font-size: 9.5pt }
.fields td { width: 50%; height: 11mm; vertical-align: top }
""".strip()


def _week_table() -> str:
    head = "".join(f"<th scope=col>{h}</th>" for h in ("Day", "Date", "Morning: tick", "Later: tick", "Breaths in all",
                                                       "Effort, 0 to 10"))
    row = "<td class=box></td>" * 5
    body = "".join(f"<tr><th scope=row>{day}</th>{row}</tr>" for day in _DAYS)
    return f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"


def _takes(column: Column) -> str:
    if column.codes:
        return " / ".join(column.codes)
    return f"{column.low} to {column.high}" if column.kind in ("whole", "number") else \
        "YYYY-MM-DD" if column.kind == "day" else "the code on the folder, no name"


def _office_table() -> str:
    rows = "".join(
        f"<tr><th scope=row><code>{escape(c.name)}</code></th><td>{escape(c.meaning)}</td>"
        f"<td>{escape(_takes(c))}</td><td class=box></td></tr>" for c in TABLES["weekly_logs"].columns)
    head = "<th scope=col>Column</th><th scope=col>Meaning</th><th scope=col>Write</th><th scope=col>This week</th>"
    return f"<table><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>"


def diary_week() -> str:
    """Return the page as HTML: no script, no network, fits one sheet of A4."""
    return (
        "<!doctype html>\n<html lang=en><head><meta charset=utf-8>"
        "<meta name=viewport content='width=device-width, initial-scale=1'><title>Breathing training: diary of a week"
        f"</title>\n<style>{_STYLE}</style></head>\n<body><main>\n<h1>Breathing training: diary of a week</h1>\n"
        "<table class=fields><tr><td>Code (no name)</td><td>First day of the week</td></tr></table>\n"
        "<h2>Each day</h2>\n<p>Tick each session you did. Leave a day empty when you did none. Effort: 0 is nothing at "
        "all, 10 is as hard as can be. Stop and tell your clinician if you have chest pain, feel faint, or cough up "
        f"blood.</p>\n{_week_table()}\n<h2>To be typed in at the clinic, one row of <code>weekly_logs</code></h2>\n"
        "<p class=note>A cell left empty means: not recorded. A diary lost or never handed out is one row too, "
        f"without counts.</p>\n{_office_table()}\n</main></body></html>\n")
