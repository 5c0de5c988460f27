"""The invented boards hold together: every row, part, net and pair that is named is there."""

import re
from collections.abc import Iterator

import msgspec
import pytest

from demo.shop.boards import ALL_BOARDS, T10
from demo.shop.meters import SHOP_METERS
from demo.shop.trays import job_records
from server.engine.bench_doors import discharge, overstress_picture
from shared_models.board import (
    BoardVersion,
    ChipPin,
    Clamp,
    Contact,
    PathElement,
    Pull,
    SeriesPart,
    ShuntPart,
    Socket,
)
from shared_models.discharge import DischargeQuestion
from shared_models.overstress import OverstressQuestion

SOCKETS = [(board, socket) for board in ALL_BOARDS for socket in board.sockets]
EACH_SOCKET = pytest.mark.parametrize(("board", "socket"), SOCKETS, ids=[f"{b.id}-{s.ref}" for b, s in SOCKETS])


def parts_of(element: PathElement) -> Iterator[str]:
    if isinstance(element, SeriesPart | ShuntPart | ChipPin | Clamp | Pull) and element.part is not None:
        yield element.part


def by_number(socket: Socket) -> dict[str, Contact]:
    return {contact.number: contact for contact in socket.contacts}


@EACH_SOCKET
def test_every_contact_lies_in_exactly_one_row(board: BoardVersion, socket: Socket) -> None:
    in_rows = [number for row in socket.rows for number in row.contacts]
    assert sorted(in_rows) == sorted(contact.number for contact in socket.contacts)
    assert len(set(in_rows)) == len(in_rows)


@EACH_SOCKET
def test_every_part_that_a_contact_names_is_on_the_board(board: BoardVersion, socket: Socket) -> None:
    refs = {part.ref for part in board.parts}
    assert len(refs) == len(board.parts)
    for contact in socket.contacts:
        named = {part for element in contact.path for part in parts_of(element)}
        named |= set() if contact.leads_to is None else {contact.leads_to}
        assert named <= refs, f"contact {contact.number} names {sorted(named - refs)}"


@EACH_SOCKET
def test_pairs_name_each_other(board: BoardVersion, socket: Socket) -> None:
    contacts = by_number(socket)
    pairs = [contact for contact in socket.contacts if contact.pair_with is not None]
    assert all(contacts[str(contact.pair_with)].pair_with == contact.number for contact in pairs)


@EACH_SOCKET
def test_what_the_module_joins_are_contacts_of_the_socket(board: BoardVersion, socket: Socket) -> None:
    joined = {number for group in socket.module_joins for number in group}
    assert joined <= set(by_number(socket))


@EACH_SOCKET
def test_contacts_of_a_rail_carry_one_voltage_and_no_line_stands_less_than_it_carries(
    board: BoardVersion, socket: Socket,
) -> None:
    working_mv = {net.name: net.working_mv for net in board.nets}
    for contact in socket.contacts:
        if contact.net in working_mv:
            assert contact.working_mv == working_mv[contact.net], contact.number
        if contact.working_mv and contact.limit_mv is not None:
            assert contact.limit_mv > contact.working_mv, contact.number


@pytest.mark.parametrize("board", ALL_BOARDS, ids=[board.id for board in ALL_BOARDS])
def test_every_store_of_charge_has_a_part_to_prove_it_at(board: BoardVersion) -> None:
    refs = {part.ref for part in board.parts}
    stores = [net for net in board.nets if net.stores_charge]
    assert any(net.rail_kind == "main" for net in stores)
    assert all(net.proof_at in refs for net in stores)


