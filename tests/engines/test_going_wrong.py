"""What goes wrong outside the store, with real processes: it is said, the store stays, and a re-run goes on."""

from __future__ import annotations

import hashlib
import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from bench.engines_rows import add_rows
from pipeline.engines import opened, parse
from pipeline.errors import EngineError
from pipeline.store import edit_store, open_store
from tests.engines.servers import free_port, sail, serving

pytestmark = pytest.mark.slow

pytest.importorskip("pyspark", reason="the Spark Connect client is not installed: make cluster")
pytest.importorskip("pysail", reason="pysail is not in this environment (requirements-dev.lock)")

COMMAND = [sys.executable, "-m", "pipeline"]


@pytest.fixture
def out(tmp_path: Path) -> Path:
    """A folder with a store of a few clients, not yet derived."""
    with edit_store(tmp_path / "store.duckdb") as store:
        add_rows(store, 2_000)
    return tmp_path


def mark(out: Path) -> str:
    return hashlib.sha256((out / "store.duckdb").read_bytes()).hexdigest()


def derive(out: Path, word: str) -> subprocess.Popen[str]:
    return subprocess.Popen([*COMMAND, "derive", "--out", str(out), "--engine", word], text=True,
                            stdout=subprocess.PIPE, stderr=subprocess.PIPE)


def refusal(word: str) -> str:
    """Open an engine that cannot be had, and return what is said; it must not take long."""
    choice, begun = parse(word), time.monotonic()
    assert choice is not None
    with pytest.raises(EngineError) as fault, opened(choice, 1, Path("nowhere")):
        pass
    assert time.monotonic() - begun < 20
    return fault.value.text


def test_an_address_that_does_not_answer_is_said_and_the_store_stays(out: Path) -> None:
    before, port = mark(out), free_port()
    process = derive(out, f"sc://127.0.0.1:{port}")
    said = "".join(process.communicate(timeout=60))
    assert process.returncode == 1
    assert f"sc://127.0.0.1:{port}: nothing answers at this address" in said and "Traceback" not in said
    assert mark(out) == before and not (out / "tables").exists()


def test_another_server_at_the_address_is_said() -> None:
    port = free_port()
    with serving([sys.executable, "-m", "http.server", str(port), "--bind", "127.0.0.1"], port, {}):
        assert "does not speak the Spark Connect protocol" in refusal(f"sc://127.0.0.1:{port}")


OLD_SERVER = """
import sys
from concurrent import futures
import grpc
import pyspark.sql.connect.proto as pb
import pyspark.sql.connect.proto.base_pb2_grpc as base

class Old(base.SparkConnectServiceServicer):
    def AnalyzePlan(self, request, context):
        answer = pb.AnalyzePlanResponse(session_id=request.session_id)
        answer.spark_version.version = "3.5.1"
        return answer

server = grpc.server(futures.ThreadPoolExecutor(2))
base.add_SparkConnectServiceServicer_to_server(Old(), server)
server.add_insecure_port("127.0.0.1:" + sys.argv[1])
server.start()
server.wait_for_termination()
"""


def test_a_server_of_another_version_is_said(tmp_path: Path) -> None:
    port, script = free_port(), tmp_path / "old_server.py"
    script.write_text(OLD_SERVER)
    with serving([sys.executable, "-W", "ignore", str(script), str(port)], port, {}):
        said = refusal(f"sc://127.0.0.1:{port}")
    assert "the server is of version 3.5.1, the client of version 4." in said
    assert "pyspark-client==3.*" in said


def test_a_client_that_is_not_installed_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "pyspark.sql.connect.session", None)
    assert "pip install 'rmt-outcomes[cluster]'" in refusal("sc://127.0.0.1:1")


@pytest.mark.parametrize(("said", "told"), [
    ("Not enough memory to build and broadcast the table to all nodes.", "does not fit into the engine's memory"),
    ("[UNRESOLVED_COLUMN] a column with 61.5", "sql/frames/model.sql: cannot be run (PySparkException)")])
def test_an_engine_without_room_is_not_a_fault_of_the_file(said: str, told: str) -> None:
    from pyspark.errors import PySparkException

    from pipeline.engines.spark_connect import refused
    text = refused("frames.model", PySparkException(said)).text
    assert told in text and "61.5" not in text


