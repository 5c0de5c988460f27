"""A rail that a boost makes is found by how the copper runs, whatever it is called; one that feeds a buck is not."""

import pytest

from server.boards.door import OpenBoard
from server.boards.text import path_words
from shared_models.board import ChipPin, Contact, Feed
from tests.support.invented_board import Pad, Part, kicad, two

CHIP = "Package_DFN_QFN:DFN-8"


def socket(*nets: str, ref: str = "J1") -> Part:
    return Part(ref, "DISPLAY", "Connector_FFC:ZIF", 50, 10,
                tuple(Pad(str(at), net, 0.5 * at) for at, net in enumerate(nets, 1)))


def supply(net: str) -> tuple[Part, ...]:
    """What brings power to a rail: the battery's connector through a fuse."""
    battery = Part("J9", "", "Connector_Molex:Battery_2", 5, 5, (Pad("1", "/CELL"), Pad("2", "GND", 1.0)))
    return battery, two("F1", "3A", "Fuse:Fuse_1206", "/CELL", net, 6, 5)


def converter(rail: str, far: str, *pads: Pad, ref: str = "U2") -> tuple[Part, ...]:
    """A chip between two rails: a coil from its switch pin to `far`, its own pin on `rail`, a capacitor on each."""
    own = (Pad("1", "/N1", -1, -1), Pad("2", rail, -1, 0), Pad("3", "GND", -1, 1), *pads)
    return (
        Part(ref, "CONVERTER", CHIP, 38, 24, own), two("L1", "4.7uH", "Inductor_SMD:L_2520", "/N1", far, 36, 20),
        two("C1", "10uF", "Capacitor_SMD:C_0805", rail, "GND", 44, 20),
        two("C2", "10uF", "Capacitor_SMD:C_0805", far, "GND", 30, 20),
    )


def divider(net: str, at: str = "/N2") -> tuple[Part, ...]:
    return (two("R1", "180k", "Resistor_SMD:R_0402", net, at, 44, 24),
            two("R2", "20k", "Resistor_SMD:R_0402", at, "GND", 45, 24))


def first(*parts: Part, ref: str = "J1") -> Contact:
    return OpenBoard.of(kicad(parts=parts).encode()).traced(ref).board.sockets[0].contacts[0]


MADE = Feed(coil="L1", chip="U2", pin="1", net="N1", out_pin="2")


def test_a_boost_that_rectifies_by_itself_is_found_by_the_divider_that_measures_its_output() -> None:
    parts = converter("/A", "/B", Pad("4", "/N2", 1, 1), Pad("5", "/B", 1, 0))
    contact = first(socket("/A", "GND"), *parts, *divider("/A"), *supply("/B"))
    assert (contact.fed_by, contact.role, contact.sourced_by) == (MADE, "led_plus", "board")
    assert contact.path[-1] == ChipPin(part="U2", pin="2") and "L1 and U2" in contact.role_why
    assert path_words(contact).endswith("U2.2 from N1: L1 and U2.1")


def test_the_same_parts_drawn_as_a_buck_are_none() -> None:
    # the divider measures the coil's side: that is what the chip makes
    parts = converter("/A", "/B", Pad("4", "/N2", 1, 1))
    assert first(socket("/A", "GND"), *parts, *divider("/B")).fed_by is None


def test_a_divider_that_only_switches_the_chip_on_measures_nothing() -> None:
    parts = converter("/A", "/B", Pad("4", "/N2", 1, 1, "EN"))
    power = two("FB1", "600R@100MHz", "Inductor_SMD:L_0603", "/A", "+5V", 46, 20)
    assert first(socket("/A", "GND"), *parts, *divider("/A"), power).fed_by is None


@pytest.mark.parametrize(("function", "made"), [("VOUT", MADE), ("OVP", MADE), ("VIN", None), ("PVIN", None)])
def test_the_chips_own_names_of_its_pins_tell_which_way_it_goes(function: str, made: Feed | None) -> None:
    parts = converter("/A", "/B")
    named = parts[0]._replace(pads=tuple(
        pad._replace(function=function) if pad.net == "/A" else pad for pad in parts[0].pads))
    assert first(socket("/A", "GND"), named, *parts[1:]).fed_by == made


