"""The store: one DuckDB file that holds every table. A write works on a copy and replaces the file when it is whole."""

from pipeline.store.opening import edit_store, open_store
from pipeline.store.scratch import CsvSource, Scratch
from pipeline.store.store import Store

__all__ = ["CsvSource", "Scratch", "Store", "edit_store", "open_store"]
