"""Judges what was read against the contract, and loads what stands: rows kept, rows set aside with their rule."""

from pipeline.validate.checking import check
from pipeline.validate.corrections import open_rows
from pipeline.validate.loading import load, standing_load
from pipeline.validate.verdict import FileCount, FileVerdict, LoadMeta, LoadSummary, RuleBlock, Verdict, blocks

__all__ = [
    "FileCount", "FileVerdict", "LoadMeta", "LoadSummary", "RuleBlock", "Verdict", "blocks", "check", "load",
    "open_rows", "standing_load",
]
