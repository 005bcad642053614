"""From the bytes of a text file to its text: unpacked (gzip, zstd) and decoded (UTF-8, UTF-16, Windows-1252)."""

from __future__ import annotations

import codecs
import gzip
import io
import zlib
from pathlib import Path

from pipeline.ingest.raw import Unreadable

#: Encodings that a map may declare. UTF-8 and, by its byte order mark, UTF-16 need no declaration.
ENCODINGS = {"utf-8": "utf-8-sig", "utf-16": "utf-16", "utf-16-le": "utf-16-le", "utf-16-be": "utf-16-be",
             "windows-1252": "cp1252"}

#: Suffixes of packed files, which stand after the suffix of the format: `tests.csv.gz`.
PACKED = (".gz", ".zst")

#: A file that unpacks to more than this is refused: 4 GB, far above any clinic's export (our choice, no source).
MOST_BYTES = 4 << 30

UTF_16_MARKS = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
_NOT_TEXT = ((b"PK\x03\x04", "a workbook or a zip file"), (b"PAR1", "a Parquet file"),
             (b"\xd0\xcf\x11\xe0", "an old or a locked workbook"))


def file_bytes(path: Path, table: str, most: int = -1) -> bytes:
    """Return a file's bytes as they lie on the disk (the first `most`); Unreadable where it cannot be opened."""
    try:
        with path.open("rb") as file:
            return file.read(most)
    except OSError as fault:
        raise Unreadable(f"{table}.file.unreadable", path.name, "the file cannot be opened",
                         "a file that may be read", "check the file's permissions") from fault


def _stream(data: bytes, suffix: str) -> io.BufferedIOBase:
    if suffix == ".gz":
        return gzip.GzipFile(fileobj=io.BytesIO(data))
    import pyarrow as pa
    stream: io.BufferedIOBase = pa.CompressedInputStream(io.BytesIO(data), "zstd")
    return stream


def unpacked(data: bytes, file: str, table: str) -> bytes:
    """Return the bytes inside a gzip or zstd file, by its name; others as they are. Unreadable where it is damaged."""
    suffix = next((s for s in PACKED if file.endswith(s)), None)
    if suffix is None:
        return data
    parts, size = [], 0
    try:
        with _stream(data, suffix) as stream:
            while part := stream.read(1 << 24):
                size += len(part)
                if size > MOST_BYTES:
                    break
                parts.append(part)
    except (OSError, EOFError, ValueError, zlib.error) as fault:
        raise Unreadable(f"{table}.file.unreadable", file, f"the file cannot be unpacked as {suffix[1:]}",
                         "a whole gzip or zstd file", "export or copy it again") from fault
    if size > MOST_BYTES:
        raise Unreadable(f"{table}.file.too_large", file, "the file unpacks to more than 4 GB",
                         "at most 4 GB of text a file", "split the export, by year for instance")
    return b"".join(parts)


def decoded(data: bytes, file: str, table: str, encoding: str | None = None) -> tuple[str, bool]:
    """Return the text, and whether every byte of it was readable (bytes that were not come as lone surrogates).

    encoding: one of ENCODINGS; None: UTF-16 where a byte order mark says so, else UTF-8. Nothing else is guessed.
    """
    for start, kind in _NOT_TEXT:
        if data.startswith(start):
            raise Unreadable(f"{table}.file.format", file, f"this is {kind}, not text", "delimited text",
                             "give it the suffix of its format, or save it as CSV (UTF-8)")
    if encoding is None:
        encoding = "utf-16" if data.startswith(UTF_16_MARKS) else "utf-8"
    name = ENCODINGS[encoding]
    try:
        text = data.decode(name)
    except UnicodeDecodeError:
        if not name.startswith("utf-16"):
            return data.decode(name, errors="surrogateescape"), False
        # half a character of UTF-16 has no escape: NUL, which no cell may hold, stands for it
        return data.decode(name, errors="replace").replace("\ufffd", "\0"), False
    return text, "\0" not in text
