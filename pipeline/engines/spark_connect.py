"""Any engine that speaks the Spark Connect protocol. It must see the folder of tables under the same path as we do."""

from __future__ import annotations

import socket
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import polars as pl

from pipeline.engines.dialect import plain_name, spark_text
from pipeline.engines.engine import cannot_run
from pipeline.errors import EngineError

DEFAULT_PORT = 15002
ANSWER_S = 5.0
#: Files are small and what unnest makes of them is not: only what was seen at run time may be sent to every worker.
_OPTIONS = {"spark.sql.autoBroadcastJoinThreshold": "-1", "spark.sql.adaptive.autoBroadcastJoinThreshold": "10MB"}
_TYPES = {"bigint": pl.Int64, "double": pl.Float64, "string": pl.String, "boolean": pl.Boolean, "date": pl.Date}


class SparkConnect:
    """An engine behind an address such as sc://host:15002; SQL is put into its dialect here and nowhere else."""

    def __init__(self, address: str) -> None:
        """Open a session. EngineError: not installed, no answer, or a server of another version."""
        self._address = address
        with _quiet():
            self._session = _session(address)
        for option, value in _OPTIONS.items():
            self._session.conf.set(option, value)

    def table(self, name: str, folder: Path) -> None:
        """Name the files of a folder as a view of the session."""
        frame = self._session.read.parquet(folder.resolve().as_uri())
        frame.createOrReplaceTempView(plain_name(name))

    def build(self, name: str, sql: str, out: Path) -> None:
        """Run one SELECT and let the engine write its rows; every whole number is a BIGINT, as in DuckDB."""
        from pyspark.errors import PySparkException
        try:
            with _quiet():
                self._write(sql, out)
                self.table(name, out)
        except (PySparkException, *_broken()) as fault:
            raise self._lost(name) if _is_gone(fault) else refused(name, fault) from fault

    def _write(self, sql: str, out: Path) -> None:
        frame = self._session.sql(spark_text(sql))
        kinds = {field.name: field.dataType.simpleString() for field in frame.schema.fields}
        narrow = [c for c, kind in kinds.items() if kind in ("int", "smallint", "tinyint")]
        frame = frame.withColumns({c: frame[c].cast("bigint") for c in narrow}) if narrow else frame
        frame.write.mode("overwrite").parquet(out.resolve().as_uri())
        if not any(out.glob("*.parquet")):  # some servers write no file where there is no row
            kinds |= dict.fromkeys(narrow, "bigint")
            pl.DataFrame(schema={c: _TYPES[k] for c, k in kinds.items()}).write_parquet(out / "empty.parquet")

    def _lost(self, name: str) -> EngineError:
        return EngineError(f"the engine does not answer any more; it was making {name}", where=self._address,
                           expected="a server that stays up",
                           now="start it again and run the same command: finished tables are kept")

    def close(self) -> None:
        """Stop the session: one that is left open keeps this process and its place on the server alive."""
        with _quiet():
            self._session.stop()


def refused(name: str, fault: Exception) -> EngineError:
    """Say what an engine that is still there could not do: it had no room, or the file cannot be run."""
    if any(word in f"{fault}" for word in ("OutOfMemory", "Not enough memory", "Resources exhausted")):
        return EngineError("does not fit into the engine's memory", where=name,
                           now="give its server and workers more, and run the same command: finished tables are kept")
    return cannot_run(name, fault)


@contextmanager
def _quiet() -> Iterator[None]:
    """Without the client's warnings: of pandas 3, not used here, and of tries in vain, which become our own errors."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        yield


def _broken() -> tuple[type[Exception], ...]:
    from grpc import RpcError
    from pyspark.sql.connect.client.retries import RetryException
    return RpcError, RetryException


def _is_gone(fault: BaseException) -> bool:
    """Tell a server that went away from one that refused: nobody listens, or nobody came back after tries."""
    from pyspark.sql.connect.client.retries import RetryException
    said = f"{fault} {fault.__cause__} {fault.__context__}"
    return isinstance(fault, RetryException) or any(word in said for word in (
        "UNAVAILABLE", "Connection refused", "Connection reset", "Socket closed", "RETRIES_EXCEEDED", "CANCELLED"))


def _session(address: str) -> Any:
    """Open a session and see that both sides are of one version; a server that is not there is not waited for."""
    try:
        from pyspark import __version__ as ours
        from pyspark.errors import PySparkException
        from pyspark.sql.connect.client.retries import DefaultPolicy
        from pyspark.sql.connect.session import SparkSession
    except ImportError as fault:
        raise EngineError("the client of the Spark Connect protocol is not installed", where=address,
                          now="pip install 'rmt-outcomes[cluster]', or leave out --engine") from fault
    _knock(address)
    session = None
    try:
        session = SparkSession.builder.remote(address).create()
        # the client's own policy goes on trying for ten minutes
        session.client.set_retry_policies([DefaultPolicy(max_retries=4, max_backoff=2000)])
        theirs = str(session.version)
    except (PySparkException, *_broken()) as fault:
        if session is not None:
            session.stop()
        raise EngineError(f"something listens there and does not speak the Spark Connect protocol of version {ours}",
                          where=address, now="check the address and the server's version") from fault
    if theirs.split(".")[0] != ours.split(".")[0]:
        session.stop()
        raise EngineError(f"the server is of version {theirs}, the client of version {ours}", where=address,
                          expected="one major version on both sides",
                          now=f"pip install 'pyspark-client=={theirs.split('.')[0]}.*', or start a newer server")
    return session


def _knock(address: str) -> None:
    """See within seconds whether anything listens at an address."""
    at = urlsplit(address)
    try:
        socket.create_connection((at.hostname or "", at.port or DEFAULT_PORT), timeout=ANSWER_S).close()
    except OSError as fault:
        raise EngineError("nothing answers at this address", where=address, expected="a Spark Connect server",
                          now="start it, check host and port, or leave out --engine") from fault
