"""Judges what was read against the contract, and loads what stands: rows kept, rows set aside with their rule."""

from pipeline.validate.checking import check
from pipeline.validate.loading import load
from pipeline.validate.verdict import FileCount, FileVerdict, LoadMeta, LoadSummary, RuleBlock, Verdict, blocks

__all__ = [
    "FileCount", "FileVerdict", "LoadMeta", "LoadSummary", "RuleBlock", "Verdict", "blocks", "check", "load",
]
