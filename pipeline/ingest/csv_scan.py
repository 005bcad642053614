"""Surveys a large CSV file without parsing it: its hash, its line ends, and whether a line break can only end a record.

What the survey proves lets the database read the file and number its records; any other file is walked.
"""

from __future__ import annotations

import codecs
import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

#: Bytes read at a time.
_CHUNK = 1 << 20


@dataclass(frozen=True)
class Scan:
    """A file that is not read yet. `n_records`: records below the headings, if no line is blank or broken.

    `is_plain`: every line break ends a record (no quoted one, no lone CR, no NUL, no blank line first), so that record
    k (from 0) begins on line k + 2, once the database has found exactly `n_records` and rejected none; all bytes are
    UTF-8, and there are as many delimiters as the headings have, times the lines. (The database's reader takes a row
    with one empty cell too many, and looks at no byte of a column that nobody asked for.) A file that is not plain is
    walked. `samples`: (number of a record from 0, its line), about one a megabyte, to prove that the rows
    kept their order.
    """

    path: Path
    n_records: int
    is_plain: bool
    stamp: tuple[int, int]
    samples: tuple[tuple[int, bytes], ...] = field(default=(), repr=False)
    delimiter: str = ","

    def has_changed(self) -> bool:
        """Say whether the file was written to since its survey (by size and time of change)."""
        return stamp(self.path) != self.stamp


def stamp(path: Path) -> tuple[int, int]:
    """Return a file's size in bytes and its time of change in ns."""
    found = path.stat()
    return found.st_size, found.st_mtime_ns


class _Survey:
    """Counts over the chunks of a file."""

    def __init__(self, delimiter: str) -> None:
        self.sha256 = hashlib.sha256()
        self.mark, self.delimiters, self.in_headings = ord(delimiter), 0, -1
        self.is_quoted = False  # whether the chunk before ended inside quotation marks
        self.decoder, self.has_bad_text = codecs.getincrementaldecoder("utf-8")(), False
        self.line_feeds = self.returns = self.pairs = 0
        self.has_nul = self.has_odd_marks = self.begins_blank = False
        self.last = b""
        self.samples: list[tuple[int, bytes]] = []
        self.open_marks = 0  # quotation marks of the line that the chunk before left open

    def add(self, chunk: bytes) -> None:
        if not self.last:
            self.begins_blank = chunk.removeprefix(b"\xef\xbb\xbf").startswith((b"\r", b"\n"))
            self.in_headings = self._delimiters(chunk.partition(b"\n")[0])
            self.is_quoted = False
        self.sha256.update(chunk)
        self.delimiters += self._delimiters(chunk)
        self._try_text(chunk)
        start = chunk.find(b"\n") + 1
        if start and (end := chunk.find(b"\n", start)) > 0:
            self.samples.append((self.line_feeds, chunk[start:end]))
        self.line_feeds += chunk.count(b"\n")
        if b"\r" in chunk:
            self.returns += chunk.count(b"\r")
            self.pairs += chunk.count(b"\r\n")
        if self.last == b"\r" and chunk.startswith(b"\n"):
            self.pairs += 1
        self.has_nul = self.has_nul or b"\0" in chunk
        self._count_marks(chunk)
        self.last = chunk[-1:]

    def _delimiters(self, chunk: bytes) -> int:
        """Count the delimiters that stand outside quotation marks."""
        read = np.frombuffer(chunk, np.uint8)
        found = read == self.mark
        if b'"' in chunk:
            quoted = np.logical_xor.accumulate(read == ord('"')) ^ self.is_quoted
            self.is_quoted = bool(quoted[-1])
            return int(np.count_nonzero(found & ~quoted))
        return 0 if self.is_quoted else int(np.count_nonzero(found))

    def _try_text(self, chunk: bytes) -> None:
        """Look for bytes that are no UTF-8."""
        if self.has_bad_text or (chunk.isascii() and not self.decoder.getstate()[0]):
            return
        try:
            self.decoder.decode(chunk)
        except UnicodeDecodeError:
            self.has_bad_text = True

    def _count_marks(self, chunk: bytes) -> None:
        """Look for a line with an odd number of marks: a quoted line break, or broken quoting."""
        if b'"' not in chunk:
            if b"\n" in chunk:
                self.has_odd_marks, self.open_marks = self.has_odd_marks or self.open_marks % 2 == 1, 0
            return
        first, *rest = chunk.split(b"\n")
        counts = [self.open_marks + first.count(b'"'), *(line.count(b'"') for line in rest)]
        self.open_marks = counts.pop()
        self.has_odd_marks = self.has_odd_marks or any(n % 2 for n in counts)

    @property
    def is_plain(self) -> bool:
        has_one_break = self.returns == self.pairs and self.pairs in (0, self.line_feeds)
        is_odd = self.has_nul or self.begins_blank or self.has_odd_marks or self.open_marks % 2 == 1
        is_cut = bool(self.has_bad_text or self.decoder.getstate()[0])
        return has_one_break and not is_odd and not is_cut and self.delimiters == self.in_headings * self.n_lines

    @property
    def n_lines(self) -> int:
        """Lines of the file, the headings among them."""
        return self.line_feeds + (self.last not in (b"\n", b""))


def survey(path: Path, delimiter: str = ",") -> tuple[str, Scan]:
    """Read a file's bytes once; return its sha256 and what its line ends prove. OSError as the system says it."""
    before, found = stamp(path), _Survey(delimiter)
    with path.open("rb") as file:
        while chunk := file.read(_CHUNK):
            found.add(chunk)
    scan = Scan(path, max(found.n_lines - 1, 0), found.is_plain, before, tuple(found.samples), delimiter)
    return found.sha256.hexdigest(), scan


def lines_at(scan: Scan, numbers: list[int]) -> Iterator[bytes]:
    """Give out the lines of a plain file with these numbers (ascending; the headings are line 1), ends off."""
    if not numbers:
        return
    wanted = iter(numbers)
    number = next(wanted)
    with scan.path.open("rb") as file:
        for k, line in enumerate(file, start=1):
            if k == number:
                yield line.rstrip(b"\r\n")
                number = next(wanted, 0)
                if not number:
                    return
