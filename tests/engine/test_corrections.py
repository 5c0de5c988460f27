"""Corrections over an immutable board: newest last, pairs whole, taken back ones gone; and places left empty."""

import msgspec
import pytest
from msgspec.structs import replace

from server.engine.accepted_board import Board, accept_board
from server.engine.digest import board_digest
from server.engine.door import form_opinion
from server.engine.errors import SheetError
from server.engine.overstress import seated_on
from server.engine.overstress_states import sittings_of
from server.engine.stories.kinds import scene_of
from shared_models.board import BoardVersion, Contact, ContactCorrection, Row, Socket
from shared_models.job import Intake
from shared_models.sheet import BenchSheet


def board(left_out: tuple[int, ...] = (), *, rows: int = 1) -> BoardVersion:
    """Rows of four contacts; 2 and 3 are a pair."""
    names = [f"{letter}{n}" if rows > 1 else str(n) for letter in "AB"[:rows] for n in range(1, 5)]
    pairs = {"2": "3", "3": "2"}
    contacts = tuple(Contact(number=name, role="lane", pair_with=pairs.get(name)) for name in names)
    laid = tuple(Row(name=str(r), contacts=tuple(names[4 * r: 4 * r + 4]), left_out=left_out) for r in range(rows))
    socket = Socket(ref="J1", kind="zif", pitch_mm=0.5, rows=laid, contacts=contacts)
    return BoardVersion(id="board", device="Test", board="B", sockets=(socket,))


def sheet(*corrections: ContactCorrection, removed: tuple[str, ...] = ()) -> BenchSheet:
    """A sheet with no reading."""
    return BenchSheet(
        sheet_id="s", asked_at_ms=0, board=board(), socket="J1", corrections=corrections, removed_ids=removed
    )


def correction(name: str, contact: str, at_ms: int = 0, **fields: object) -> ContactCorrection:
    """A correction of socket J1."""
    told = {"id": name, "board_version_id": "board", "socket": "J1", "contact": contact, "made_at_ms": at_ms}
    return msgspec.convert({**told, **fields}, ContactCorrection)


def judged(*corrections: ContactCorrection, removed: tuple[str, ...] = ()) -> dict[str, Contact]:
    """The contacts as corrected, by number."""
    accepted = accept_board(sheet(*corrections, removed=removed))
    return {contact.number: contact for contact in accepted.contacts}


def pairs(contacts: dict[str, Contact]) -> dict[str, str]:
    """Who is paired with whom."""
    return {number: contact.pair_with for number, contact in contacts.items() if contact.pair_with is not None}


def test_a_correction_that_was_taken_back_is_not_applied_and_makes_another_board() -> None:
    first, second = correction("c1", "1", 1, role="pwm", net="PWM"), correction("c2", "1", 2, role="ground")
    assert judged(first, second)["1"].role == "ground"
    assert (judged(first, second, removed=("c2",))["1"].role, judged(first, removed=("c1",))["1"].net) == ("pwm", None)
    assert board_digest(sheet(first)) != board_digest(sheet(first, removed=("c1",)))


def test_the_side_that_sources_is_corrected_and_nothing_else_with_it() -> None:
    corrected = judged(correction("c1", "1", sourced_by="module"))["1"]
    assert corrected == replace(judged()["1"], sourced_by="module")


def test_a_corrected_pair_names_both_and_ends_the_pairs_they_were_in() -> None:
    assert pairs(judged()) == {"2": "3", "3": "2"}
    assert pairs(judged(correction("c1", "1", pair_with="2"))) == {"1": "2", "2": "1"}
    assert pairs(judged(correction("c1", "2", no_pair=True))) == {}
    assert pairs(judged(correction("c1", "1", 1, pair_with="2"), correction("c2", "3", 2, pair_with="4"))) == {
        "1": "2", "2": "1", "3": "4", "4": "3",
    }


@pytest.mark.parametrize("partner", ["9", "1"])
def test_a_pair_with_no_contact_of_the_socket_changes_nothing(partner: str) -> None:
    assert pairs(judged(correction("c1", "1", pair_with=partner))) == {"2": "3", "3": "2"}


def accepted(left_out: tuple[int, ...], *, rows: int = 1) -> Board:
    """The board of a sheet whose rows leave places out."""
    return accept_board(BenchSheet(sheet_id="s", asked_at_ms=0, board=board(left_out, rows=rows), socket="J1"))


def test_a_place_left_out_keeps_its_neighbours_apart() -> None:
    # 1 _ _ 2 3 4
    with_key = accepted((2, 3))
    assert with_key.spots == [[0, None, None, 1, 2, 3]]
    # one place off: 1 hangs over the key, 2 and 3 stand on 3 and 4
    assert seated_on(with_key, 1) == {1: 2, 2: 3}
    assert seated_on(with_key, 3) == {0: 1}
    ways = {way.id: way for way in sittings_of(with_key)}
    assert ways["tool_along"].pairs == ((1, 2), (2, 3))
    # turned round: 4 3 2 _ _ 1, so place 1 meets 4, place 4 meets the key
    assert ways["flipped"].stands == {0: 3, 3: 0}
    assert scene_of(with_key, Intake(), None).neighbours == [[], [2], [1, 3], [2]]


def test_rows_without_gaps_are_as_they_were() -> None:
    whole = accepted(())
    assert seated_on(whole, 1) == {0: 1, 1: 2, 2: 3}
    assert {way.id: way.stands for way in sittings_of(whole)}["flipped"] == {0: 3, 1: 2, 2: 1, 3: 0}


def test_facing_contacts_are_those_at_one_place() -> None:
    ways = {way.id: way for way in sittings_of(accepted((2,), rows=2))}
    assert ways["tool_across"].pairs == ((0, 4), (1, 5), (2, 6), (3, 7))


@pytest.mark.parametrize("left_out", [(6,), (2, 2)])
def test_places_the_row_does_not_have_are_refused(left_out: tuple[int, ...]) -> None:
    with pytest.raises(SheetError) as caught:
        accepted(left_out)
    assert caught.value.problem.code == "left_out_does_not_fit"


def test_an_opinion_is_formed_of_a_contact_that_stands_alone_between_gaps() -> None:
    opinion = form_opinion(BenchSheet(sheet_id="s", asked_at_ms=0, board=board((2, 3)), socket="J1"))
    assert [contact.contact for contact in opinion.contacts] == ["1", "2", "3", "4"]


def test_a_turned_and_a_skewed_plug_stand_over_the_gaps_too() -> None:
    ways = {way.id: way for way in sittings_of(accepted((2, 3)))}
    # places 1 _ _ 2 3 4: the far half spans 2-3 and 3-4, the near half nothing
    assert (ways["skewed:first"].pairs, ways["skewed:last"].pairs) == (((1, 2), (2, 3)), ())
