"""Small builders for writing a socket down as a table: who drives a line, what it carries, what it stands.

The voltages are the usual ones of such lines (working, and what to take as the limit while the part
behind is not known); they are typed here once and used by every invented board.
"""

from collections.abc import Sequence

from shared_models.board import Contact, PathElement, Role, Row, Side


class Line:
    """What every contact of one kind has in common: role, working voltage, limit and driving side."""

    def __init__(self, role: Role, working_mv: float | None, limit_mv: float | None, sourced_by: Side | None) -> None:
        self.role: Role = role
        self.working_mv = working_mv
        self.limit_mv = limit_mv
        self.sourced_by: Side | None = sourced_by


GROUND = Line("ground", 0, None, "neither")
NOT_CONNECTED = Line("unconnected", None, None, "neither")
LANE = Line("lane", 1200, 1800, "board")  # 1.2 V in low-power state; 1.8 V is the absolute limit
IO_1V8_BOTH = Line("bus", 1800, 2100, "both")  # rail + 0.3 V
CONTROL_1V8_BOARD = Line("control", 1800, 2100, "board")
CONTROL_1V8_BOTH = Line("control", 1800, 2100, "both")
PWM_1V8 = Line("pwm", 1800, 2100, "board")
PANEL_3V3 = Line("panel_supply", 3300, 4000, "board")
IO_RAIL_1V8 = Line("io_rail", 1800, 2100, "board")
LED_SINK = Line("led_minus", 1000, 20_000, "module")  # 0.3 to 1 V lit; such sinks stand 20 to 40 V
STRAP = Line("strap", 1800, 2100, "neither")
CAMERA_LANE = Line("lane", 1200, 1800, "module")
COUPLED_LANE = Line("lane_coupled", 1200, 3600, "board")  # swings about zero behind its capacitor
COUPLED_AUX = Line("aux_coupled", 1200, 3600, "both")
HOT_PLUG = Line("hot_plug_detect", 3300, 3600, "module")
CONTROL_3V3_BOARD = Line("control", 3300, 3600, "board")
CONTROL_3V3_MODULE = Line("control", 3300, 3600, "module")
PWM_3V3 = Line("pwm", 3300, 3600, "board")
BUS_3V3 = Line("bus", 3300, 3600, "both")
USB_PAIR = Line("usb_pair", 3300, 3600, "both")
RAIL_5V = Line("rail_5v", 5000, 6000, "board")


def contact(
    number: int | str,
    name: str,
    line: Line,
    *,
    leads_to: str | None = None,
    pair_with: int | str | None = None,
    path: Sequence[PathElement] = (),
    tail_reachable: bool = True,
) -> Contact:
    """One contact of a kind of line. Its net is named as the contact is; an unconnected one has none."""
    return Contact(
        number=str(number),
        name=name,
        net=None if line.role == "unconnected" else name,
        role=line.role,
        working_mv=line.working_mv,
        limit_mv=line.limit_mv,
        sourced_by=line.sourced_by,
        leads_to=leads_to,
        pair_with=None if pair_with is None else str(pair_with),
        path=tuple(path),
        tail_reachable=tail_reachable,
    )


def row(name: str, numbers: Sequence[int | str]) -> Row:
    """A row in the order its contacts lie."""
    return Row(name=name, contacts=tuple(str(number) for number in numbers))
