"""What healthy contacts read, by role: a part of the one table (see the package's words)."""

from typing import NamedTuple

from server.engine.constants.table import TABLE, Entry
from server.engine.constants.table import mapping as _map
from server.engine.constants.table import num as _num


# ---- what healthy contacts read, by role ------
class RoleNumbers(NamedTuple):
    """Healthy drop of a role at 1.00 mA, 23 degC, bare board: typical, range, spreads; black lead range."""

    typical_mv: float
    low_mv: float
    high_mv: float
    sd_mv: float
    sibling_sd_mv: float
    black_low_mv: float
    black_high_mv: float
    series_ohm: float


ROLE_NUMBERS: dict[str, RoleNumbers] = {
    "ground": RoleNumbers(0, 0, 5, 0.8, 0.5, 0, 5, 0),
    "main_rail": RoleNumbers(440, 350, 580, 12, 2, 900, 1800, 0),
    "rail_5v": RoleNumbers(410, 330, 500, 11, 2, 600, 1500, 0),
    "panel_supply": RoleNumbers(395, 300, 500, 10, 2, 500, 1300, 0),
    "io_rail": RoleNumbers(320, 260, 420, 8, 2, 400, 900, 0),
    "memory_rail": RoleNumbers(120, 20, 300, 10, 2, 150, 500, 0),
    "core_rail": RoleNumbers(5, 1, 10, 2, 1, 1, 10, 0),
    "core_rail_large": RoleNumbers(0.6, 0, 1, 0.5, 0.5, 0, 1, 0),
    "lane": RoleNumbers(338, 240, 430, 4, 1.5, 450, 800, 0),
    "lane_lvds": RoleNumbers(420, 330, 520, 5, 2, 600, 900, 0),
    "lane_coupled": RoleNumbers(660, 560, 760, 10, 3, 600, 900, 0),
    "aux_coupled": RoleNumbers(660, 560, 760, 10, 3, 600, 900, 0),
    "usb_pair": RoleNumbers(472, 380, 620, 5, 2, 650, 1100, 22),
    "bus": RoleNumbers(475, 380, 600, 6, 2.5, 600, 900, 22),
    "control": RoleNumbers(470, 380, 620, 5, 4, 600, 1000, 0),
    "hot_plug_detect": RoleNumbers(1446, 1350, 1700, 8, 6, 1600, 2000, 1000),
    "pwm": RoleNumbers(515, 430, 650, 6, 4, 650, 1000, 0),
    "led_plus": RoleNumbers(490, 400, 700, 15, 2, 900, 1900, 0),
    "led_minus": RoleNumbers(535, 420, 650, 10, 4, 900, 1900, 0),
    "strap": RoleNumbers(0, 0, 0, 10, 4, 0, 0, 0),
    "unconnected": RoleNumbers(0, 0, 0, 10, 4, 0, 0, 0),
    "unknown": RoleNumbers(450, 200, 800, 12, 6, 500, 1500, 0),
}
TABLE.append(
    Entry("ROLE_NUMBERS", ROLE_NUMBERS, "mV, ohm", "PRACTICE", "healthy readings by role, red and black on ground")
)
BLACK_OL = _map(
    "BLACK_OL",
    {"main_rail": 0.5, "led_plus": 0.9, "led_minus": 0.9},
    "1",
    "PRACTICE",
    "how often a healthy contact of these roles shows OL with black on ground",
)
RANGE_TO_SD = _num("RANGE_TO_SD", 0.25, "1", "ASSUMED", "a stated range is about four deviations wide")
