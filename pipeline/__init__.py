"""RMT outcomes: a research data pipeline and cohort reporter for respiratory muscle training services."""

__version__ = "0.1.0"
