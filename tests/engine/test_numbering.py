"""Which way the technician counts: two to four anchors tell, no sheet is judged against the wrong drawing.

A sheet counted from the other end looks like twenty faults. Where a socket reads the same turned round,
the opinion says that it cannot be told.
"""

from collections.abc import Mapping

import pytest

from demo.shop.bench import Bench
from demo.shop.boards import ALL_BOARDS, S4, T10
from demo.shop.meters import BENCH_METER
from demo.shop.references import S4_GOOD, T10_GOOD, KnownGood
from demo.shop.table import OL, S4_J3, T10_J7
from server.engine.accepted_board import accept_board
from server.engine.door import form_opinion
from server.engine.numbering import AS_DRAWN, possible_orders
from server.engine.roles import healthy_ol
from shared_models.board import BoardVersion, Contact
from shared_models.opinion import Opinion
from shared_models.sheet import BenchSheet
from tests.support.benches import board_of, line, sheet_of, touched

CALLED = ("short", "low", "high", "open")


def fresh(board: BoardVersion) -> BenchSheet:
    """A sheet on which nothing was read yet."""
    return BenchSheet(sheet_id="fresh", asked_at_ms=0, board=board, socket=board.sockets[0].ref)


def orders_of(board: BoardVersion) -> dict[str, list[str]]:
    """Each way of counting: its name, and for each drawn place in turn the number written as the contact met there."""
    accepted = accept_board(fresh(board))
    numbers = [one.number for one in accepted.contacts]
    return {order.name: [numbers[drawn] for drawn in order.to_drawn] for order in possible_orders(accepted)}


def written(board: BoardVersion, order: str, drops: Mapping[str, str]) -> dict[str, str]:
    """What a technician who counts in that order writes down, contact as written -> reading."""
    numbers = [one.number for one in accept_board(fresh(board)).contacts]
    return {
        number: drops[drawn] for number, drawn in zip(numbers, orders_of(board)[order], strict=True) if drawn in drops
    }


def kind_of_reading(contact: Contact) -> str:
    """What a touch would show, coarsely and by the role alone."""
    if healthy_ol(contact):
        return "OL"
    if contact.role == "ground" or contact.role.startswith("core_rail"):
        return "near zero"
    return "a rail" if contact.role.endswith("rail") or contact.role in ("panel_supply", "led_plus") else "a line"


# ---- the anchors ----------------------------------------------------------------------


@pytest.mark.parametrize("board", ALL_BOARDS, ids=lambda board: board.id)
def test_two_to_four_anchors_tell_every_way_of_counting_apart(board: BoardVersion) -> None:
    opinion = form_opinion(fresh(board))
    anchors = opinion.numbering.anchors
    assert 2 <= len(anchors) <= 4
    numbers = [one.number for one in accept_board(fresh(board)).contacts]
    contacts = {one.number: one for one in board.sockets[0].contacts}
    orders = orders_of(board)
    for name, met in orders.items():
        for other_name, other in orders.items():
            if name < other_name:
                apart = [
                    written
                    for written, one, two in zip(numbers, met, other, strict=True)
                    if kind_of_reading(contacts[one]) != kind_of_reading(contacts[two])
                ]
                # USB Type-C turned round meets the same signals everywhere: there nothing can tell
                assert set(anchors) & set(apart) or not apart, f"{name} and {other_name} look the same at {anchors}"


@pytest.mark.parametrize("board", ALL_BOARDS, ids=lambda board: board.id)
def test_before_anything_is_read_the_anchors_are_asked_for_first(board: BoardVersion) -> None:
    opinion = form_opinion(fresh(board))
    assert not opinion.numbering.settled
    assert opinion.next[0].run == opinion.numbering.anchors
    assert opinion.next[0].reasons[0].code == "anchor"
    assert opinion.stop is None


def job(board: BoardVersion, known_good: KnownGood, drops: Mapping[str, str]) -> Opinion:
    bench = Bench("count", board, known_good, BENCH_METER, start_ms=1_745_000_000_000, by="Ines")
    return form_opinion(bench.sheet(readings=bench.pen.sweep(drops, {})))


T10_DROPS, S4_DROPS = T10_J7.typed("job2"), S4_J3.typed("honest_low")


def test_anchors_are_asked_for_until_the_counting_is_settled_and_not_after() -> None:
    anchors = job(T10, T10_GOOD, {}).numbering.anchors
    read: dict[str, str] = {}
    opinion = job(T10, T10_GOOD, read)
    while not opinion.numbering.settled:
        assert set(opinion.next[0].run) == set(anchors) - set(read)
        assert opinion.next[0].reasons[0].code == "anchor"
        read[opinion.next[0].run[0]] = T10_DROPS[opinion.next[0].run[0]]
        opinion = job(T10, T10_GOOD, read)
    assert 2 <= len(read) <= len(anchors)
    assert opinion.numbering.order == AS_DRAWN
    assert all(one.reasons[0].code != "anchor" for one in opinion.next)


