"""What people enter: kept for ever, corrected by later entries, and askable as of any moment."""

from __future__ import annotations

import threading
from typing import Any

import pytest
from sqlalchemy import exc, text

from shared.errors import BadInput, Refused
from shared.store import Store, cache, facts
from shared.store import records as r

SPRING, SUMMER, AUTUMN = 1_775_000_000_000, 1_783_000_000_000, 1_791_000_000_000


@pytest.fixture
def board(store: Store) -> r.Subject:
    with store.writing() as connection:
        return facts.add_subject(connection, r.SubjectKind.BOARD, "B-1")


def weigh(store: Store, board: r.Subject, mass_kg: float, entered_at_ms: int, **others: Any) -> int:
    values = {"true_at_ms": SPRING, "by": "Ada", "mass_kg": mass_kg, "scale_error_kg": 0.01} | others
    with store.writing() as connection:
        return facts.add(connection, r.WeighIn, board.id, entered_at_ms=entered_at_ms, **values)


def undo(store: Store, fact_id: int, entered_at_ms: int) -> int:
    with store.writing() as connection:
        return facts.undo(connection, r.WeighIn, fact_id, entered_at_ms=entered_at_ms, by="Ben")


def masses(store: Store, known_at_ms: int | None = None) -> list[float]:
    with store.reading() as connection:
        return [fact.mass_kg for fact in facts.standing(connection, r.WeighIn, known_at_ms=known_at_ms)]


def rows_kept(store: Store) -> int:
    with store.reading() as connection:
        return int(connection.execute(text("SELECT count(*) FROM weigh_in")).scalar_one())


def test_an_entry_comes_back_as_it_was_entered(store: Store, board: r.Subject) -> None:
    fact_id = weigh(store, board, 12.5, SUMMER)
    with store.reading() as connection:
        found = facts.get(connection, r.WeighIn, fact_id)
    assert found == r.WeighIn(fact_id, board.id, SPRING, SUMMER, "Ada", None, False, 12.5, 0.01)


def test_words_come_back_as_words_and_not_as_text(store: Store, board: r.Subject) -> None:
    with store.writing() as connection:
        facts.add(
            connection,
            r.BoardFact,
            board.id,
            true_at_ms=SPRING,
            entered_at_ms=SPRING,
            by="Ada",
            name="B-1",
            species="Acer pseudoplatanus",
            thickness_m=0.03,
            width_m=0.2,
            length_m=2.0,
            cut=r.Cut.QUARTER,
            origin=r.Origin.RECLAIMED,
            note="",
        )
        found = facts.standing(connection, r.BoardFact)[0]
    assert found.cut is r.Cut.QUARTER
    assert found.origin is r.Origin.RECLAIMED


@pytest.mark.parametrize(
    ("record", "values"),
    [
        (r.BoardRest, {"rest": r.Rest.WINDWARD, "case_air_m3": None}),
        (r.BoardRest, {"rest": r.Rest.CASE, "case_air_m3": 0.015}),
        (r.BoardCoat, {"ends_sealed": True, "coat": r.Coat.ONE_FACE}),
        (r.BoardCut, {"from_board_id": None, "near_m": 0.0, "far_m": 0.03}),
        (r.BoardCut, {"from_board_id": 1, "near_m": 0.016, "far_m": 0.03}),
    ],
)
def test_how_a_board_lies_its_coat_and_its_cuts_come_back_as_entered(
    store: Store, board: r.Subject, record: type[r.Fact], values: dict[str, Any]
) -> None:
    with store.writing() as connection:
        made = facts.add(connection, record, board.id, true_at_ms=SPRING, entered_at_ms=SUMMER, by="Ada", **values)
    with store.reading() as connection:
        (found,) = facts.standing(connection, record, board.id)
    assert found == record(made, board.id, SPRING, SUMMER, "Ada", None, False, **values)
    assert [type(getattr(found, name)) for name in values] == [type(one) for one in values.values()]


