"""Pages from results: one self-contained HTML file per reader, and the same results as JSON and CSV."""

from pipeline.report.editions import SECTIONS, write
from pipeline.report.twins import write_table
from pipeline.report.views import PageMeta, Section

__all__ = ["SECTIONS", "PageMeta", "Section", "write", "write_table"]
