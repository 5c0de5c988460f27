"""The shop's healthy boards: every contact of a table read on each of them.

The T10's nine were read with three meters on days of other temperatures (`meter_pass`); the others' readings
stand as they were brought to 1.00 mA and 23 C.

Which contacts move together, and how much, is said by kind: the contacts of one rail or the lanes of one
chip differ far less between themselves than boards differ. The patterns themselves are those of `spread`.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence

from demo.shop.boards import P1, S4, T10, V2
from demo.shop.meter_pass import NINE_READ, ReadWith, series_ohm, shown_mv
from demo.shop.meters import BENCH_METER, REFERENCE_METER, SMALL_METER, WIDE_METER
from demo.shop.spread import healthy_drops_mv
from demo.shop.table import OL, P1_J1, S4_J3, T10_J7, V2_J2, Table
from demo.shop.writing import Pen
from shared_models.base import Model
from shared_models.board import BoardVersion, ReferenceBoard, Socket
from shared_models.reading import Meter, OfReferenceBoard, Reading, Steadiness
from shared_models.tables import ROLE_BY_ID

FIRST_READ_MS = 1_738_400_400_000
DAY_MS = 86_400_000

MOVES_TOGETHER: dict[str, tuple[int, float]] = {
    "pair": (13, 0.97), "usb": (17, 0.97), "control": (21, 0.7), "bus": (21, 0.7), "pwm": (15, 0.7),
    "rail": (8, 0.99), "main": (26, 0.99), "memory": (33, 0.98), "core": (39, 0.9),
    "backlight": (28, 0.99), "sink": (35, 0.92),
}
"""Kind -> the order of the pattern that contacts of this kind share, and the share of it (0 to 1)."""

OtherPolarity = Mapping[str, tuple[int, float, str]]
"""Contact -> mean, deviation and kind of the drop with black on ground."""

T10_BLACK: OtherPolarity = {"9": (640, 12.0, "pair"), "11": (640, 12.0, "pair"), "24": (655, 15.0, "control")}
"""Three contacts only: that is what was read on the way."""


class KnownGood(Model, frozen=True, kw_only=True):
    """The healthy boards of one board version and everything that was read on them."""

    boards: tuple[ReferenceBoard, ...] = ()
    readings: tuple[Reading, ...] = ()
    meters: tuple[Meter, ...] = (REFERENCE_METER,)


def climbing(socket: Socket) -> dict[str, Steadiness]:
    """The contacts of a socket that climb while they are held on a healthy board: the rails and LED+."""
    return {contact.number: "climbs" for contact in socket.contacts if ROLE_BY_ID[contact.role].climbs}


def _grounds_mv(mean: int, boards: int, turn: int) -> list[int]:
    """Grounds read their mean; of five boards and more, one reads 1 less or more and another 1 more."""
    drops = [mean] * boards
    if boards >= 5:
        drops[turn % boards] = abs(mean - 1)
        drops[(turn + 4) % boards] = mean + 1
    return drops


def _red_on_ground(table: Table, boards: int) -> dict[str, list[str]]:
    drops: dict[str, list[str]] = {}
    for turn, row in enumerate(table.rows):
        number, mean, sd, kind = row["contact"], row["ref_mean"], row["ref_sd"], row["role"]
        if mean == OL:
            drops[number] = [OL] * boards
        elif kind == "ground":
            drops[number] = [str(drop) for drop in _grounds_mv(int(mean), boards, turn)]
        elif sd == "":
            drops[number] = [mean] * boards
        else:
            drops[number] = _spread(int(mean), float(sd), kind, boards=boards, own_turn=turn + 7)
    return drops


def _spread(mean: int, sd: float, kind: str, *, boards: int, own_turn: int) -> list[str]:
    group_turn, shared = MOVES_TOGETHER[kind]
    drops = healthy_drops_mv(mean, sd, boards=boards, own_turn=own_turn, group_turn=group_turn, shared=shared)
    return [str(drop) for drop in drops]


ON_THE_SCALE = ReadWith(meter=0, test_current_ma=1.0, air_c=23.0)


def shown(socket: Socket, number: str, typed: str, how: ReadWith) -> str:
    """The table's drop as the board's meter showed it; grounds and OL do not move."""
    contact = next(one for one in socket.contacts if one.number == number)
    if how is ON_THE_SCALE or typed == OL or contact.role in ("ground", "strap"):
        return typed
    return str(shown_mv(int(typed), ohm=series_ohm(contact), how=how))


ExtraReadings = Callable[[Pen, int], Iterable[Reading]]


def known_good(
    board: BoardVersion, table: Table, prefix: str, count: int, *, by: str, extra: ExtraReadings | None = None,
    read: Sequence[ReadWith] = (), meters: tuple[Meter, ...] = (REFERENCE_METER,),
) -> KnownGood:
    """`count` healthy boards of a version, read contact by contact; `extra` adds what else was read on each.

    `read` says how each was read, where that was not the scale of the table.
    """
    socket = board.sockets[0]
    drops = _red_on_ground(table, count)
    boards: list[ReferenceBoard] = []
    readings: list[Reading] = []
    for place in range(count):
        how = read[place] if read else ON_THE_SCALE
        reference = ReferenceBoard(
            id=f"{prefix}-good-{place + 1}", board_version_id=board.id, air_c=how.air_c,
            label=f"{prefix.upper()} known good {place + 1}", read_at_ms=FIRST_READ_MS + place * DAY_MS,
        )
        pen = Pen(
            reference.id, OfReferenceBoard(reference_board_id=reference.id), socket=socket.ref,
            meter_id=meters[how.meter].id, start_ms=reference.read_at_ms, by=by, air_c=how.air_c,
        )
        boards.append(reference)
        readings += pen.sweep(
            {number: shown(socket, number, values[place], how) for number, values in drops.items()}, climbing(socket),
        )
        readings += extra(pen, place) if extra is not None else ()
    return KnownGood(boards=tuple(boards), readings=tuple(readings), meters=meters)


def _t10_black(read: Sequence[ReadWith]) -> ExtraReadings:
    def of_one(pen: Pen, place: int) -> Iterable[Reading]:
        for number, (mean, sd, kind) in T10_BLACK.items():
            drops = _spread(mean, sd, kind, boards=9, own_turn=int(number) + 3)
            how = read[place] if read else ON_THE_SCALE
            yield pen.drop(number, shown(T10.sockets[0], number, drops[place], how), lead="black")

    return of_one


def _s4_rail_ohms(pen: Pen, place: int) -> Iterable[Reading]:
    core, memory = (("3.1", "118"), ("2.8", "124"), ("3.0", "115"), ("3.3", "121"), ("2.9", "126"))[place]
    yield pen.rail_ohms("VCORE", core)
    yield pen.rail_ohms("VMEM", memory)


T10_GOOD = known_good(
    T10, T10_J7, "t10", 9, by="Ines", extra=_t10_black(NINE_READ), read=NINE_READ,
    meters=(SMALL_METER, BENCH_METER, WIDE_METER),
)
T10_ON_THE_SCALE = known_good(T10, T10_J7, "t10", 9, by="Ines", extra=_t10_black(()))
"""The same nine as the table has them, at 1.00 mA and 23 C; the shop's record holds what the meters showed."""

V2_GOOD = known_good(V2, V2_J2, "v2", 4, by="Tomke")
S4_GOOD = known_good(S4, S4_J3, "s4", 5, by="Tomke", extra=_s4_rail_ohms)
P1_GOOD = known_good(P1, P1_J1, "p1", 1, by="Tomke")

ALL_KNOWN_GOOD: tuple[KnownGood, ...] = (T10_GOOD, V2_GOOD, S4_GOOD, P1_GOOD)
"""None for the Brennock L14: no healthy one has come by yet."""
