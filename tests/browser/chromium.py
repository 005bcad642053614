"""Make sure a Chromium is there for the browser tests; as root on a Debian-like machine, install it."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys

NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")


def find() -> str | None:
    """Return the path of a Chromium, or None."""
    return next((path for path in map(shutil.which, NAMES) if path), None)


def install() -> None:
    """Install Chromium and two plain fonts by the system's package manager; quiet when that is not possible."""
    if not hasattr(os, "geteuid") or os.geteuid() != 0 or shutil.which("apt-get") is None:
        return
    env = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "env": env}
    subprocess.run(["apt-get", "update"], **quiet, check=False)
    subprocess.run(
        ["apt-get", "install", "-y", "--no-install-recommends", "chromium", "fonts-liberation", "fonts-dejavu-core"],
        **quiet, check=False,
    )


if __name__ == "__main__":
    if find() is None:
        install()
    if find() is None:
        sys.stdout.write("No Chromium here and none could be installed: the browser tests will be skipped.\n")
