"""Apache Spark as it comes: a master, two workers and a Spark Connect server, each a process, all on loopback.

The package pyspark stands in a folder of its own (.tmp/spark, `make spark`): beside pyspark-client it would clash. Its
Python is not used, only its jars and scripts.
"""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from tests.engines.servers import free_port, wait_for

ENVIRONMENT = Path(__file__).parents[2] / ".tmp" / "spark"
START_S = 90.0
#: What one worker and the server may take; `SHUFFLE` is the number of parts that rows are dealt into between steps.
EXECUTOR_MEMORY, SERVER_MEMORY, SHUFFLE = "1500m", "1500m", 8

#: Short jobs on few cores: the plain collector and the quick compiler take less of them.
JVM = "-XX:+UseSerialGC -XX:TieredStopAtLevel=1"

_MASTER = "org.apache.spark.deploy.master.Master"
_WORKER = "org.apache.spark.deploy.worker.Worker"
_SERVER = "org.apache.spark.sql.connect.service.SparkConnectServer"


@dataclass
class Cluster:
    """What runs: the Spark Connect address, both workers, the server, and the file the server writes its log to."""

    address: str
    workers: list[subprocess.Popen[bytes]]
    server: subprocess.Popen[bytes]
    log: Path

    def said(self, words: str) -> int:
        """Count the lines of the server's log that hold some words."""
        return sum(words in line for line in _text(self.log).splitlines())

    def busy(self, since: int) -> subprocess.Popen[bytes] | None:
        """Return a worker that has a task now, of those begun after the first `since` characters of the log."""
        said = _text(self.log)[since:]
        done = set(re.findall(r"Finished task \S+ in stage \S+ \(TID (\d+)\)", said))
        begun = re.findall(r"Starting task \S+ in stage \S+ \(TID (\d+)\) \(\S+,executor (\d+),", said)
        held = {executor for task, executor in begun if task not in done}
        for n, worker in enumerate(self.workers, start=1):
            log = _text(self.log.with_name(f"worker_{n}.log"))
            if held & set(re.findall(r'"--executor-id" "(\d+)"', log)):
                return worker
        return None


def _text(log: Path) -> str:
    return log.read_text(encoding="utf-8", errors="replace")


def home() -> Path:
    """Return the folder of the package pyspark, with its jars and scripts."""
    assert (ENVIRONMENT / "pyspark" / "jars").is_dir(), f"no pyspark in {ENVIRONMENT}: make spark"
    assert shutil.which("java"), "no Java on this machine: Spark 4 needs version 17 or 21"
    return ENVIRONMENT / "pyspark"


def kill(process: subprocess.Popen[bytes]) -> None:
    """Kill a process and everything it started: a worker's executor goes as it would with its machine."""
    with suppress(ProcessLookupError):
        os.killpg(process.pid, signal.SIGKILL)
    process.wait(30)


@contextmanager
def _running(words: Sequence[str], log: Path, environment: Mapping[str, str]) -> Iterator[subprocess.Popen[bytes]]:
    """Run a part of Spark in a process group of its own, which is killed at the end however the block ends."""
    with log.open("wb") as said:
        process = subprocess.Popen(words, env=os.environ | environment, stdout=said, stderr=said,
                                   start_new_session=True, cwd=log.parent)
    try:
        yield process
    finally:
        kill(process)


@contextmanager
def cluster(folder: Path) -> Iterator[Cluster]:
    """Run a standalone cluster and a server on it for a `with` block; logs and what spills stand in `folder`."""
    folder.mkdir(parents=True, exist_ok=True)
    spark, master_port, port = home(), free_port(), free_port()
    master = f"spark://127.0.0.1:{master_port}"
    environment = {"SPARK_HOME": str(spark), "SPARK_LOCAL_IP": "127.0.0.1", "SPARK_LOCAL_DIRS": str(folder / "spill"),
                   "SPARK_DAEMON_MEMORY": "512m", "SPARK_DAEMON_JAVA_OPTS": JVM}
    run = str(spark / "bin" / "spark-class")
    with ExitStack() as stack:
        first = stack.enter_context(_running(
            [run, _MASTER, "--host", "127.0.0.1", "--port", str(master_port), "--webui-port", "0"],
            folder / "master.log", environment))
        wait_for(master_port, first, START_S)
        workers = [stack.enter_context(_running(
            [run, _WORKER, "--host", "127.0.0.1", "--webui-port", "0", "--cores", "1", "--memory", "2g",
             "--work-dir", str(folder / f"worker_{n}"), master],
            folder / f"worker_{n}.log", environment)) for n in (1, 2)]
        options = {"spark.executor.memory": EXECUTOR_MEMORY, "spark.executor.cores": 1, "spark.ui.enabled": "false",
                   "spark.driver.host": "127.0.0.1", "spark.executor.extraJavaOptions": JVM,
                   "spark.sql.shuffle.partitions": SHUFFLE,
                   "spark.connect.grpc.binding.address": "127.0.0.1", "spark.connect.grpc.binding.port": port}
        words = [w for name, value in options.items() for w in ("--conf", f"{name}={value}")]
        server = stack.enter_context(_running(
            [str(spark / "bin" / "spark-submit"), "--class", _SERVER, "--master", master,
             "--driver-memory", SERVER_MEMORY, "--driver-java-options", JVM, *words],
            folder / "server.log", environment))
        wait_for(port, server, START_S)
        yield Cluster(f"sc://127.0.0.1:{port}", workers, server, folder / "server.log")
