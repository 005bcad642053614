"""The packed shared edition: its files as they are, the same bytes again, and no stale or foreign file."""

from __future__ import annotations

import hashlib
import json
import zipfile
from pathlib import Path

import pytest

from pipeline import stages
from pipeline.errors import RmtError


def finished(out: Path) -> Path:
    """A small finished report: two shared files, one internal."""
    files = {"shared/index.html": b"<p>hidden (n<11)</p>", "shared/results.json": b"{}", "internal/index.html": b"k-1"}
    for name, content in files.items():
        (out / name).parent.mkdir(parents=True, exist_ok=True)
        (out / name).write_bytes(content)
    outputs = [{"path": n, "sha256": hashlib.sha256(b).hexdigest(), "bytes": len(b)} for n, b in files.items()]
    (out / "manifest.json").write_text(json.dumps({"outputs": outputs}), encoding="utf-8")
    return out


def test_it_holds_the_shared_files_and_no_other(tmp_path):
    out = finished(tmp_path)
    stages.bundle(out, None)
    with zipfile.ZipFile(out / "shared.zip") as packed:
        assert packed.namelist() == ["index.html", "results.json"]
        assert packed.read("index.html") == (out / "shared" / "index.html").read_bytes()


def test_the_same_edition_gives_the_same_bytes(tmp_path):
    out = finished(tmp_path)
    stages.bundle(out, tmp_path / "a.zip")
    stages.bundle(out, tmp_path / "b.zip")
    assert (tmp_path / "a.zip").read_bytes() == (tmp_path / "b.zip").read_bytes()


@pytest.mark.parametrize("spoil", [
    lambda out: (out / "shared" / "index.html").write_bytes(b"edited"),
    lambda out: (out / "shared" / "stalled.csv").write_bytes(b"client_key"),
    lambda out: (out / "shared" / "results.json").unlink(),
    lambda out: (out / "manifest.json").unlink()])
def test_what_the_last_report_did_not_finish_is_refused(tmp_path, spoil):
    out = finished(tmp_path)
    spoil(out)
    with pytest.raises(RmtError, match="report"):
        stages.bundle(out, None)
    assert not (out / "shared.zip").exists()


def test_of_the_sample_no_key_is_in_it(sample_review, tmp_path):
    import polars as pl
    out, _ = sample_review
    stages.bundle(out, tmp_path / "shared.zip")
    keys = pl.read_csv(out / "internal" / "stalled.csv")["client_key"].unique().to_list()
    with zipfile.ZipFile(tmp_path / "shared.zip") as packed:
        whole = b"".join(packed.read(n) for n in packed.namelist())
    assert len(keys) > 50 and not [k for k in keys if k.encode() in whole]