@pytest.mark.parametrize(
    ("record", "values"),
    [
        (r.BoardCut, {"from_board_id": None, "near_m": -0.001, "far_m": 0.03}),
        (r.BoardCut, {"from_board_id": None, "near_m": 0.01, "far_m": 0.01}),
        (r.BoardCut, {"from_board_id": 77, "near_m": 0.0, "far_m": 0.03}),
        (r.BoardRest, {"rest": r.Rest.CASE, "case_air_m3": 0.0}),
    ],
)
def test_the_store_itself_refuses_a_cut_or_a_case_that_cannot_be(
    store: Store, board: r.Subject, record: type[r.Fact], values: dict[str, Any]
) -> None:
    with pytest.raises(exc.IntegrityError), store.writing() as connection:
        facts.add(connection, record, board.id, true_at_ms=SPRING, entered_at_ms=SPRING, by="Ada", **values)
    with store.reading() as connection:
        assert facts.standing(connection, record) == []


def test_a_correction_stands_in_place_of_what_it_corrects_and_both_are_kept(store: Store, board: r.Subject) -> None:
    wrong = weigh(store, board, 21.5, SPRING)
    weigh(store, board, 12.5, SUMMER, supersedes=wrong)
    assert masses(store) == [12.5]
    assert rows_kept(store) == 2


def test_the_past_can_be_asked_what_was_known_then(store: Store, board: r.Subject) -> None:
    wrong = weigh(store, board, 21.5, SPRING)
    right = weigh(store, board, 12.5, SUMMER, supersedes=wrong)
    undo(store, right, AUTUMN)
    assert masses(store, known_at_ms=SPRING - 1) == []
    assert masses(store, known_at_ms=SPRING) == [21.5]
    assert masses(store, known_at_ms=SUMMER) == [12.5]
    assert masses(store, known_at_ms=AUTUMN) == [21.5]


def test_an_undone_first_entry_no_longer_stands_and_its_undo_can_be_undone(store: Store, board: r.Subject) -> None:
    first = weigh(store, board, 12.5, SPRING)
    taken_back = undo(store, first, SUMMER)
    assert masses(store) == []
    undo(store, taken_back, AUTUMN)
    assert masses(store) == [12.5]
    assert masses(store, known_at_ms=SUMMER) == []
    assert rows_kept(store) == 3


def test_an_undone_correction_gives_way_to_what_it_corrected_and_back(store: Store, board: r.Subject) -> None:
    wrong = weigh(store, board, 21.5, SPRING)
    right = weigh(store, board, 12.5, SUMMER, supersedes=wrong)
    back = undo(store, right, SUMMER + 1)
    assert masses(store) == [21.5]
    undo(store, back, SUMMER + 2)
    assert masses(store) == [12.5]


def test_an_entry_already_corrected_cannot_be_undone_from_an_old_page(store: Store, board: r.Subject) -> None:
    wrong = weigh(store, board, 21.5, SPRING)
    weigh(store, board, 12.5, SUMMER, supersedes=wrong)
    with pytest.raises(Refused, match="Ada has already changed this entry"):
        undo(store, wrong, AUTUMN)
    assert masses(store) == [12.5]


def test_of_two_people_correcting_at_once_the_second_is_told_of_the_first(store: Store, board: r.Subject) -> None:
    wrong = weigh(store, board, 21.5, SPRING)
    start, refused = threading.Barrier(2), []

    def correct(by: str, mass_kg: float) -> None:
        start.wait(30)
        try:
            weigh(store, board, mass_kg, SUMMER, supersedes=wrong, by=by)
        except Refused as error:
            refused.append(str(error))

    people = [threading.Thread(target=correct, args=who) for who in (("Ada", 12.5), ("Ben", 12.7))]
    for person in people:
        person.start()
    for person in people:
        person.join(30)
    assert len(refused) == 1
    assert refused[0].startswith(("Ada has already changed", "Ben has already changed"))
    assert masses(store) in ([12.5], [12.7])
    assert rows_kept(store) == 2


