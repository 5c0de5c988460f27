"""From what a board says of a contact to its circuit: the role's own reading, the path's parts, rails as one net."""

from pathlib import Path

import msgspec
import pytest

from server.engine.circuit.behind import RailFit, circuit_behind, rail_of_role, rails_of
from server.engine.circuit.meaning import what_it_means
from server.engine.circuit.parts import Circuit, Junction, PartState, forced_current
from server.engine.circuit.readings import prepared, read
from server.engine.constants.circuit import CONTACT_OHM
from server.engine.constants.roles import ROLE_NUMBERS
from server.engine.roles import NO_JUNCTION
from shared_models.board import (
    BoardVersion,
    ChipPin,
    Clamp,
    Contact,
    Net,
    Part,
    Pull,
    Role,
    SeriesPart,
    ShuntPart,
    TestPoint,
)
from shared_models.sheet import BenchSheet
from shared_models.tables import ROLES

METER = forced_current(1.0, 2500)
SHEETS = Path(__file__).parents[2] / "demo" / "sheets"


def of_board(*parts: Part) -> BoardVersion:
    nets = (Net(name="VIO", rail_kind="io"), Net(name="AGND", rail_kind="ground"))
    return BoardVersion(id="b1", device="d", board="b", sockets=(), parts=parts, nets=nets)


def shown(circuit: Circuit | None, lead: str = "red", *states: PartState) -> float | None:
    assert circuit is not None
    return read(prepared(circuit, 23), METER, "red" if lead == "red" else "black", states).drop_mv


@pytest.mark.parametrize(
    "role", [row.id for row in ROLES if row.id not in NO_JUNCTION and row.id != "unknown" and not row.is_rail]
)
def test_a_line_nobody_drew_reads_what_its_role_reads(role: Role) -> None:
    circuit = circuit_behind(Contact(number="1", role=role))
    assert shown(circuit) == pytest.approx(ROLE_NUMBERS[role].typical_mv + CONTACT_OHM, abs=0.1)
    black = shown(circuit, "black")
    assert black is None or ROLE_NUMBERS[role].black_low_mv < black


@pytest.mark.parametrize("role", [row.id for row in ROLES if row.is_rail and row.id not in NO_JUNCTION])
def test_a_rail_reads_what_its_role_reads_with_either_lead(role: Role) -> None:
    circuit = circuit_behind(Contact(number="1", role=role, net="V"))
    numbers = ROLE_NUMBERS[role]
    if circuit is None:
        assert role in NO_JUNCTION
        return
    assert shown(circuit) == pytest.approx(numbers.typical_mv + CONTACT_OHM, abs=0.3)
    middle = 0.5 * (numbers.black_low_mv + numbers.black_high_mv)
    # the diode of a rail that reads 120 mV leaks some microamperes in reverse, beside its load
    assert shown(circuit, "black") == pytest.approx(middle + CONTACT_OHM, abs=8 if numbers.typical_mv < 200 else 0.5)


@pytest.mark.parametrize("role", ["ground", "strap", "unconnected", "unknown"])
def test_where_there_is_no_circuit_to_speak_of_there_is_none(role: Role) -> None:
    assert circuit_behind(Contact(number="1", role=role)) is None


def line() -> tuple[Contact, BoardVersion]:
    """Contact, ESD array, 33 ohm, a fuse and a ferrite nobody told a value of, pull-up to VIO, capacitor, a chip."""
    contact = Contact(
        number="7",
        role="bus",
        path=(
            ShuntPart(part="D5"),
            SeriesPart(part="R214", ohm=33.0),
            SeriesPart(part="F1", is_fuse=True),
            SeriesPart(part="FB2"),
            TestPoint(name="TP9"),
            Pull(ohm=4700.0, to_net="VIO", part="R9"),
            ShuntPart(part="C8"),
            Clamp(to_net="AGND"),
            ChipPin(part="U1", pin="A4"),
        ),
    )
    kinds = (Part(ref="D5", kind="esd_array"), Part(ref="FB2", kind="ferrite"), Part(ref="C8", kind="capacitor"))
    return contact, of_board(*kinds)


