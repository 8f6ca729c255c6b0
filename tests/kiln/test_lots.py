"""What boards teach of one another, against one big normal distribution of all boards written out and conditioned.

In it stand, side by side, what all boards of the yard share, what each lot shares, and each board's own; every board's
measurements are linear in the sum of the three. Conditioning by the covariances of all of them at once (von Mises,
Mathematical Theory of Probability and Statistics, 1964, section VIII.9; Anderson, An Introduction to Multivariate
Statistical Analysis, 3rd ed. 2003, theorem 2.5.1) knows nothing of lessons.
"""

from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as of_numpy

from kiln import drying, estimation, lots
from shared import tables
from shared.tables import constants

NAMES = len(drying.UNKNOWNS)
SPECIES = tables.species()["Fraxinus americana"]
PRIOR = drying.prior(
    drying.Piece(SPECIES, 0.028, 0.2, 1.2, "fresh-sawn", drying.one_spell(0.028, "yard", in_stack=True))
)


@dataclass
class Board:
    """A board's measurements: ``read`` is what ``by`` says of its distance from what was expected, but for errors."""

    lot: int
    by: np.ndarray  # [data, unknowns]
    errors: np.ndarray  # covariance of the errors [data, data]
    read: np.ndarray  # [data]

    def fit(self):
        """The board's own refit, by Bayes' rule in its plain form."""
        gain = PRIOR.covariance @ self.by.T @ np.linalg.inv(self.by @ PRIOR.covariance @ self.by.T + self.errors)
        return estimation.Fit(PRIOR.centre + gain @ self.read, PRIOR.covariance - gain @ self.by @ PRIOR.covariance, ())

    def lesson(self):
        return lots.lesson(PRIOR, self.fit())


def shares(part):
    return np.array([constants("lots")[f"{part}_{name}"].value for name in drying.UNKNOWNS])


def drawn(rng, lot, count=3):
    """A board with as many measurements, of unknowns in any combination."""
    by = rng.normal(size=(count, NAMES)) / PRIOR.sd
    noise = rng.normal(size=(count, count))
    errors = 0.3 * np.eye(count) + 0.1 * noise @ noise.T
    return Board(lot, by, errors, rng.normal(size=count) * 2.0)


def one_big_normal(boards, of_lot):
    """Centre and covariance of a board of a lot that nobody measured, from the measurements of all boards at once."""
    variance = PRIOR.sd**2
    yard, lot = shares("yard") * variance, shares("lot") * variance
    own = np.maximum(variance - yard - lot, 0.0)
    every = [*boards, Board(of_lot, np.zeros((0, NAMES)), np.zeros((0, 0)), np.zeros(0))]
    together = np.zeros((len(every) * NAMES, len(every) * NAMES))
    for i, one in enumerate(every):
        for j, other in enumerate(every):
            shared = yard + (lot if one.lot == other.lot else 0.0) + (own if i == j else 0.0)
            together[i * NAMES : (i + 1) * NAMES, j * NAMES : (j + 1) * NAMES] = np.diag(shared)
    rows = sum(len(one.read) for one in boards)
    by, errors, row = np.zeros((rows, together.shape[0])), np.zeros((rows, rows)), 0
    for i, one in enumerate(boards):
        till = row + len(one.read)
        by[row:till, i * NAMES : (i + 1) * NAMES] = one.by
        errors[row:till, row:till] = one.errors
        row = till
    read = np.concatenate([one.read for one in boards])
    gain = together @ by.T @ np.linalg.inv(by @ together @ by.T + errors)
    centre, covariance = gain @ read, together - gain @ by @ together
    return centre[-NAMES:], covariance[-NAMES:, -NAMES:]


def taught(mates, finished):
    """The same by lessons: a board of lot 0 after its lot's measured boards and finished ones elsewhere."""
    numbers = dict.fromkeys(one.lot for one in finished)
    yard = lots.of_yard(PRIOR, [[one.lesson() for one in finished if one.lot == lot] for lot in numbers])
    shared = lots.of_lot(PRIOR, yard, [one.lesson() for one in mates])
    return lots.believed(PRIOR, shared)


def close(found, centre, covariance):
    """In deviations of what was expected: the table's shares of nought are a millionth here."""
    scale = PRIOR.sd
    assert (found.centre - PRIOR.centre) / scale == pytest.approx(centre / scale, abs=2e-4)
    assert found.covariance / np.outer(scale, scale) == pytest.approx(covariance / np.outer(scale, scale), abs=2e-4)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize(("mates", "finished"), [(1, 0), (3, 0), (0, 1), (0, 4), (2, 3)])
def test_lessons_come_to_what_one_big_normal_of_all_boards_says(seed, mates, finished):
    rng = np.random.default_rng(seed)
    lot = [drawn(rng, 0, 1 + k % 3) for k in range(mates)]
    done = [drawn(rng, 1 + k, 1 + k % 4) for k in range(finished)]
    close(taught(lot, done), *one_big_normal([*lot, *done], 0))


