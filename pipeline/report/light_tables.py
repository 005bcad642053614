"""Tables of very many rows: plain markup without the ids that a heavy table carries in each cell."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from pipeline.report.tables import Column
from pipeline.report.views import Html, Table
from pipeline.report.words import tell


def light_table(name: str, caption: str, columns: Sequence[Column], rows: Sequence[Sequence[str]], *,
                is_list: bool = False) -> Table:
    """Build a table from text cells, about 25 bytes a cell; the first column names the rows. Every cell is escaped.

    Columns of words are set to the left, and long ones kept wide, by classes of the table. `is_list`: the page's
    script sorts and filters it.
    """
    words = "".join(f" w{place}" for place, c in enumerate(columns, 1) if not c.is_number and place > 1)
    words += "".join(f" l{place}" for place in range(2, len(columns) + 1) if any(len(r[place - 1]) > 24 for r in rows))
    head = "".join(f'<th scope="col">{escape(tell(c.heading))}</th>' for c in columns)
    body = "".join(f'<tr><th scope="row">{escape(row[0])}</th>'
                   + "".join(f"<td>{escape(tell(cell))}</td>" for cell in row[1:]) + "</tr>" for row in rows)
    return Table(Html(
        f'<section class="scroll" id="{name}" tabindex="0" aria-labelledby="{name}-cap"><table class="light{words}"'
        f'{" data-list" if is_list else ""}><caption id="{name}-cap">{escape(tell(caption))}</caption>'
        f"<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></section>"))
