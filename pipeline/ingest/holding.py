"""Whether a file holds a key, however it is packed: as bytes, in gzip, zstd, zip and workbooks, and in Parquet."""

from __future__ import annotations

import gzip
import io
import zipfile
import zlib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import IO

import polars as pl

from pipeline.identity.erased import Erased

#: Bytes read at a time.
_CHUNK = 1 << 23
_ZIP, _GZIP, _ZSTD, _PARQUET = b"PK\x03\x04", b"\x1f\x8b", b"\x28\xb5\x2f\xfd", b"PAR1"


def holds(path: Path, erased: Erased) -> bool:
    """Say whether a file holds the key. OSError where it cannot be read."""
    with path.open("rb") as file:
        return _holds(file, erased)


def _holds(file: IO[bytes], erased: Erased) -> bool:
    start = file.read(4)
    file.seek(0)
    try:
        if start == _PARQUET:
            return _in_parquet(file.read(), erased)
        if start == _ZIP:
            return _in_zip(file, erased)
        if start.startswith(_GZIP):
            return erased.in_bytes(_parts(gzip.GzipFile(fileobj=file).read))
        if start == _ZSTD:
            import pyarrow as pa
            return erased.in_bytes(_parts(pa.CompressedInputStream(file, "zstd").read))
    except (OSError, EOFError, ValueError, zlib.error, zipfile.BadZipFile, pl.exceptions.PolarsError):
        file.seek(0)  # it only begins like one of these: its bytes are searched
    return erased.in_bytes(_parts(file.read))


def _in_zip(file: IO[bytes], erased: Erased) -> bool:
    with zipfile.ZipFile(file) as box:
        return any(erased.in_text(name) or _holds(io.BytesIO(box.read(name)), erased) for name in box.namelist())


def _in_parquet(data: bytes, erased: Erased) -> bool:
    frame = pl.read_parquet(io.BytesIO(data))
    texts = (str(cell) for column in frame for cell in column.drop_nulls().unique().to_list())
    return erased.in_text("\n".join(texts))


def _parts(read: Callable[[int], bytes]) -> Iterator[bytes]:
    while part := read(_CHUNK):
        yield part
