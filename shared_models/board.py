"""A board, its sockets and contacts: immutable versions, and small corrections over them.

A `BoardVersion` never changes once it has an id; jobs and known-good readings pin that id. What
somebody learns later about one contact is a `ContactCorrection` over the version.
"""

from typing import Annotated, Literal

from msgspec import Meta

from shared_models.base import BODY_V, AirC, ContactNumber, EpochMs, Id, Model, Tagged, Words

Role = Literal[
    "ground",
    "main_rail",
    "rail_5v",
    "panel_supply",
    "io_rail",
    "memory_rail",
    "core_rail",
    "core_rail_large",
    "lane",
    "lane_lvds",
    "lane_coupled",
    "aux_coupled",
    "usb_pair",
    "bus",
    "control",
    "hot_plug_detect",
    "pwm",
    "led_plus",
    "led_minus",
    "strap",
    "unconnected",
    "unknown",
]
"""What a contact is for. `tables.ROLES` says what each role reads when healthy."""

RoleOrigin = Literal["typed", "proposed", "confirmed"]
Side = Literal["board", "module", "both", "neither"]

SocketKind = Literal[
    "mezzanine",
    "zif",
    "micro_coax",
    "open_header",
    "card_edge",
    "usb_c",
    "hdmi",
    "other",
]
"""How a plug is held, which decides how likely it is to sit off its place."""

Millivolts = Annotated[float, Meta(ge=-1_000_000, le=1_000_000)]


class SeriesPart(Tagged, frozen=True, kw_only=True, tag="series"):
    """A part between the contact and what follows. `ohm` is its healthy resistance, if known.

    `blocks_dc` marks a coupling capacitor: nothing behind it can be seen by a meter.
    `is_fuse` marks a part meant to open first (fuse, ferrite used as one). `far_net`: what follows behind it.
    """

    part: Id
    ohm: Annotated[float, Meta(ge=0, le=1e9)] | None = None
    blocks_dc: bool = False
    is_fuse: bool = False
    far_net: str | None = None


class ShuntPart(Tagged, frozen=True, kw_only=True, tag="shunt"):
    """A part from the line to another net (ground unless `to_net` says so): capacitor, ESD array."""

    part: Id
    to_net: str | None = None


class Clamp(Tagged, frozen=True, kw_only=True, tag="clamp"):
    """A protection diode from the line to ground or to a rail."""

    part: Id | None = None
    to_net: str | None = None


class Pull(Tagged, frozen=True, kw_only=True, tag="pull"):
    """A pull-up or pull-down resistor of `ohm` to `to_net`."""

    ohm: Annotated[float, Meta(gt=0, le=1e9)]
    to_net: str
    part: Id | None = None


class ChipPin(Tagged, frozen=True, kw_only=True, tag="chip_pin"):
    """The pin of a chip where the path ends."""

    part: Id
    pin: str


class TestPoint(Tagged, frozen=True, kw_only=True, tag="test_point"):
    """A place on the path that a probe can reach."""

    __test__ = False  # a point on a board; pytest would otherwise take the name for a test class

    name: str
    side: Literal["top", "bottom"] | None = None


PathElement = SeriesPart | ShuntPart | Clamp | Pull | ChipPin | TestPoint


ProposedField = Literal["working_mv", "sourced_by", "pair_with"]


class Feed(Model, frozen=True, kw_only=True):
    """What makes a rail of a lower one: the coil and the chip's `pin` at the node `net`, and the diode behind it.

    A chip that rectifies by itself has no diode, and its `out_pin` is on the rail; a charge pump has a `capacitor`
    between two of its own pins and no coil.
    """

    chip: Id
    pin: str = ""
    net: str = ""
    diode: Id | None = None
    coil: Id | None = None
    capacitor: Id | None = None
    out_pin: str = ""


class Contact(Model, frozen=True, kw_only=True):
    """One contact of a socket.

    `working_mv` is the highest voltage the line carries in use, `limit_mv` what the part behind it
    stands; `sourced_by` says which side drives it. `path` runs from the contact inward and stays
    empty until a board file or a person fills it; then the role's default path is used. `also` are parts
    on the way that lie off the path. `role_why` says why a role is proposed, `proposed` which other fields
    are. `neighbours` are the contacts that lie nearest on the board, also across rows.
    """

    number: ContactNumber
    name: str = ""
    net: str | None = None
    role: Role = "unknown"
    role_origin: RoleOrigin = "typed"
    working_mv: Millivolts | None = None
    limit_mv: Millivolts | None = None
    sourced_by: Side | None = None
    leads_to: Id | None = None
    pair_with: ContactNumber | None = None
    path: tuple[PathElement, ...] = ()
    x_mm: float | None = None
    y_mm: float | None = None
    tail_reachable: bool = True
    role_why: Words = ""
    proposed: tuple[ProposedField, ...] = ()
    neighbours: tuple[ContactNumber, ...] = ()
    fed_by: Feed | None = None
    also: tuple[PathElement, ...] = ()


class Row(Model, frozen=True, kw_only=True):
    """One row of contacts, in the order they lie, seen on the board side the socket stands on.

    `left_out` are the places without a contact (a key, a contact the maker left out), the first place
    from the left 1: contacts fill the other places in their order, so neighbours lie at the pitch.
    """

    name: str
    contacts: tuple[ContactNumber, ...]
    left_out: tuple[Annotated[int, Meta(ge=1, le=800)], ...] = ()


