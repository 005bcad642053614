"""`python -m bench`: every comparison, one after the other, each with today's date in its table. Minutes each."""

from __future__ import annotations

import datetime as dt
import subprocess
import sys


def main() -> None:
    """Run each bench in a process of its own; the first that fails stops the rest."""
    today = dt.date.today().isoformat()
    for words in (("bench.mixed", today), ("bench.intake",), ("bench.intake_changed",),
                  ("bench.intake_excel",), ("bench.derivation",), ("bench.models",), ("bench.pages",)):
        subprocess.run([sys.executable, "-W", "ignore", "-m", *words], check=True)


if __name__ == "__main__":
    main()
