# ruff: noqa: T201 - a command line tool of the tests; it may print
"""Fetch the data of a few R packages from this machine's own Debian sources: `make oracles`.

They serve the optional tests of tests/published only; without them those tests skip and say so. R itself is not needed.
"""

import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from tests.published.r_data import FOLDER, PACKAGES, unpack


def main() -> int:
    """Download, unpack, and say what stands where; 0 also when this system has no apt-get."""
    if not (shutil.which("apt-get") and shutil.which("dpkg")):
        print("No apt-get here: the tests against R's data will skip, all others run.")
        return 0
    FOLDER.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        done = subprocess.run(["apt-get", "download", *PACKAGES.values()], cwd=folder, capture_output=True, text=True)
        for deb in sorted(Path(folder).glob("*.deb")):
            unpack(deb)
            print(f"unpacked {deb.name}")
    if done.returncode:
        print(f"apt-get could not fetch everything (is `apt-get update` due?): {done.stderr.strip()[-300:]}")
    return done.returncode


if __name__ == "__main__":
    sys.exit(main())
