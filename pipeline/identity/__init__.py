"""What counts as an identifier, and how much of a faulty value may be shown (none of it)."""

from pipeline.identity.gate import Finding, column_findings, findings
from pipeline.identity.masked import masked, shown_heading

__all__ = ["Finding", "column_findings", "findings", "masked", "shown_heading"]