@pytest.mark.parametrize("board", ALL_BOARDS, ids=lambda board: board.id)
def test_what_a_board_stores_is_told_in_parts_that_forecast_and_overstress_can_use(board: BoardVersion) -> None:
    stores = [net for net in board.nets if net.stores_charge]
    assert stores
    for net in stores:
        assert net.stored_uf and net.source_ma and net.working_mv, net.name
        told = discharge(DischargeQuestion(
            start_mv=net.working_mv, capacitance_uf=net.stored_uf, bleed_ohm=net.bleed_ohm, led_count=net.led_count,
        ))
        assert told.start_energy_mj is not None and told.start_energy_mj > 0
        assert (told.tau_s is not None) == (net.bleed_ohm is not None)
    for socket in board.sockets:
        met = [one for case in overstress_picture(OverstressQuestion(board=board, socket=socket.ref)).cases
               for one in case.meetings]
        assert any(one.source_ma for one in met), socket.ref


def test_the_t10_is_the_socket_of_the_four_jobs() -> None:
    socket = T10.sockets[0]
    contacts = by_number(socket)
    odd, even = (row.contacts for row in socket.rows)
    assert odd == tuple(str(n) for n in range(1, 35, 2)) and even == tuple(str(n) for n in range(2, 35, 2))
    assert (socket.kind, socket.pitch_mm, set(socket.module_joins)) == ("open_header", 0.5, {("30", "32"), ("4", "6")})
    touch_lines = [contacts[number] for number in ("20", "22", "24", "28")]
    assert {contact.leads_to for contact in touch_lines} == {"U1"}
    in_series = {
        number: [(e.part, e.ohm) for e in contacts[number].path if isinstance(e, SeriesPart)]
        for number in ("14", "20", "22", "28", "30", "32")
    }
    assert in_series == {
        "14": [("R213", 33)], "20": [("R210", 22)], "22": [("R211", 22)], "28": [("R214", 33)],
        "30": [("F3", 0.2)], "32": [("F3", 0.2)],
    }
    assert [part.ref for part in T10.parts if part.guards_data] == ["U1"]
    assert [part.ref for part in T10.parts if part.holds_data] == ["U3"]
    assert {net.proof_at for net in T10.nets if net.stores_charge} == {"C12", "C88"}


INVENTED_NAMES = {"Quillon", "Brennock", "Skarrow", "Marlbeck", "Tolvane"}
TRADE_WORDS = {"LED", "LEDs", "USB", "ZIF", "AUX", "NC", "HPD", "OL", "TE", "SCL", "SDA", "PWM", "RST", "ID"}
DAY_NAMES = {"Monday"}


def free_texts(value: object) -> Iterator[str]:
    """Every text of a record that a person wrote: the values of the fields that hold free words."""
    words = ("device", "board", "name", "note", "value_text", "title", "in_their_words", "opened_by", "sheet_from")
    if isinstance(value, dict):
        for key, inside in value.items():
            if key in words and isinstance(inside, str):
                yield inside
            else:
                yield from free_texts(inside)
    elif isinstance(value, list | tuple):
        for inside in value:
            yield from free_texts(inside)


def test_no_name_in_the_shop_is_anything_but_invented() -> None:
    """A word with a capital, not at the start of a sentence, is an invented name, a designator or trade's own."""
    records = [*ALL_BOARDS, *SHOP_METERS, *(record.job for record in job_records())]
    texts = [text for record in records for text in free_texts(msgspec.to_builtins(record))]
    assert len(texts) > 100
    strange: set[str] = set()
    for text in texts:
        inside_sentences = re.sub(r"(^|[.:!?]\s+)(I\b|[A-Z][a-z]+)", " ", text)
        words = set(re.findall(r"\b[A-Z][A-Za-z]+\b", inside_sentences))
        strange |= words - INVENTED_NAMES - TRADE_WORDS - DAY_NAMES - net_names()
    assert strange == set()
    assert {board.device.split()[0] for board in ALL_BOARDS} == INVENTED_NAMES


def net_names() -> set[str]:
    names = {contact.name for board in ALL_BOARDS for socket in board.sockets for contact in socket.contacts}
    return {word for name in names for word in re.findall(r"[A-Za-z]+", name)} | names | {
        net.name for board in ALL_BOARDS for net in board.nets
    }