def finished(out: Path) -> int:
    return len(list((out / "tables").glob("*/_finished")))


def kill_at(out: Path, process: subprocess.Popen[str] | subprocess.Popen[bytes], tables: int) -> None:
    """Kill a process as soon as so many tables are finished."""
    while finished(out) < tables and process.poll() is None:
        time.sleep(0.01)
    process.send_signal(signal.SIGKILL)


def frames(out: Path) -> dict[str, object]:
    with open_store(out / "store.duckdb", read_only=True) as store:
        return {name: store.table(f"frames.{name}").rows() for name in ("model", "client_weeks", "safety", "queries")}


@pytest.fixture
def expected(out: Path, tmp_path: Path) -> dict[str, object]:
    """What the default makes of the same store."""
    copy = tmp_path / "default"
    copy.mkdir()
    (copy / "store.duckdb").write_bytes((out / "store.duckdb").read_bytes())
    assert subprocess.run([*COMMAND, "derive", "--out", str(copy), "--quiet"], check=False).returncode == 0
    return frames(copy)


def test_a_server_that_dies_half_way_is_said_and_the_next_run_goes_on(out: Path, expected: dict[str, object]) -> None:
    before, port = mark(out), free_port()
    with sail(port) as (address, server):
        process = derive(out, address)
        watcher = threading.Thread(target=kill_at, args=(out, server, 40))
        watcher.start()
        said = "".join(process.communicate(timeout=120))
        watcher.join()
    assert process.returncode == 1
    assert "the engine does not answer any more; it was making " in said
    assert "Traceback" not in said and "Warning" not in said
    assert mark(out) == before
    kept = finished(out)
    assert kept >= 40
    with sail(port) as (address, _):
        process = derive(out, address)
        said = "".join(process.communicate(timeout=120))
    assert process.returncode == 0, said
    assert f"Derived by Spark Connect; went on from {kept} finished tables." in said
    assert frames(out) == expected and not (out / "tables").exists()


def test_a_killed_run_in_slices_goes_on_and_another_input_begins_anew(
    out: Path, expected: dict[str, object]
) -> None:
    before = mark(out)
    process = derive(out, "slices:3")
    kill_at(out, process, 30)
    process.communicate(timeout=60)
    kept = finished(out)
    assert kept >= 30 and mark(out) == before
    process = derive(out, "slices:3")
    assert f"Derived by 3 slices; went on from {kept} finished tables." in "".join(process.communicate(timeout=120))
    assert frames(out) == expected
    process = derive(out, "slices:3")
    kill_at(out, process, 30)
    process.communicate(timeout=60)
    process = derive(out, "slices:4")
    assert "Derived by 4 slices.\n" in "".join(process.communicate(timeout=120))


def test_forget_leaves_no_tables_of_a_broken_run(out: Path) -> None:
    process = derive(out, "slices:2")
    kill_at(out, process, 30)
    process.communicate(timeout=60)
    assert finished(out) >= 30
    asked = subprocess.run([*COMMAND, "forget", "G000000001", "--out", str(out)], capture_output=True, text=True,
                           timeout=120, check=False)
    assert asked.returncode == 0, asked.stderr
    assert not (out / "tables").exists()


def test_the_settings_say_how_many_slices_where_the_command_does_not(out: Path, tmp_path: Path) -> None:
    settings, said = tmp_path / "settings.toml", {}
    settings.write_text("engine_slices = 3\n", encoding="utf-8")
    for word in ("slices", "slices:2"):
        done = subprocess.run([*COMMAND, "derive", "--out", str(out), "--settings", str(settings), "--engine", word],
                              text=True, capture_output=True, check=True)
        said[word] = next(line for line in done.stdout.splitlines() if line.startswith("Derived by"))
    assert said == {"slices": "Derived by 3 slices, by the settings.", "slices:2": "Derived by 2 slices."}


@pytest.mark.parametrize("word", ["sparks", "slices:0", "slices:x", "sc://", "sc:host"])
def test_a_word_that_names_no_engine_is_wrong_usage(word: str) -> None:
    asked = subprocess.run([*COMMAND, "derive", "--engine", word], capture_output=True, text=True, check=False,
                           env=os.environ | {"COLUMNS": "200"})
    assert asked.returncode == 2 and "expected duckdb, slices, slices:N or sc://host:port" in asked.stderr
