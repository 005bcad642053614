"""The accessibility rules of axe-core, fetched by npm and checked by its hash; the file itself is not kept here.

`python -m tests.browser.axe` fetches it; without npm or without a network the tests that need it are skipped.
"""

from __future__ import annotations

import hashlib
import shutil
import subprocess
import sys
import tarfile
import tempfile
from pathlib import Path

VERSION = "4.14.1"
#: Of package/axe.min.js inside the package, so that nothing else than what was read here ever runs.
SHA512 = ("e63e659f9806d7ae5bd40899043b0871a5062c5442b01b3f1a3edf5eaf50bf5c"
          "3a7104a72463293b4ad1b77c661a0d4e40e850dec89de9d6ece70a8c13a9af17")
PLACE = Path(__file__).parents[2] / ".tmp" / f"axe-{VERSION}.js"
ABSENT = f"axe-core {VERSION} is not here and could not be fetched by npm: the accessibility rules were not run."
#: What is run: WCAG 2.0 to 2.2, levels A and AA, and the library's own good practice.
TAGS = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice")


def find() -> str | None:
    """Return the library's text where the right file is there, else None."""
    if not PLACE.exists():
        return None
    content = PLACE.read_bytes()
    return content.decode("utf-8") if hashlib.sha512(content).hexdigest() == SHA512 else None


def fetch() -> bool:
    """Fetch the package by npm and keep its one file if its hash is the one expected; tell whether it is there."""
    npm = shutil.which("npm")
    if find() is not None or npm is None:
        return find() is not None
    with tempfile.TemporaryDirectory() as folder:
        words = [npm, "pack", f"axe-core@{VERSION}", "--silent", "--pack-destination", folder]
        try:
            subprocess.run(words, cwd=folder, capture_output=True, check=True, timeout=120)
            with tarfile.open(next(Path(folder).glob("*.tgz"))) as package:
                member = package.extractfile("package/axe.min.js")
                content = member.read() if member else b""
        except (subprocess.SubprocessError, OSError, StopIteration, KeyError, tarfile.TarError):
            return False
    if hashlib.sha512(content).hexdigest() != SHA512:
        return False
    PLACE.parent.mkdir(exist_ok=True)
    PLACE.write_bytes(content)
    return True


if __name__ == "__main__" and not fetch():
    sys.stdout.write(ABSENT + "\n")