def test_every_element_of_a_path_becomes_its_part() -> None:
    circuit = circuit_behind(*line())
    assert circuit is not None
    kinds = {part.name: part.kind for part in circuit.parts}
    assert kinds == {
        "probe": "contact",
        "D5": "diode",
        "R214": "resistor",
        "F1": "fuse",
        "FB2": "ferrite",
        "VIO.diode": "diode",
        "VIO.load": "load",
        "R9": "pull",
        "C8": "capacitor",
        "clamp": "diode",
        "U1.A4.lower": "diode",
        "U1.A4.upper": "diode",
    }
    ends = {part.name: (part.near, part.far) for part in circuit.parts}
    assert ends["U1.A4.upper"][1] == ends["VIO.load"][0], "the chip's clamp leads to the rail the path speaks of"
    assert ends["clamp"][0] == "ground", "a net that is a ground is ground"
    assert shown(circuit, "red", PartState("F1", "open")) != shown(circuit)


def test_a_low_reading_of_it_names_what_may_be_behind() -> None:
    circuit = circuit_behind(*line())
    assert circuit is not None
    places = what_it_means(prepared(circuit, 23), METER, "red", 45.0).places
    assert [place.after for place in places][-1] == ("probe", "R214", "F1", "FB2")
    assert places[0].beside == ("D5",)
    assert [place.short_like for place in places] == [False, True, True, True]
    assert set(places[-1].beside) == {"R9", "C8", "clamp", "U1.A4.lower", "U1.A4.upper"}


def test_a_coupling_capacitor_shows_ol() -> None:
    contact = Contact(
        number="3", role="lane", path=(SeriesPart(part="C2", blocks_dc=True), ChipPin(part="U1", pin="1"))
    )
    assert shown(circuit_behind(contact)) is None
    assert shown(circuit_behind(contact), "black") is None


def test_a_rail_is_one_net_for_all_that_lead_to_it() -> None:
    """The same part of the same name, with the same numbers, at each line that leads to it and at its own contact."""
    own = Contact(number="1", role="io_rail", net="VIO")
    lines = [
        Contact(number=str(n), role="bus", path=(Clamp(to_net="VIO"), ChipPin(part="U1", pin=str(n)))) for n in (2, 3)
    ]
    rails = rails_of([own, *lines])
    assert rails == {"VIO": rail_of_role("io_rail")}
    drawn = [circuit_behind(contact, None, None, rails) for contact in (own, *lines)]
    parts = [[(p.name, p.ohm, p.junction) for p in (c.parts if c else ()) if p.name.startswith("VIO.")] for c in drawn]
    assert parts[0] == parts[1] == parts[2]
    short = PartState("VIO.load", "short")
    for circuit in drawn[1:]:
        assert (shown(circuit, "black", short) or 0) < (shown(circuit, "black") or 0) - 50
    assert shown(drawn[0], "red", short) == pytest.approx(CONTACT_OHM, abs=0.01)


def test_what_was_fitted_takes_the_place_of_the_role() -> None:
    contact = Contact(number="2", role="bus", path=(Clamp(to_net="VIO"), ChipPin(part="U1", pin="2")))
    clamp = Junction(1e-6, 1.4, 3.0)
    fitted = circuit_behind(contact, None, clamp, {"VIO": RailFit(clamp, 50.0)})
    assert fitted is not None
    assert {part.junction for part in fitted.parts if part.kind == "diode"} == {clamp}
    assert [part.ohm for part in fitted.parts if part.name == "VIO.load"] == [50.0]


def test_every_contact_of_the_demos_boards_has_a_circuit_that_can_be_read() -> None:
    read_through = 0
    for path in sorted(SHEETS.glob("*.json")):
        if path.name == "expected.json":
            continue
        sheet = msgspec.json.decode(path.read_bytes(), type=BenchSheet)
        for socket in sheet.board.sockets:
            rails = rails_of(socket.contacts)
            for contact in socket.contacts:
                circuit = circuit_behind(contact, sheet.board, None, rails)
                if circuit is None:
                    continue
                ready = prepared(circuit, 23)
                for lead in ("red", "black"):
                    short = read(ready, METER, lead).drop_mv
                    nodal = read(ready, METER, lead, short_way=False).drop_mv
                    assert short == pytest.approx(nodal, abs=0.01), contact
                    read_through += 1
    assert read_through > 500
