"""The client of the Spark Connect protocol looks at `__main__`: one without a file is taken for doctests of its own."""

from __future__ import annotations

import sys
from collections.abc import Iterator

import pytest

from tests.engines.servers import free_port, sail


def pytest_configure() -> None:
    """A worker of pytest-xdist is started from a string, so its `__main__` has neither a file nor a spec."""
    main = sys.modules["__main__"]
    if getattr(main, "__spec__", None) is None and not hasattr(main, "__file__"):
        main.__file__ = __file__


@pytest.fixture(scope="module")
def address() -> Iterator[str]:
    """A Spark Connect server with several workers, for the tests of one file."""
    pytest.importorskip("pyspark", reason="the Spark Connect client is not installed: make cluster")
    pytest.importorskip("pysail", reason="pysail is not in this environment (requirements-dev.lock)")
    with sail(free_port()) as (found, _):
        yield found