def test_the_store_itself_holds_an_entry_to_one_correction(store: Store, board: r.Subject) -> None:
    wrong = weigh(store, board, 21.5, SPRING)
    weigh(store, board, 12.5, SUMMER, supersedes=wrong)
    with pytest.raises(exc.IntegrityError), store.writing() as connection:
        connection.execute(
            text(
                "INSERT INTO weigh_in (subject_id, true_at_ms, entered_at_ms, entered_by, supersedes, withdrawn,"
                " mass_kg, scale_error_kg) VALUES (1, 1, 1, 'x', :id, 0, 1, 1)"
            ).bindparams(id=wrong)
        )


@pytest.mark.parametrize("mass_kg", [0.0, -1.0])
def test_the_store_itself_refuses_a_mass_of_nothing(store: Store, board: r.Subject, mass_kg: float) -> None:
    with pytest.raises(exc.IntegrityError):
        weigh(store, board, mass_kg, SPRING)
    assert rows_kept(store) == 0


def test_entries_stand_in_the_order_they_are_true_whatever_the_order_of_entering(
    store: Store, board: r.Subject
) -> None:
    weigh(store, board, 10.0, SPRING, true_at_ms=AUTUMN)
    weigh(store, board, 12.0, SUMMER, true_at_ms=SPRING)
    weigh(store, board, 11.0, AUTUMN, true_at_ms=SUMMER)
    assert masses(store) == [12.0, 11.0, 10.0]


def test_one_subject_is_asked_without_the_others(store: Store, board: r.Subject) -> None:
    with store.writing() as connection:
        other = facts.add_subject(connection, r.SubjectKind.BOARD, "B-2")
    weigh(store, board, 12.5, SPRING)
    weigh(store, other, 8.0, SPRING)
    with store.reading() as connection:
        assert [fact.mass_kg for fact in facts.standing(connection, r.WeighIn, other.id)] == [8.0]


def test_at_gives_the_entry_in_force(store: Store, board: r.Subject) -> None:
    weigh(store, board, 12.0, SPRING, true_at_ms=SPRING)
    weigh(store, board, 11.0, SPRING, true_at_ms=SUMMER)
    weigh(store, board, 10.5, AUTUMN, true_at_ms=SUMMER)  # the same moment, entered later: the later holds
    with store.reading() as connection:
        entries = facts.standing(connection, r.WeighIn)
    wanted = {SPRING - 1: None, SPRING: 12.0, SUMMER - 1: 12.0, SUMMER: 10.5, AUTUMN: 10.5}
    for moment_ms, mass_kg in wanted.items():
        found = facts.at(entries, moment_ms)
        assert (found.mass_kg if found else None) == mass_kg
    assert facts.at([], SPRING) is None


def test_an_entry_that_is_not_there_is_asked_back(store: Store) -> None:
    with store.reading() as connection, pytest.raises(BadInput, match="weigh in entry is 77"):
        facts.get(connection, r.WeighIn, 77)


def test_every_entry_of_any_kind_moves_the_newest_number(store: Store, board: r.Subject) -> None:
    def newest() -> int:
        with store.reading() as connection:
            return facts.newest_entry(connection)

    before = newest()
    first = weigh(store, board, 12.5, SPRING)
    between = newest()
    undo(store, first, SUMMER)
    assert before < between < newest()


def test_every_kind_of_entry_has_a_table_with_its_fields() -> None:
    kinds = [one for one in vars(r).values() if isinstance(one, type) and issubclass(one, r.Fact) and one is not r.Fact]
    assert set(facts.TABLES) == set(kinds)
    for record, table in facts.TABLES.items():
        assert set(record.__dataclass_fields__) == set(table.columns.keys())


