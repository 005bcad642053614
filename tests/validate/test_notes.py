"""Notes in the store: batch by batch, the same again changes nothing, and an earlier batch sees its own."""

from datetime import date

from pipeline.contract.annotations import Annotation
from pipeline.derive import derive
from pipeline.settings import Settings
from pipeline.store import open_store
from pipeline.validate.notes import keep_notes, notes_stand

ONE = Annotation("note", date(2026, 2, 1), "rooms closed", ("mill", "orchard"))
TWO = Annotation("decision", date(2026, 4, 1), "book earlier", (), "2026Q1", "weeks_logged", "done")
CHANGED = Annotation("decision", date(2026, 4, 1), "book earlier", (), "2026Q1", "weeks_logged", "done since May")


def seen(store, batch):
    derive(store, Settings(), as_of_batch=batch)
    rows = store.table("frames.annotations").sort("on_day", "text")
    return rows.select("kind", "quarter", "sites", "followed").rows()


def test_each_batch_sees_the_notes_it_knew():
    with open_store(":memory:") as store:
        assert notes_stand(store, None) and notes_stand(store, ()) and not notes_stand(store, (ONE,))
        keep_notes(store, (ONE,), 1)
        assert notes_stand(store, (ONE,)) and not notes_stand(store, ())
        keep_notes(store, (TWO, ONE), 2)
        keep_notes(store, None, 3)
        keep_notes(store, (CHANGED,), 4)
        assert seen(store, 1) == [("note", "2026Q1", "mill, orchard", "")]
        assert seen(store, 2) == seen(store, 3) == [
            ("note", "2026Q1", "mill, orchard", ""), ("decision", "2026Q2", "", "done")]
        assert seen(store, 4) == [("decision", "2026Q2", "", "done since May")]
