"""What an act leaves in the store, and that one which is refused leaves nothing."""

import pytest

from shared.store import facts
from shared.store import records as r
from shared.units import MS_PER_DAY


def of(yard, code, record):
    """Return the standing entries of one kind about a board."""
    with yard.store.reading() as connection:
        return facts.standing(connection, record, facts.subject(connection, r.SubjectKind.BOARD, code).id)


def rows(yard):
    """Count every row of every entry table: nothing may ever be deleted."""
    with yard.store.reading() as connection:
        return facts.newest_entry(connection)


def everything(yard):
    """Return what stands about everything, without the numbers of the entries and who entered them when."""
    with yard.store.reading() as connection:
        return {
            (record.__name__, one.subject_id, one.true_at_ms): facts.own_values(one)
            for record in facts.TABLES
            for one in facts.standing(connection, record)
        }


def refused(yard, error, act, *args, **values):
    """Return the sentence of a refusal, having seen that nothing was entered."""
    before = rows(yard), everything(yard)
    with pytest.raises(error) as caught:
        yard.act(act, *args, **values)
    assert (rows(yard), everything(yard)) == before
    sentence = str(caught.value)
    assert sentence.endswith(".") and "\n" not in sentence
    return sentence


def days_ago(yard, days):
    """Return a moment so many days ago [UTC ms]."""
    return yard.now_ms - days * MS_PER_DAY
