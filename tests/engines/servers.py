"""Servers as processes of their own, stopped whatever happens: one that is left running keeps the tests from ending."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager

START_S = 30.0


def free_port() -> int:
    """A port of this machine that nobody listens at now."""
    with socket.socket() as asked:
        asked.bind(("127.0.0.1", 0))
        return int(asked.getsockname()[1])


def wait_for(port: int, process: subprocess.Popen[bytes], seconds: float = START_S) -> None:
    """Wait until something listens at a port; fail where the process ends before."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        assert process.poll() is None, f"the server ended with {process.returncode}"
        with socket.socket() as tried:
            if tried.connect_ex(("127.0.0.1", port)) == 0:
                return
        time.sleep(0.05)
    raise AssertionError(f"no server at port {port} after {seconds} s")


@contextmanager
def serving(command: Sequence[str], port: int, environment: dict[str, str]) -> Iterator[subprocess.Popen[bytes]]:
    """Run a server for a `with` block; it is killed at the end, however the block ends."""
    process = subprocess.Popen(command, env=os.environ | environment, stdout=subprocess.DEVNULL,
                               stderr=subprocess.DEVNULL)
    try:
        wait_for(port, process)
        yield process
    finally:
        process.kill()
        process.wait(10)


@contextmanager
def sail(port: int) -> Iterator[tuple[str, subprocess.Popen[bytes]]]:
    """A Spark Connect server of the package pysail, in its mode of several workers; its address and its process."""
    command = [sys.executable, "-m", "pysail", "spark", "server", "--ip", "127.0.0.1", "--port", str(port)]
    with serving(command, port, {"SAIL_MODE": "local-cluster", "RUST_LOG": "error"}) as process:
        yield f"sc://127.0.0.1:{port}", process
