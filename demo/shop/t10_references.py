"""Nine healthy Quillon T10 boards, read with three meters and brought to one scale: 1.00 mA, 23 C.

Red on ground for every contact (means and deviations of `t10_j7.csv`); black on ground for three
contacts only, since that is what was read on the way.
"""

from shared_models.board import ReferenceBoard
from shared_models.reading import Meter, OfReferenceBoard, Reading, Steadiness

from demo.shop.boards.quillon_t10 import J7, T10
from demo.shop.spread import healthy_drops_mv
from demo.shop.t10_table import ROWS
from demo.shop.writing import OL, Pen

COUNT = 9
FIRST_READ_MS = 1_738_400_400_000
DAY_MS = 86_400_000

REFERENCE_METER = Meter(
    id="meter-scale-1ma", name="reference scale", test_current_ma=1.0, test_current_sd_pct=1.0,
    open_circuit_mv=3000.0, sheet_from="three meters' readings brought to 1.00 mA and 23 C",
)

CLIMBING: dict[str, Steadiness] = {
    contact.number: "climbs" for contact in J7.contacts if contact.role in ("panel_supply", "io_rail", "led_plus")
}
"""The contacts that climb while they are held on a healthy board: the rails and LED+."""

GROUP_OF_ROLE = {"pair": 13, "rail": 8, "control": 21, "bus": 21, "pwm": 15, "backlight": 28, "sink": 35}
SHARED_OF_ROLE = {"pair": 0.9, "rail": 0.98, "control": 0.7, "bus": 0.7, "pwm": 0.7, "backlight": 0.99, "sink": 0.92}
"""How much of the pattern a group shares: most within a rail, less among lines of one chip."""

BLACK_ON_GROUND: dict[str, tuple[int, float, int, float]] = {
    "9": (640, 12.0, 13, 0.97), "11": (640, 12.0, 13, 0.97), "24": (655, 15.0, 21, 0.7),
}
"""contact -> mean, deviation, group, share of the pattern, for the other polarity."""


def _grounds_mv(mean: int, turn: int) -> list[int]:
    """Grounds read 0, on two boards of nine 1; where the mean is 1, 1 and on one board 0 and 2."""
    drops = [0] * COUNT if mean == 0 else [1] * COUNT
    one, other = turn % COUNT, (turn + 4) % COUNT
    drops[one] = 1 if mean == 0 else 0
    drops[other] = 1 if mean == 0 else 2
    return drops


def _red_on_ground() -> dict[str, list[str]]:
    table: dict[str, list[str]] = {}
    for turn, row in enumerate(ROWS):
        if row["ref_mean"] == OL:
            table[row["contact"]] = [OL] * COUNT
            continue
        mean = int(row["ref_mean"])
        if row["ref_sd"] == "":
            drops = _grounds_mv(mean, turn)
        else:
            drops = healthy_drops_mv(
                mean, float(row["ref_sd"]), boards=COUNT, own_turn=turn + 7,
                group_turn=GROUP_OF_ROLE[row["role"]], shared=SHARED_OF_ROLE[row["role"]],
            )
        table[row["contact"]] = [str(drop) for drop in drops]
    return table


def _black_on_ground() -> dict[str, list[str]]:
    return {
        number: [str(drop) for drop in healthy_drops_mv(
            mean, sd, boards=COUNT, own_turn=int(number) + 3, group_turn=group, shared=shared)]
        for number, (mean, sd, group, shared) in BLACK_ON_GROUND.items()
    }


def _board(place: int) -> ReferenceBoard:
    return ReferenceBoard(
        id=f"t10-good-{place + 1}", board_version_id=T10.id, label=f"T10 known good {place + 1}",
        read_at_ms=FIRST_READ_MS + place * DAY_MS, air_c=23.0,
    )


def _readings() -> tuple[Reading, ...]:
    red, black = _red_on_ground(), _black_on_ground()
    readings: list[Reading] = []
    for place, board in enumerate(REFERENCE_BOARDS):
        pen = Pen(
            board.id, OfReferenceBoard(reference_board_id=board.id), socket=J7.ref, meter_id=REFERENCE_METER.id,
            start_ms=board.read_at_ms, by="Ines", air_c=23.0,
        )
        readings += pen.sweep({number: drops[place] for number, drops in red.items()}, CLIMBING)
        readings += (pen.drop(number, drops[place], lead="black") for number, drops in black.items())
    return tuple(readings)


REFERENCE_BOARDS: tuple[ReferenceBoard, ...] = tuple(_board(place) for place in range(COUNT))
KNOWN_GOOD_READINGS: tuple[Reading, ...] = _readings()
