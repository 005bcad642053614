"""Input files spoilt in every way that files get spoilt, with identifiers planted where none may be."""

from __future__ import annotations

import random
from collections.abc import Callable

from pipeline.contract import TABLES, Table
from tests.contract.mutated import ODD, good_text

#: None of these is a well-formed cell of any column, so no trace of one may be kept, shown or stored.
PLANTED = ("zoe.winterbottom@example.org", "+44 20 7946 0958", "Zo\u00eb W\u00efnterb\u00f6ttom", "078-05-1120 (ssn)",
           "https://example.org/zoe")

TABLE_NAMES = ("clients", "episodes", "tests", "sessions", "weekly_logs", "events")


def rows(table: Table, chance: random.Random, n: int) -> list[list[str]]:
    """Return headings and `n` rows of text, an odd cell here and there."""
    body = [[chance.choice(ODD) if chance.random() < 0.01 else good_text(c, chance) or "" for c in table.columns]
            for _ in range(n)]
    return [list(table.column_names), *body]


def quoted(cell: str, always: bool) -> str:
    if always or any(mark in cell for mark in ',"\r\n'):
        return '"' + cell.replace('"', '""') + '"'
    return cell


def text(cells: list[list[str]], line_break: str, always_quoted: bool) -> bytes:
    return "".join(",".join(quoted(c, always_quoted) for c in row) + line_break for row in cells).encode()


def _plant(cells: list[list[str]], chance: random.Random) -> None:
    """Put an identifier into cells of a random column, or into a column of its own."""
    token, share = chance.choice(PLANTED), chance.choice((0.05, 0.5, 1.0))
    if chance.random() < 0.4:
        cells[0].append(chance.choice(("note", "patient_name", "x", token)))
        for row in cells[1:]:
            row.append(token if chance.random() < share else "")
        return
    column = chance.randrange(len(cells[0]))
    for row in cells[1:]:
        if chance.random() < share:
            row[column] = chance.choice(("", "a ")) + token


def _structure(cells: list[list[str]], chance: random.Random) -> None:
    """Spoil the table before it is written: columns, rows and cells moved, lost, doubled, broken over lines."""
    row = chance.choice(cells)
    match chance.randrange(8):
        case 0:
            del row[-1:]
        case 1:
            row.append("9")
        case 2:
            cells.append(list(chance.choice(cells)))
        case 3:
            cells.remove(row)
        case 4:
            column = chance.randrange(len(cells[0]) or 1)
            for line in cells:
                del line[column:column + 1]
        case 5:
            chance.shuffle(cells[0])
        case 6:
            place = chance.randrange(len(row) or 1)
            row[place:place + 1] = [chance.choice(("a\nb", "a\r\nb", "\n", '"', '""', "\u00a0"))]
        case _:
            cells.insert(chance.randrange(len(cells) + 1), [])


def _flip(data: bytearray, chance: random.Random) -> None:
    data[chance.randrange(len(data))] = chance.randrange(256)


def _insert(data: bytearray, chance: random.Random) -> None:
    noise = (b'"', b",", b"\n", b"\r", b"\r\n", b"\0", b"\xff", b"\xc3", b"\xef\xbb\xbf", b";", b"\t", b'"""')
    place = chance.randrange(len(data))
    data[place:place] = chance.choice(noise)


def _delete(data: bytearray, chance: random.Random) -> None:
    place = chance.randrange(len(data))
    del data[place:place + chance.choice((1, 1, 2, 50))]


def _double(data: bytearray, chance: random.Random) -> None:
    place = chance.randrange(len(data))
    data[place:place] = data[place:place + chance.randrange(1, 200)]


def _cut(data: bytearray, chance: random.Random) -> None:
    del data[chance.randrange(len(data)):]


def _recode(data: bytearray, chance: random.Random) -> None:
    whole = bytes(data).decode("utf-8", "replace")
    data[:] = whole.encode(chance.choice(("utf-16", "latin-1", "utf-8-sig", "cp1252")), "replace")


#: Odd bytes put in are the likeliest harm.
BYTES: tuple[Callable[[bytearray, random.Random], None], ...] = (
    _flip, _insert, _insert, _delete, _double, _cut, _recode)


def spoilt(seed: int) -> tuple[str, bytes, bool]:
    """Return a table's name, the bytes of a spoilt file of it, and whether an identifier was planted."""
    chance = random.Random(seed)
    name = chance.choice(TABLE_NAMES)
    cells = rows(TABLES[name], chance, chance.choice((0, 1, 3, 12, 40)))
    is_planted = chance.random() < 0.3
    if is_planted:
        _plant(cells, chance)
    for _ in range(chance.choice((0, 0, 1, 2))):
        if cells and cells[0]:
            _structure(cells, chance)
    data = bytearray(text(cells, chance.choice(("\n", "\r\n", "\n", "\r")), chance.random() < 0.3))
    for _ in range(chance.choice((0, 1, 1, 2, 5))):
        if data:
            chance.choice(BYTES)(data, chance)
    return name, bytes(data), is_planted