@pytest.mark.parametrize("order", ["from_the_other_end", "from_the_other_side", "other_row_first"])
@pytest.mark.parametrize(("board", "known_good", "drops"), [(T10, T10_GOOD, T10_DROPS), (S4, S4_GOOD, S4_DROPS)])
def test_anchors_and_a_few_contacts_more_settle_each_wrong_way_of_counting(
    board: BoardVersion, known_good: KnownGood, drops: Mapping[str, str], order: str
) -> None:
    as_written = written(board, order, drops)
    anchors = job(board, known_good, {}).numbering.anchors
    more = [number for number in as_written if number not in anchors][-4:]
    with_anchors = job(board, known_good, {number: as_written[number] for number in anchors})
    # never settled on the wrong one; and where still open, hardly anybody would go on believing the drawing
    assert with_anchors.numbering.order == order or not with_anchors.numbering.settled
    assert with_anchors.numbering.order == order or with_anchors.numbering.probability < 0.1
    opinion = job(board, known_good, {number: as_written[number] for number in (*anchors, *more)})
    assert opinion.numbering.order == order
    assert opinion.numbering.settled
    assert opinion.numbering.probability > 0.95


# ---- a whole sheet written another way ---------------------------------------------------------------


@pytest.mark.parametrize("order", ["from_the_other_end", "from_the_other_side", "other_row_first"])
@pytest.mark.parametrize(("board", "known_good", "drops"), [(T10, T10_GOOD, T10_DROPS), (S4, S4_GOOD, S4_DROPS)])
def test_a_whole_sheet_counted_another_way_gets_the_same_verdicts(
    board: BoardVersion, known_good: KnownGood, drops: Mapping[str, str], order: str
) -> None:
    as_drawn = job(board, known_good, drops)
    other = job(board, known_good, written(board, order, drops))
    assert other.numbering.order == order
    assert other.numbering.probability > 0.95
    assert [(one.contact, one.verdict, one.drop_mv) for one in other.contacts] == [
        (one.contact, one.verdict, one.drop_mv) for one in as_drawn.contacts
    ]
    turned = next(one for one in other.stories if one.kind == "counted_differently")
    assert turned.subject == order
    assert turned.odds > 0.95


def test_both_the_written_and_the_drawn_number_are_kept() -> None:
    opinion = job(T10, T10_GOOD, written(T10, "from_the_other_end", T10_DROPS))
    for one in opinion.contacts:
        assert one.written_as == str(35 - int(one.contact))


def test_a_sheet_counted_as_drawn_says_nothing_of_counting() -> None:
    opinion = job(T10, T10_GOOD, T10_DROPS)
    assert opinion.numbering.order == AS_DRAWN
    assert not any(one.kind == "counted_differently" for one in opinion.stories)
    assert all(one.written_as is None for one in opinion.contacts)


def test_three_faults_are_not_taken_for_another_way_of_counting() -> None:
    opinion = job(T10, T10_GOOD, {**T10_DROPS, "4": "2", "6": "2", "16": "0"})
    assert opinion.numbering.order == AS_DRAWN
    assert {one.contact for one in opinion.contacts if one.verdict in CALLED} >= {"4", "6"}
    # two contacts of one rail that say the same did not both slip
    assert all(one.odds.short > 0.9 for one in opinion.contacts if one.contact in ("4", "6"))


def test_a_contact_pointed_out_on_the_drawing_keeps_its_number() -> None:
    bench = Bench("count", T10, T10_GOOD, BENCH_METER, start_ms=1_745_000_000_000, by="Ines")
    drops = written(T10, "from_the_other_end", {**T10_DROPS, "20": OL})
    readings = (*bench.pen.sweep(drops, {}), bench.pen.drop("20", OL, numbered_as_drawn=True))
    opinion = form_opinion(bench.sheet(readings=readings))
    assert opinion.numbering.order == "from_the_other_end"
    assert next(one.verdict for one in opinion.contacts if one.contact == "20") == "open"
    assert [one.contact for one in opinion.contacts if one.verdict == "open"] == ["20"]


# ---- where it cannot be told ---------------------------------------------------------------------------


def test_a_socket_that_reads_the_same_turned_round_is_said_to_be_so() -> None:
    symmetric = [line(n, role) for n, role in enumerate(("ground", "lane", "lane", "ground", "lane", "lane", "ground"))]
    opinion = form_opinion(sheet_of(board_of(symmetric)))
    assert opinion.numbering.anchors == ()
    assert not opinion.numbering.settled
    assert opinion.numbering.sentence == (
        "No contact tells which way you count: this socket reads the same turned round."
    )
    assert all(one.reasons[0].code != "anchor" for one in opinion.next)
    read = form_opinion(sheet_of(board_of(symmetric), touched({str(n): 0 if n % 3 == 0 else 338 for n in range(7)})))
    assert read.numbering.order == AS_DRAWN
    assert not read.numbering.settled
    assert not any(one.kind == "counted_differently" for one in read.stories)


def test_one_contact_can_be_counted_in_one_way_only() -> None:
    opinion = form_opinion(sheet_of(board_of([line("1", "lane")])))
    assert opinion.numbering.settled
    assert opinion.numbering.anchors == ()


def test_rows_of_unlike_length_are_not_swapped() -> None:
    board = board_of([line(n, "lane") for n in range(1, 6)], rows=[["1", "2", "3"], ["4", "5"]])
    assert set(orders_of(board)) == {AS_DRAWN, "from_the_other_side"}