class Socket(Model, frozen=True, kw_only=True):
    """A socket as it lies: rows one under the other, each contact at `pitch_mm` from the next.

    `module_joins` lists groups of plug contacts that the module (screen, keyboard, ...) joins inside;
    contacts of one net are joined by the module too unless `module_joins_nets` is false.
    Plug contact numbers are those of the socket contact they meet when seated.
    """

    ref: Id
    kind: SocketKind
    pitch_mm: Annotated[float, Meta(gt=0, le=25)]
    rows: tuple[Row, ...]
    contacts: tuple[Contact, ...]
    module_joins: tuple[tuple[ContactNumber, ...], ...] = ()
    module_joins_nets: bool = True
    name: str = ""


PartKind = Literal[
    "chip", "resistor", "capacitor", "fuse", "ferrite", "coil", "diode", "esd_array", "switch", "storage", "other"
]


class Part(Model, frozen=True, kw_only=True):
    """A part of the board. `holds_data`: the owner's data lie in it; `guards_data`: they cannot be read without it."""

    ref: Id
    kind: PartKind
    value_text: str = ""
    fitted: bool = True
    holds_data: bool = False
    guards_data: bool = False


RailKind = Literal["ground", "main", "standby", "io", "core", "memory", "panel", "backlight"]


class Net(Model, frozen=True, kw_only=True):
    """A net of the board. `rail_kind` is none for a signal. `proof_at` names where its voltage is measured.

    Of a rail that stores charge: `stored_uf` its capacitance, `bleed_ohm` what drains it for good,
    `led_count` the LEDs in series across it, `overvoltage_mv` where its source stops when nothing loads
    it, `source_ma` what the source goes on giving into a fault. What is not known stays out. `full_name`:
    the name in the board file, where `name` is the last part of it. `proposed`: all but the name came from there.
    """

    name: str
    rail_kind: RailKind | None = None
    working_mv: Millivolts | None = None
    stores_charge: bool = False
    proof_at: str | None = None
    stored_uf: Annotated[float, Meta(gt=0, le=1e7)] | None = None
    bleed_ohm: Annotated[float, Meta(gt=0, le=1e12)] | None = None
    led_count: Annotated[int, Meta(ge=1, le=400)] | None = None
    overvoltage_mv: Millivolts | None = None
    source_ma: Annotated[float, Meta(gt=0, le=1e6)] | None = None
    full_name: str = ""
    proposed: bool = False


Reach = Literal["free", "fine", "under_part"]
"""How a probe gets at a pad: well, only with a fine tip, or not at all since its part lies over it."""


class BoardPad(Model, frozen=True, kw_only=True):
    """A pad of a net, where it lies on the board seen from its top: x to the right, y downwards."""

    part: str
    pin: str
    net: str
    x_mm: float
    y_mm: float
    side: Literal["top", "bottom", "both"]
    width_mm: float = 0.0
    height_mm: float = 0.0
    reach: Reach = "free"


class BoardDrawing(Model, frozen=True, kw_only=True):
    """The board's edge, and the pads of the nets that the sockets' contacts lead to.

    `outline`: lines, each x, y, x, y, ... in millimetres. `nets_cut`: nets of so many pads that only the
    nearest to the socket are here.
    """

    outline: tuple[tuple[float, ...], ...] = ()
    pads: tuple[BoardPad, ...] = ()
    nets_cut: tuple[str, ...] = ()


class BoardVersion(Model, frozen=True, kw_only=True):
    """One immutable description of a board: sockets with contacts, parts and nets it speaks of.

    `read_from`: the format of the board file it was made of; `drawing`: where its nets can be touched.
    """

    id: Id
    device: str
    board: str
    revision: str = ""
    sockets: tuple[Socket, ...]
    parts: tuple[Part, ...] = ()
    nets: tuple[Net, ...] = ()
    made_at_ms: EpochMs = 0
    made_by: str = ""
    note: Words = ""
    read_from: str = ""
    drawing: BoardDrawing | None = None
    v: int = BODY_V


class ContactCorrection(Model, frozen=True, kw_only=True):
    """What somebody learnt about one contact of an immutable version: only the fields that differ.

    `pair_with` makes these two a pair and ends the pairs they were in; `no_pair` ends the contact's own.
    """

    id: Id
    board_version_id: Id
    socket: Id
    contact: ContactNumber
    role: Role | None = None
    net: str | None = None
    name: str | None = None
    working_mv: Millivolts | None = None
    limit_mv: Millivolts | None = None
    leads_to: Id | None = None
    sourced_by: Side | None = None
    pair_with: ContactNumber | None = None
    no_pair: bool = False
    made_at_ms: EpochMs
    made_by: str = ""
    v: int = BODY_V


class ReferenceBoard(Model, frozen=True, kw_only=True):
    """A healthy board that was read. Never "donor": in the trade a donor gives parts."""

    id: Id
    board_version_id: Id
    label: str = ""
    read_at_ms: EpochMs = 0
    air_c: AirC | None = None
    set_aside_why: Words | None = None
    v: int = BODY_V
