"""Where SQL is run: in the store, slice by slice beside it, or on another engine through the Spark Connect protocol."""

from pipeline.engines.choice import Choice, opened, parse
from pipeline.engines.desk import Desk, Passing, rows_of
from pipeline.engines.engine import Engine
from pipeline.engines.in_store import InStore

__all__ = ["Choice", "Desk", "Engine", "InStore", "Passing", "opened", "parse", "rows_of"]
