"""Every number of the bench's world in one place. Invented, like a bench; no real board's data.

They differ from the engine's tables on purpose: other drops, spreads, ideality, slopes, failure rates, faults
and story shares. The near-ideal judge knows them, the engine does not.
"""

from typing import NamedTuple

# ---- junctions (SPICE diode law) -------------------------------------------------------------------
CELSIUS_0 = 273.15
NOMINAL_C = 25.0
VT_MV_PER_K = 0.08617333
BANDGAP_MV = 1120.0
XTI = 3.0
IDEALITY = 1.5
IDEALITY_SD = 0.12  # between kinds of chip
BULK_OHM = 6.0


class Healthy(NamedTuple):
    """A role's healthy junction at 1 mA and 25 °C, mV, and its spreads (one deviation each).

    `kind_sd`: from board kind to board kind, common to one chip's lines of that role. `line_sd`: between lines (pairs)
    of one kind; `half_sd`: between the halves of a pair, or one line's own. `die_sd`: from board to board, common
    to the chip; `local_sd`: from board to board, the contact's own. `series_ohm`: a part between contact and chip.
    """

    drop_mv: float
    kind_sd: float
    line_sd: float
    half_sd: float
    die_sd: float
    local_sd: float
    series_ohm: float = 0.0


HEALTHY: dict[str, Healthy] = {
    "lane": Healthy(375, 40, 3, 1.5, 4, 2.5),
    "usb_pair": Healthy(430, 40, 3, 1.5, 4, 2.5),
    "bus": Healthy(525, 45, 3, 3, 6, 4, 33),
    "control": Healthy(545, 45, 4, 4, 6, 5, 33),
    "pwm": Healthy(540, 45, 4, 4, 6, 5, 33),
    "hot_plug_detect": Healthy(535, 45, 4, 4, 6, 5, 100),
    "main_rail": Healthy(455, 50, 0, 0, 9, 0.5),
    "rail_5v": Healthy(430, 50, 0, 0, 9, 0.5),
    "panel_supply": Healthy(380, 45, 0, 0, 9, 0.5),
    "io_rail": Healthy(345, 45, 0, 0, 9, 0.5),
    "led_plus": Healthy(500, 60, 0, 0, 13, 0.5),
    "led_minus": Healthy(555, 40, 3, 3, 7, 5),
}
OVER_RANGE_ROLES = ("unconnected", "lane_coupled", "aux_coupled", "strap")
RAILS = ("main_rail", "rail_5v", "panel_supply", "io_rail", "led_plus")

# ---- meters, air, touches ---------------------------------------------------------------------------
CURRENT_MA = (0.2, 2.0)  # log-uniform
NOMINAL_CURRENTS_MA = (0.2, 0.5, 1.0, 2.0)
NOMINAL_SHARE = 0.4  # of jobs, with a meter of exactly one of those
AIR_C = (-5.0, 45.0)
SHEET_CURRENT_SD = 0.02  # of the logarithm
AIR_SD_K = 3.0
GAIN_SD = 0.0025
OFFSET_SD_MV = 1.0
NOISE_MV = 0.8
PROBE_OHM, PROBE_SD_OHM = 0.6, 0.4
OPEN_CIRCUIT_MV = (2000.0, 2500.0, 3000.0)
FAILS_HIGH, FAILS_HIGH_OHM = 0.012, 8.0  # a bad contact adds Exp(8 ohm)
FAILS_OPEN = 0.003  # missed: OL
FAILS_NEIGHBOUR = 0.0005  # slipped: the neighbour's number
GROUND_OHM = 0.3

# ---- references --------------------------------------------------------------------------------------
REFERENCE_BOARDS = 8
VARIANT_BOARDS = (0, 1, 3, 20)
VARIANT_EVERY = 6  # of the plain jobs, one in so many is also judged with those, and without any sheet

# ---- hard weather: a tenth as many jobs again of each ---------------------------------------------------
ODD_BOARD = 0.08  # of reference boards: a chip of another maker on them
MISTYPED = 0.005  # one digit wrong
HEAVY_SHARE, HEAVY_DF = 0.3, 2.5  # of contacts spread as Student's t
CROWD_LOW = 0.6  # of contacts low, depth log-uniform
CROWD_DEPTH_OHM = (60.0, 6000.0)

# ---- faults of single contacts -----------------------------------------------------------------------------
FAULTY = 0.08
FAULT_SHARES = {"short": 0.25, "leak": 0.35, "raised": 0.20, "open": 0.20}
SHORT_OHM = (0.5, 60.0)  # log-uniform, as the next two
LEAK_OHM = (60.0, 20_000.0)
RAISED_MV = (8.0, 150.0)  # at the current it is read with
BRIDGE_OHM = (0.3, 3.0)

# ---- stories ------------------------------------------------------------------------------------------------
STORY_SHARES = {
    "healthy": 0.15, "single": 0.18, "bridge": 0.10, "slip": 0.15, "tilt": 0.03, "chip": 0.10, "rail": 0.07,
    "wet": 0.08, "torn": 0.07, "wrong_end": 0.02, "revision": 0.05,
}  # fmt: skip
SLIPS = {1: 0.4, -1: 0.4, 2: 0.07, -2: 0.07, 3: 0.03, -3: 0.03}
UNRELATED = 0.004  # an unrelated odd contact, whatever the story
UNRELATED_SHARES = {"short": 0.15, "leak": 0.45, "raised": 0.2, "open": 0.2}
SINGLE_STATES = {"short": 0.3, "leak": 0.4, "raised": 0.1, "open": 0.2}
TORN_STATES = {"open": 0.85, "raised": 0.15}
CHIP_STATES = {"healthy": 0.55, "short": 0.10, "leak": 0.35}
SLIP_STATES = {"healthy": 0.35, "short": 0.35, "leak": 0.30}
SLIP_SOFT_STATES = {"healthy": 0.8, "short": 0.05, "leak": 0.15}
SLIP_RAIL_STATES = {"healthy": 0.75, "short": 0.15, "raised": 0.10}
TILT_STATES = {"healthy": 0.4, "short": 0.2, "leak": 0.4}
TILT_PLACES = 3
WET_STATES = {"healthy": 0.4, "leak": 0.6}
WET_PLACES = 3
RAIL_STATES = {"short": 0.8, "leak": 0.2}
REVISION_SD_MV = 35.0
SLIP_HURTS_FROM_MV = 4000.0

# ---- seconds of a touch ----------------------------------------------------------------------------------------
ALONG_S, HOP_S, AGAIN_S, BETWEEN_S = 4.0, 10.0, 2.0, 8.0

# ---- the same board once more: at a smaller current, with the other lead on ground -------------------------------
PAIR_FIRST_MA, PAIR_SECOND_MA = 1.0, (0.2, 0.1)
OTHER_LEAD_MORE_MV, OTHER_LEAD_KIND_SD = 110.0, 45.0  # the upper clamp and what its rail feeds, over the lower clamp
OTHER_LEAD_DIE_SD, OTHER_LEAD_LOCAL_SD = 8.0, 5.0  # from board to board: common to the chip, and the contact's own

# ---- a meter's own page: known resistors, and two meters on the same healthy contacts ----------------------------
RESISTORS_OHM = (47.0, 100.0, 220.0, 330.0, 470.0, 680.0)
RESISTOR_TOLERANCES_PCT = (0.1, 1.0, 5.0)  # even within it
RESISTORS_TRIED = (2, 5)
PAIR_CONTACTS = (3, 20)
