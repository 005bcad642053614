"""All slow studies, one after the other: python -m tests.studies. Minutes to an hour each."""

import datetime as dt
import subprocess
import sys

TODAY = dt.date.today().isoformat()
STUDIES = (
    ("recovery",), ("control_chart_signals",), ("falling_looks",), ("stalled_rule",), ("gate_corpus",),
    ("designs", TODAY), ("gate_power", TODAY), ("plan_size", TODAY), ("coverage", TODAY, "4000"), ("kill_table",),
    ("fuzz_intake",), ("small_parts",), ("misleading", "--cohorts", "300"), ("next_test_power",),
)  # fmt: skip


def main() -> None:
    """Run each study in a process of its own; the first that fails stops the rest."""
    for name, *words in STUDIES:
        subprocess.run([sys.executable, "-W", "ignore", "-m", f"tests.studies.{name}", *words], check=True)


if __name__ == "__main__":
    main()
