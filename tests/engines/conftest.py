"""The client of the Spark Connect protocol looks at `__main__`: one without a file is taken for doctests of its own."""

from __future__ import annotations

import sys


def pytest_configure() -> None:
    """A worker of pytest-xdist is started from a string, so its `__main__` has neither a file nor a spec."""
    main = sys.modules["__main__"]
    if getattr(main, "__spec__", None) is None and not hasattr(main, "__file__"):
        main.__file__ = __file__
