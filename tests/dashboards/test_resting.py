"""How a board lies holds until it is moved; what is on its faces goes with it."""

import pytest

from dashboards.resting import coat_at, rest_at
from shared.store import records as r


def rest(true_at_ms, how=r.Rest.BENCH):
    return r.BoardRest(1, 1, true_at_ms, true_at_ms, "Ida", None, False, how, None)


def move(true_at_ms):
    return r.BoardPosition(1, 1, true_at_ms, true_at_ms, "Ida", None, False, None, 7)


def coat(true_at_ms, what=r.Coat.BARE):
    return r.BoardCoat(1, 1, true_at_ms, true_at_ms, "Ida", None, False, False, what)


@pytest.mark.parametrize(
    ("said_ms", "moved_ms", "at_ms", "found_ms"),
    [
        ([], [100], 500, None),  # nobody said
        ([200], [100], 199, None),  # not yet said
        ([200], [100], 200, 200),
        ([200], [100, 300], 299, 200),
        ([200], [100, 300], 300, None),  # moved: what was said has ended
        ([200, 400], [100, 300], 400, 400),
        ([200, 400], [100, 300], 350, None),
        ([200, 250], [100], 260, 250),
        ([300], [100, 300], 300, 300),  # said of the very moment of the move: of how it lies after it
        ([200], [], 500, 200),  # in no place that anyone named
        ([200], [100, 900], 500, 200),  # a move to come ends nothing yet
    ],
)
def test_a_rest_holds_from_its_moment_until_the_board_is_moved(said_ms, moved_ms, at_ms, found_ms):
    found = rest_at([rest(one) for one in said_ms], [move(one) for one in moved_ms], at_ms)
    assert (found.true_at_ms if found else None) == found_ms


def test_of_two_said_for_one_moment_the_later_entry_holds():
    assert rest_at([rest(200), rest(200, r.Rest.TOP)], [move(100)], 300).rest is r.Rest.TOP
    assert coat_at([coat(200), coat(200, r.Coat.ALL_ROUND)], 200).coat is r.Coat.ALL_ROUND


def test_a_coat_holds_from_its_moment_whatever_is_moved():
    coats = [coat(200), coat(400, r.Coat.ONE_FACE)]
    held = {199: None, 200: r.Coat.BARE, 399: r.Coat.BARE, 400: r.Coat.ONE_FACE}
    assert {at_ms: (one.coat if (one := coat_at(coats, at_ms)) else None) for at_ms in held} == held