@pytest.mark.parametrize("seed", range(3))
def test_finished_boards_of_one_lot_are_not_as_many_lots(seed):
    rng = np.random.default_rng(20 + seed)
    lot, done = [drawn(rng, 0)], [drawn(rng, 1 + k // 3, 2) for k in range(5)]
    close(taught(lot, done), *one_big_normal([*lot, *done], 0))
    film = drying.UNKNOWNS.index("ln_film")
    one_lot, five_lots = (
        [told_of("ln_film", 1.0, lot=at(k)) for k in range(5)] for at in (lambda _k: 1, lambda k: 1 + k)
    )
    assert taught([], one_lot).sd[film] > taught([], five_lots).sd[film]


def test_lessons_add_up_in_any_order_and_one_by_one():
    rng = np.random.default_rng(9)
    done = [[drawn(rng, 1 + k).lesson()] for k in range(4)]
    all_at_once, turned = lots.of_yard(PRIOR, done), lots.of_yard(PRIOR, done[::-1])
    assert turned.centre == pytest.approx(all_at_once.centre, rel=1e-9)
    assert turned.covariance == pytest.approx(all_at_once.covariance, rel=1e-9)
    nothing = lots.Lesson(np.zeros((NAMES, NAMES)), np.zeros(NAMES))
    beside = lots.of_yard(PRIOR, [*done, [nothing], []])
    assert beside.centre == pytest.approx(all_at_once.centre, rel=1e-9)
    assert beside.covariance == pytest.approx(all_at_once.covariance, rel=1e-9)
    for count in range(4):  # every further one leaves less unknown
        less, more = (np.diag(lots.of_yard(PRIOR, done[:k]).covariance) for k in (count, count + 1))
        assert np.all(more <= less * (1 + 1e-9))


def test_without_any_lesson_a_board_is_what_its_species_and_sizes_say():
    found = taught([], [])
    assert found.centre == pytest.approx(PRIOR.centre)
    assert np.diag(found.covariance) == pytest.approx(np.diag(PRIOR.covariance), rel=1e-4)


def told_of(name, distance_sd, error_sd=0.2, lot=0):
    """A board that tells one unknown, so many deviations from what was expected."""
    by = np.zeros((1, NAMES))
    by[0, drying.UNKNOWNS.index(name)] = 1.0 / PRIOR.sd[drying.UNKNOWNS.index(name)]
    return Board(lot, by, np.array([[error_sd**2]]), np.array([distance_sd]))


@pytest.mark.parametrize("name", ["ln_start_mc", "ln_diffusion", "ln_film", "ln_oven_dry_mass"])
def test_a_board_that_nobody_measured_is_known_better_with_sample_boards_and_lies_near_them(name):
    which = drying.UNKNOWNS.index(name)
    samples = [told_of(name, 1.5 + 0.1 * k) for k in range(6)]
    found = taught(samples, [])
    moved = (found.centre - PRIOR.centre)[which] / PRIOR.sd[which]
    share = (shares("lot") + shares("yard"))[which]
    assert found.sd[which] < PRIOR.sd[which]
    assert found.sd[which] >= PRIOR.sd[which] * np.sqrt(1.0 - share) * (1 - 1e-6)  # its own part nobody else tells
    # All six lie at about 1.75: so near to there as the error of their mean leaves of what they share.
    assert moved == pytest.approx(1.75 * share / (share + (1.0 - share + 0.04) / 6.0), rel=1e-3)


def test_what_others_do_not_share_they_do_not_teach():
    bias = drying.UNKNOWNS.index("rh_bias_pct")
    elsewhere = taught([], [told_of("rh_bias_pct", 2.0, lot=k) for k in range(1, 5)])
    assert elsewhere.centre[bias] == pytest.approx(PRIOR.centre[bias], abs=1e-3)
    beside = taught([told_of("rh_bias_pct", 2.0)], [])
    assert beside.centre[bias] > 1.5 * PRIOR.sd[bias]  # one hygrometer for all of them


def test_a_lesson_gives_back_what_the_measurements_alone_say():
    rng = np.random.default_rng(3)
    board = drawn(rng, 0)
    through = np.linalg.inv(board.errors)
    assert board.lesson().information == pytest.approx(board.by.T @ through @ board.by, rel=1e-6, abs=1e-6)
    assert board.lesson().pull == pytest.approx(board.by.T @ through @ board.read, rel=1e-6, abs=1e-6)


def test_a_board_is_not_taught_by_itself():
    # What it is after its own and the others' measurements is what one big normal of all says, each counted once.
    rng = np.random.default_rng(11)
    board, mates = drawn(rng, 0), [drawn(rng, 0) for _ in range(3)]
    expected = taught(mates, [])
    moved = board.read - board.by @ (expected.centre - PRIOR.centre)
    gain = expected.covariance @ board.by.T @ np.linalg.inv(board.by @ expected.covariance @ board.by.T + board.errors)
    found = drying.Prior(expected.centre + gain @ moved, expected.covariance - gain @ board.by @ expected.covariance)
    # The same board out of the big normal: as one of its own lot with a part of its own that is the board's.
    centre, covariance = one_big_normal_of_first([board, *mates])
    close(found, centre, covariance)
    with_itself = taught([board, *mates], [])
    assert np.linalg.norm((with_itself.centre - expected.centre) / PRIOR.sd) > 0.05  # it would have told itself twice


def one_big_normal_of_first(boards):
    """The first of these boards of one lot after all measurements."""
    variance = PRIOR.sd**2
    shared = (shares("yard") + shares("lot")) * variance
    count = len(boards)
    together = np.kron(np.ones((count, count)), np.diag(shared)) + np.kron(np.eye(count), np.diag(variance - shared))
    sizes = [len(one.read) for one in boards]
    by, errors, row = np.zeros((sum(sizes), count * NAMES)), np.zeros((sum(sizes), sum(sizes))), 0
    for i, one in enumerate(boards):
        by[row : row + sizes[i], i * NAMES : (i + 1) * NAMES] = one.by
        errors[row : row + sizes[i], row : row + sizes[i]] = one.errors
        row += sizes[i]
    gain = together @ by.T @ np.linalg.inv(by @ together @ by.T + errors)
    centre = gain @ np.concatenate([one.read for one in boards])
    return centre[:NAMES], (together - gain @ by @ together)[:NAMES, :NAMES]


def test_what_a_lot_has_in_common_is_a_share_that_falls_as_it_is_learned():
    before = lots.common_share(PRIOR, lots.of_lot(PRIOR, lots.of_yard(PRIOR, []), []))
    assert before == pytest.approx(shares("lot") + shares("yard"), abs=1e-3)
    told = lots.of_lot(PRIOR, lots.of_yard(PRIOR, []), [told_of("ln_film", 1.0).lesson() for _ in range(5)])
    after = lots.common_share(PRIOR, told)
    film = drying.UNKNOWNS.index("ln_film")
    assert after[film] < before[film]
    assert np.all((after >= 0.0) & (after <= 1.0))


def test_factors_are_the_tables_own_without_lessons_and_slower_where_boards_were():
    nothing = lots.factors(lots.of_yard(PRIOR, []))
    assert [middle for _low, middle, _high in nothing.values()] == pytest.approx([1.0] * drying.LOGARITHMIC)
    slow = lots.factors(lots.of_yard(PRIOR, [[told_of("ln_diffusion", -1.5, lot=k).lesson()] for k in range(5)]))
    low, middle, high = slow["ln_diffusion"]
    assert low < middle < high
    assert middle < 1.0
    assert np.log(high / middle) == pytest.approx(np.log(middle / low))
    assert np.log(high / low) < np.log(nothing["ln_diffusion"][2] / nothing["ln_diffusion"][0])


matrices = of_numpy.arrays(float, (NAMES, NAMES), elements=st.floats(-1e3, 1e3))
vectors = of_numpy.arrays(float, NAMES, elements=st.floats(-1e3, 1e3))


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(matrices, vectors, st.floats(1e-6, 1e6)), min_size=1, max_size=4), st.booleans())
def test_no_lesson_however_wrong_or_contradictory_makes_a_covariance_that_is_none(given_lessons, contradicted):
    scale = PRIOR.sd
    lessons = []
    for matrix, pull, size in given_lessons:
        # Of a refit whose spread is of any scale and shape, more than was expected too.
        spread = np.outer(scale, scale) * (matrix @ matrix.T / 1e6 + 1e-4 * np.eye(NAMES)) * size
        fit = estimation.Fit(PRIOR.centre + pull * scale, spread, ())
        lessons.append(lots.lesson(PRIOR, fit))
        if contradicted:
            lessons.append(lots.lesson(PRIOR, estimation.Fit(PRIOR.centre - pull * scale, spread, ())))
    yard = lots.of_yard(PRIOR, [lessons[:1], lessons[1:]])
    found = lots.believed(PRIOR, lots.of_lot(PRIOR, yard, lessons))
    relative = found.covariance / np.outer(scale, scale)
    assert np.isfinite(found.centre).all()
    assert np.linalg.eigvalsh((relative + relative.T) / 2.0).min() > 0.0
    assert np.all(np.diag(relative) <= 1.0 + 1e-3)  # nothing learned makes a board less known
    common = lots.common_share(PRIOR, lots.of_lot(PRIOR, yard, lessons))
    assert np.all((common >= 0.0) & (common <= 1.0))
