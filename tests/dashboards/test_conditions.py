"""Conditions and pieces as they are read: the worst first, what is met in one line, the same told once."""

from dashboards.pages import conditions, parts
from kiln.records import Gate, PieceSaid, Standing, Verdict, Word


def gate(name, standing):
    return Gate(name, standing, f"Of {name}.", None)


def test_conditions_that_are_not_met_come_worst_first_and_the_rest_in_one_line():
    some = [
        gate("moisture", Standing.NOT_YET),
        gate("measured", Standing.MET),
        gate("loss a day", Standing.OVER),
        gate("steady", Standing.MET),
        gate("level", Standing.NOT_KNOWN),
    ]
    assert [line.name for line in conditions.open_lines(some)] == ["loss a day", "level", "moisture"]
    assert [line.name for line in conditions.met_lines(some)] == ["measured", "steady"]
    assert conditions.met_words(some) == "2 are met: measured, steady"


def test_the_line_counts_in_words_that_are_right():
    one, two = gate("room", Standing.MET), gate("steady", Standing.MET)
    assert conditions.met_words([one]) == "1 is met: room"
    assert conditions.met_words([one, two]) == "All 2 are met: room, steady"
    assert conditions.met_words([gate("x", Standing.NOT_YET)]) == ""


def test_what_is_under_a_limit_is_never_said_to_be_met():
    mould = gate("mould", Standing.UNDER)
    assert "met or under its limit: mould" in conditions.met_words([gate("room", Standing.OVER), mould])
    assert conditions.met_lines([mould])[0].key == "quiet"  # its mark has no tick


def test_pieces_of_one_word_and_reason_are_told_once_the_gravest_first():
    dry = PieceSaid("R1", Word.WAIT, "It is at 14.2 %; 9 % is wanted.", 0.05)
    damp = PieceSaid("R2", Word.WAIT, "It is at 16.0 %; 9 % is wanted.", 0.02)
    bad = PieceSaid("R3", Word.STOP, "It loses too much.", None)
    lines = conditions.piece_lines([dry, damp, bad])
    assert [line.name for line in lines] == ["R3", "R1 and R2"]
    assert lines[1].sentence == "It is at 14.2 %; 9 % is wanted. The same of R2, with other figures."
    assert conditions.pieces_words([dry, damp, bad]) == "1 STOP, 2 WAIT"


def test_many_alike_are_counted_and_the_same_reason_is_not_called_another():
    many = [PieceSaid(f"B{k}", Word.CANT_SAY, "Nobody weighed it.", None) for k in range(6)]
    (line,) = conditions.piece_lines(many)
    assert line.name == "B0, B1 and 4 more" and line.sentence == "Nobody weighed it."


def test_a_verdict_view_loses_no_condition():
    gates = tuple(gate(one.value, one) for one in Standing)
    view = parts.verdict_view(Verdict(Word.WAIT, "3 days", "Because.", "Wait.", gates=gates))
    assert {line.name for line in (*view.gates, *view.met)} == {one.value for one in Standing}
