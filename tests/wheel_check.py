"""Build the wheel, install it in an empty environment, run the whole job from another folder, and compare its assets
with the tracked files."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import venv
import zipfile
from pathlib import Path

ROOT = Path(__file__).parents[1]


def run(*words: str, cwd: Path) -> None:
    env = {k: v for k, v in os.environ.items() if k not in ("PYTHONPATH", "VIRTUAL_ENV")}
    subprocess.run(words, cwd=cwd, env=env, check=True)


def tracked(kind: str) -> dict[str, bytes]:
    """Return the tracked files below sql/ or reports/, by their path in the wheel."""
    listed = subprocess.run(["git", "ls-files", kind], cwd=ROOT, capture_output=True, text=True, check=True)
    return {f"pipeline/_assets/{name}": (ROOT / name).read_bytes() for name in listed.stdout.split("\n") if name}


def shipped(wheel: Path) -> dict[str, bytes]:
    with zipfile.ZipFile(wheel) as archive:
        return {n: archive.read(n) for n in archive.namelist() if n.startswith("pipeline/_assets/")}


def main() -> None:
    work = Path(tempfile.mkdtemp(prefix="wheel-check-"))
    try:
        run(sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", str(work / "dist"), cwd=ROOT)
        wheel = next((work / "dist").glob("*.whl"))
        wanted, found = tracked("sql") | tracked("reports"), shipped(wheel)
        wanted = {n: b for n, b in wanted.items() if n.endswith((".sql", ".html.j2", ".css", ".js", ".toml", ".R"))}
        assert found == wanted, f"the wheel's assets differ: {sorted(set(found) ^ set(wanted))}"
        venv.create(work / "env", with_pip=True)
        python = str(work / "env" / "bin" / "python")
        pip = (python, "-m", "pip", "install", "--quiet", "--disable-pip-version-check")
        run(*pip, "--only-binary", ":all:", "--require-hashes", "-r", str(ROOT / "requirements.lock"), cwd=work)
        run(*pip, "--no-deps", str(wheel), cwd=work)
        shutil.copytree(ROOT / "sample_data", work / "elsewhere" / "data")
        command = str(work / "env" / "bin" / "rmt-outcomes")
        run(command, "review", "data", "--out", "pages", "--quiet", cwd=work / "elsewhere")
        pages = sorted(p.relative_to(work / "elsewhere").as_posix() for p in (work / "elsewhere").rglob("*.html"))
        assert len(pages) == 12, f"expected 6 internal and 6 shared pages, got {pages}"
        sys.stdout.write(f"wheel-check: {wheel.name}: {len(found)} assets, {len(pages)} pages written elsewhere.\n")
    finally:
        shutil.rmtree(work)


if __name__ == "__main__":
    main()
