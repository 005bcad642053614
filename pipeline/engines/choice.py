"""What `--engine` says, and the engine it stands for."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pipeline.engines.engine import Engine

WORDS = "duckdb, slices, slices:N or sc://host:port"


@dataclass(frozen=True)
class Choice:
    """An engine outside the store: `slices` slices (0: by the size of the input), or the server at `address`."""

    slices: int = 0
    address: str = ""

    def label(self, slices: int) -> str:
        """Name what tables on disk were made by: those of another number of slices cannot be gone on with."""
        return "Spark Connect" if self.address else f"{slices} slices"


def parse(text: str) -> Choice | None:
    """Read the word after `--engine`; None is the default, whole in the store. ValueError says what is expected."""
    if text == "duckdb":
        return None
    word, _, rest = text.partition(":")
    if word == "slices" and (not rest or (rest.isdecimal() and 1 <= int(rest) <= 4096)):
        return Choice(slices=int(rest or 0))
    if word == "sc" and rest.startswith("//") and len(rest) > 2:
        return Choice(address=text)
    raise ValueError(f"expected {WORDS}")


@contextmanager
def opened(choice: Choice, slices: int, work: Path) -> Iterator[Engine]:
    """Open the engine for a `with` block and let go of it, whatever happens. EngineError where it cannot be had."""
    if choice.address:
        from pipeline.engines.spark_connect import SparkConnect
        remote = SparkConnect(choice.address)
        try:
            yield remote
        finally:
            remote.close()
        return
    from pipeline.engines.slices import Slices
    local = Slices(slices, work)
    try:
        yield local
    finally:
        local.close()
