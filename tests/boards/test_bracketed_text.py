"""The bracketed text of KiCad: its tokens, and what is said where the brackets do not fit."""

import pytest

from server.boards.sexpr import children_of
from server.problems import Refusal


def lists(text: str, kept: str = "pad", dull: str = "segment") -> list[object]:
    return [node for _, node in children_of(text, kept.split(), dull.split())]


@pytest.mark.parametrize(("written", "read"), [
    ('(pad 1_1 "1_1")', ["pad", "1_1", "1_1"]),
    ("(pad MDI[0]+)", ["pad", "MDI[0]+"]),
    ('(pad 5"CTS)', ["pad", '5"CTS']),
    ('(pad "a \\"b\\" \\\\c")', ["pad", 'a "b" \\c']),
    ('(pad "two\nlines" (at 1 2))', ["pad", "two\nlines", ["at", "1", "2"]]),
    ('(pad "")', ["pad", ""]),
    ("(pad /USB&HDMI,WiFi&BT/HSCL 1/1% Ω ”)", ["pad", "/USB&HDMI,WiFi&BT/HSCL", "1/1%", "Ω", "”"]),
    ('(pad "a""b"c)', ["pad", "a", "b", "c"]),
    ("(pad (at 1 2) (pts (xy 1 2) (xy 3 4)))", ["pad", ["at", "1", "2"], ["pts", ["xy", "1", "2"], ["xy", "3", "4"]]]),
])
def test_a_list_is_read_by_the_token_rule(written: str, read: list[object]) -> None:
    assert lists(f"(board {written})") == [["board"], read]


def test_what_nobody_needs_is_left_out_at_any_depth_and_however_deep_it_goes() -> None:
    text = (
        '(board (other (pad 1)) (segment (start 1 2) (net "(") (a (b (c)))) '
        '(pad 2 (segment "x)" (y)) (at 1)) (segment))'
    )
    assert lists(text) == [["board"], ["pad", "2", ["at", "1"]]]


@pytest.mark.parametrize(("text", "code", "where"), [
    ("(board\n (pad 1))\n)", "bracket_too_many", "line 3, column 1"),
    ("(board\n (pad 1)))", "bracket_too_many", "line 2, column 10"),
    ("(board (pad 1)\n", "file_ends_early", "the end; open since line 1, column 1"),
    ('(board\n (pad "1)\n)', "string_without_end", "line 2, column 7"),
    ("(board) (board)", "outside_the_board", "line 1, column 9"),
    ("board (pad 1)", "outside_the_board", "line 1, column 1"),
    ("(board ((pad) 1))", "list_without_name", "line 1, column 9"),
    ("(board " + "(pad " * 100_000, "too_deep", "line 1, column 323"),
])
def test_what_is_wrong_is_told_with_its_place(text: str, code: str, where: str) -> None:
    with pytest.raises(Refusal) as told:
        lists(text)
    problem = told.value.problem
    assert (problem.code, problem.where) == (code, where)
    assert problem.message and problem.given and problem.expected and problem.example


@pytest.mark.parametrize("piece", ['(segment "', '(segment (a "', "(segment (a) ", '"', "(segment ", " ", '(pad "\\',
    "(xy "])
def test_a_hostile_text_of_one_piece_over_and_over_ends_soon(piece: str) -> None:
    # a tokeniser that looked ahead without a bound would take minutes for each of these
    with pytest.raises(Refusal):
        lists("(board " + piece * (400_000 // len(piece)))