@pytest.mark.parametrize(("rail", "far", "made"), [("/18V", "/5V", True), ("/3V3", "/5V", False)])
def test_the_volts_in_the_names_tell_which_way_it_goes(rail: str, far: str, made: bool) -> None:
    assert (first(socket(rail, "GND"), *converter(rail, far)).fed_by is not None) is made


def test_a_rail_that_nothing_else_could_feed_is_made_by_the_chip_on_it() -> None:
    parts = converter("/A", "/B")
    assert first(socket("/A", "GND"), *parts, *supply("/B")).fed_by == MADE
    # but not where another part could bring power, nor where the plug itself does
    bead = two("FB1", "600R@100MHz", "Inductor_SMD:L_0603", "/A", "/C", 46, 20)
    assert first(socket("/A", "GND"), *parts, *supply("/B"), bead).fed_by is None
    battery = socket("/A", "GND", ref="BATTERY1")
    load = Part("U5", "LOAD", CHIP, 20, 20, (Pad("1", "/B"), Pad("2", "GND"), Pad("3", "/X"), Pad("4", "/Y")))
    assert first(battery, *parts, load, ref="BATTERY1").fed_by is None


def test_a_light_driver_that_takes_its_strings_back_is_found_without_a_divider() -> None:
    strings = (Pad("4", "/S1", 1, 1), Pad("5", "/S2", 1, 0), Pad("6", "/B", 1, -1), Pad("7", "/N3", 0, 1))
    parts = converter("/A", "/B", *strings)
    resistor = two("R9", "10k", "Resistor_SMD:R_0402", "/N3", "GND", 60, 20)
    contact = first(socket("/A", "/A", "/S1", "/S2", "GND"), *parts, resistor, *supply("/B"))
    assert (contact.fed_by, contact.role) == (MADE, "led_plus")


def test_a_charge_pump_is_found_by_the_capacitor_between_two_of_its_own_pins() -> None:
    own = (Pad("1", "/P1"), Pad("2", "/P2", 1.0), Pad("3", "/A", 2.0), Pad("4", "/B", 3.0), Pad("5", "GND", 4.0))
    chip = Part("U3", "PUMP", CHIP, 38, 24, own)
    parts = (chip, two("C7", "1uF", "Capacitor_SMD:C_0402", "/P1", "/P2", 36, 20),
             two("C8", "1uF", "Capacitor_SMD:C_0402", "/A", "GND", 37, 20))
    contact = first(socket("/A", "GND"), *parts, *supply("/B"))
    assert contact.fed_by == Feed(capacitor="C7", chip="U3", pin="1", net="P1", out_pin="3")
    assert "U3, a charge pump over C7" in contact.role_why


def test_a_chip_that_only_drives_or_makes_many_rails_is_not_said_to_feed() -> None:
    parts = converter("/A", "/B")
    switch = Part("Q1", "FET", "Package_TO_SOT_SMD:SOT-23", 40, 20, (Pad("1", "/N5"), Pad("2", "/N1"), Pad("3", "GND")))
    assert first(socket("/A", "GND"), *parts, *supply("/B"), switch).fed_by is None
    second = two("L2", "4.7uH", "Inductor_SMD:L_2520", "/N6", "/C", 36, 26)
    many = parts[0]._replace(pads=(*parts[0].pads, Pad("8", "/N6", 1, 1)))
    assert first(socket("/A", "GND"), many, *parts[1:], second, *supply("/B")).fed_by is None


def test_a_rail_with_a_name_or_volts_of_its_own_is_no_lights_though_a_boost_makes_it() -> None:
    for rail, role in (("VBUS", "rail_5v"), ("+5V", "rail_5v")):
        parts = converter(rail, "/VCELL", Pad("4", "/N2", 1, 1))
        contact = first(socket(rail, "GND"), *parts, *divider(rail), *supply("/VCELL"))
        assert (contact.fed_by, contact.role) == (MADE, role)
