"""Numbering: every contact once, and from the rows back to a counting that lays the same rows."""

from typing import get_args

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from server.engine.errors import SheetError
from server.engine.socket_rows import mirrored, numbering_of, rows_of
from shared_models.board import Row
from shared_models.pin_table import ContactNumbering, NumberingOrder, PinOneCorner

numberings = st.builds(
    ContactNumbering, row_lengths=st.lists(st.integers(1, 12), min_size=1, max_size=4).map(tuple),
    order=st.sampled_from(get_args(NumberingOrder)), pin_one=st.sampled_from(get_args(PinOneCorner)),
    lettered=st.booleans(), from_other_side=st.booleans(),
)


def laid(numbering: ContactNumbering) -> list[str]:
    """The rows as a person would write them."""
    return [" ".join(row.contacts) for row in rows_of(numbering)]


def test_the_ways_to_count_two_rows_of_three() -> None:
    three = (3, 3)
    assert laid(ContactNumbering(row_lengths=three)) == ["1 2 3", "4 5 6"]
    assert laid(ContactNumbering(row_lengths=three, order="along_then_back")) == ["1 2 3", "6 5 4"]
    assert laid(ContactNumbering(row_lengths=three, order="odd_even")) == ["1 3 5", "2 4 6"]
    assert laid(ContactNumbering(row_lengths=three, pin_one="bottom_left")) == ["4 5 6", "1 2 3"]
    assert laid(ContactNumbering(row_lengths=three, order="odd_even", pin_one="top_right")) == ["5 3 1", "6 4 2"]
    assert laid(ContactNumbering(row_lengths=three, from_other_side=True)) == ["3 2 1", "6 5 4"]


def test_usb_c_faces_a1_with_b12() -> None:
    upper, lower = rows_of(ContactNumbering(row_lengths=(12, 12), order="along_then_back", lettered=True))
    assert [upper.contacts[0], lower.contacts[0], upper.contacts[-1], lower.contacts[-1]] == ["A1", "B12", "A12", "B1"]


def test_odd_and_even_need_two_rows_that_fit() -> None:
    for lengths in ((3,), (3, 5), (9, 10), (2, 2, 2)):
        with pytest.raises(SheetError, match="two rows"):
            rows_of(ContactNumbering(row_lengths=lengths, order="odd_even"))


@given(numberings)
def test_every_contact_lies_once_and_a_numbering_is_found_that_lays_the_same(numbering: ContactNumbering) -> None:
    try:
        rows = rows_of(numbering)
    except SheetError:
        assume(False)
        raise
    contacts = [contact for row in rows for contact in row.contacts]
    assert len(set(contacts)) == len(contacts) == sum(numbering.row_lengths)
    assert tuple(len(row.contacts) for row in rows) == numbering.row_lengths
    found = numbering_of(rows)
    assert found is not None
    assert rows_of(found) == rows
    assert mirrored(mirrored(rows)) == rows


@given(numberings)
def test_the_other_side_is_the_mirror(numbering: ContactNumbering) -> None:
    try:
        rows = rows_of(numbering)
    except SheetError:
        assume(False)
        raise
    turned = ContactNumbering(
        row_lengths=numbering.row_lengths, order=numbering.order, pin_one=numbering.pin_one,
        lettered=numbering.lettered, from_other_side=not numbering.from_other_side,
    )
    assert rows_of(turned) == mirrored(rows)


def test_rows_that_nobody_counts_so_have_no_numbering() -> None:
    assert numbering_of((Row(name="", contacts=("1", "3", "2")),)) is None
    assert numbering_of(()) is None
