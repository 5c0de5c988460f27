"""The shop's meters: four of its own, and one that was borrowed on a boat. Invented names."""

from shared_models.reading import Meter

REFERENCE_METER = Meter(
    id="meter-scale-1ma", name="reference scale", test_current_ma=1.0, test_current_sd_pct=1.0,
    open_circuit_mv=3000.0, sheet_from="three meters' readings brought to 1.00 mA and 23 C",
)
BENCH_METER = Meter(
    id="meter-bench", name="bench meter", test_current_ma=1.0, test_current_sd_pct=2.0, open_circuit_mv=2000.0,
    lead_ohm=0.3, sheet_from="two known resistors",
)
SMALL_METER = Meter(
    id="meter-small", name="small meter", test_current_ma=0.3, test_current_sd_pct=2.0, open_circuit_mv=1500.0,
    lead_ohm=0.4, sheet_from="two known resistors",
)
TRAVEL_METER = Meter(
    id="meter-travel", name="travel meter", display_unit="V", test_current_ma=0.62, test_current_sd_pct=2.0,
    open_circuit_mv=2800.0, lead_ohm=0.3, sheet_from="two known resistors",
)
BORROWED_METER = Meter(
    id="meter-borrowed", name="borrowed meter", test_current_ma=1.9, test_current_sd_pct=2.0, open_circuit_mv=3000.0,
    sheet_from="two known resistors in the lid of the case",
)
WIDE_METER = Meter(
    id="meter-wide", name="wide-range meter", test_current_ma=1.9, test_current_sd_pct=2.0, open_circuit_mv=2900.0,
    lead_ohm=0.3, sheet_from="two known resistors",
)
BORROWED_METER_NO_SHEET = Meter(id="meter-borrowed", name="borrowed meter, nothing known")
UNKNOWN_METER = Meter(id="meter-unknown", name="a visitor's meter, nothing known")

SHOP_METERS: tuple[Meter, ...] = (BENCH_METER, SMALL_METER, TRAVEL_METER, WIDE_METER, BORROWED_METER, REFERENCE_METER)
"""The meters in the shop's record; the last is the scale that healthy boards' readings are brought to."""
