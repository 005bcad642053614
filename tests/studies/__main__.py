"""All simulation studies that take no other words, one after the other: python -m tests.studies. Minutes each."""

import subprocess
import sys

STUDIES = ("recovery", "control_chart_signals", "falling_looks", "stalled_rule")


def main() -> None:
    """Run each study in a process of its own; the first that fails stops the rest."""
    for name in STUDIES:
        subprocess.run([sys.executable, "-m", f"tests.studies.{name}"], check=True)


if __name__ == "__main__":
    main()