def test_the_words_of_lists_and_the_twelve_months_come_back_as_they_went_in(store: Store, board: r.Subject) -> None:
    when = {"true_at_ms": SPRING, "entered_at_ms": SPRING, "by": "Ida"}
    months = tuple(float(one) - 4.5 for one in range(12))
    with store.writing() as connection:
        water = {"kind": r.WaterKind.GLUED, "water_kg": 0.04, "faces": r.Faces.MARKED}
        facts.add(connection, r.WaterEvent, board.id, **when, **water)
        found = {"kind": r.OutcomeKind.CHECKS, "degree": r.Degree.SLIGHT, "thickness_m": None, "note": ""}
        facts.add(connection, r.Outcome, board.id, **when, **found)
        sized = {"kind": r.OutcomeKind.THICKNESS, "degree": None, "thickness_m": 0.026, "note": "dry"}
        facts.add(connection, r.Outcome, board.id, **when, **sized)
        climate = {"temperature_c": months, "rh_pct": (75.0,) * 12, "source": "invented"}
        facts.add(connection, r.PlaceClimate, board.id, **when, **climate)
    with store.reading() as connection:
        assert facts.own_values(facts.standing(connection, r.WaterEvent)[0]) == water
        assert [facts.own_values(one) for one in facts.standing(connection, r.Outcome)] == [found, sized]
        (kept,) = facts.standing(connection, r.PlaceClimate)
    assert facts.own_values(kept) == climate
    assert isinstance(kept.temperature_c, tuple) and hash(kept)


@pytest.mark.parametrize("both", [(None, None), (r.Degree.BAD, 0.026)])
def test_an_outcome_is_a_degree_or_a_thickness_and_never_both(store: Store, board: r.Subject, both: tuple) -> None:
    degree, thickness_m = both
    values = {"kind": r.OutcomeKind.CHECKS, "degree": degree, "thickness_m": thickness_m, "note": ""}
    with pytest.raises(exc.IntegrityError), store.writing() as connection:
        facts.add(connection, r.Outcome, board.id, true_at_ms=1, entered_at_ms=1, by="Ida", **values)


# --- codes -----------------------------------------------------------------------------------------


def test_a_code_is_found_whatever_its_capitals_and_spaces(store: Store) -> None:
    with store.writing() as connection:
        made = facts.add_subject(connection, r.SubjectKind.PLACE, "Überdach")
        assert facts.subject(connection, r.SubjectKind.PLACE, " überDACH ") == made


@pytest.mark.parametrize("again", ["Loft", "loft", "LOFT"])
def test_a_code_is_given_once_whatever_its_capitals(store: Store, again: str) -> None:
    with store.writing() as connection:
        facts.add_subject(connection, r.SubjectKind.PLACE, "Loft")
    with pytest.raises(Refused, match=f"There is already a place called {again}"), store.writing() as connection:
        facts.add_subject(connection, r.SubjectKind.PLACE, again)


def test_a_place_and_a_stack_may_share_a_code(store: Store) -> None:
    with store.writing() as connection:
        facts.add_subject(connection, r.SubjectKind.PLACE, "loft")
        facts.add_subject(connection, r.SubjectKind.STACK, "loft")
        assert facts.subject(connection, r.SubjectKind.STACK, "loft").kind is r.SubjectKind.STACK


def test_an_unknown_code_is_answered_with_those_there_are(store: Store) -> None:
    with store.writing() as connection:
        with pytest.raises(BadInput, match="place is attic; accepted: none yet; add a place first"):
            facts.subject(connection, r.SubjectKind.PLACE, "attic")
        facts.add_subject(connection, r.SubjectKind.PLACE, "loft")
        with pytest.raises(BadInput, match="place is attic; accepted: loft"):
            facts.subject(connection, r.SubjectKind.PLACE, "attic")


# --- the cache -------------------------------------------------------------------------------------


def test_a_projection_is_kept_replaced_and_thrown_away(store: Store, board: r.Subject) -> None:
    with store.writing() as connection:
        for key in ("old", "new"):
            cache.put_projection(connection, r.CachedProjection(board.id, key, SPRING, "{}"))
        assert cache.projection(connection, board.id) == r.CachedProjection(board.id, "new", SPRING, "{}")
        assert list(cache.projections(connection)) == [board.id]
        cache.drop_projections(connection)
        assert cache.projection(connection, board.id) is None
