"""(being written)"""
from pipeline.results import ResultSet


def results(frames, settings, quarter, models):  # type: ignore[no-untyped-def]
    return ResultSet(())
