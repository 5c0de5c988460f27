"""A reading carried from one meter and temperature to another: the junction law, worked by hand and as properties.

The table rows were computed outside the engine by a circuit solve of the same parts (junction n = 1.25, 5 ohm
bulk, 23 °C, 1.00 mA); they are a check of the arithmetic, not a published truth. Published and simulated
values are in tests/outside.
"""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.engine.constants.sessions import CURRENT_HIGH_MA, CURRENT_LOW_MA
from server.engine.meters import carry, conditions_of, log_current_sd, slopes
from server.engine.roles import PLAIN_PATH, Path
from shared_models.reading import Meter

PATHS = st.builds(
    Path, ideality=st.floats(1, 2), series_ohm=st.floats(0, 1000), series_sd_ohm=st.just(0.0), known=st.just(True)
)
A_DROP = st.floats(20, 2000)
A_CURRENT = st.floats(CURRENT_LOW_MA, CURRENT_HIGH_MA)
A_TEMPERATURE = st.floats(-15, 55)
CONTROL_33 = Path(1.25, 5 + 33, 0.0, True)
HPD_1K = Path(1.25, 5 + 1000, 0.0, True)


@given(A_DROP, PATHS, A_CURRENT, A_TEMPERATURE, A_CURRENT, A_TEMPERATURE)
def test_carrying_there_and_back_changes_nothing(
    drop_mv: float, path: Path, from_ma: float, from_c: float, to_ma: float, to_c: float
) -> None:
    there = carry(drop_mv, path, from_ma, from_c, to_ma, to_c)
    assert carry(there, path, to_ma, to_c, from_ma, from_c) == pytest.approx(drop_mv, abs=1e-6)


@given(A_DROP, PATHS, A_CURRENT, A_TEMPERATURE, A_CURRENT, A_TEMPERATURE, A_CURRENT, A_TEMPERATURE)
def test_carrying_in_two_steps_is_carrying_in_one(
    drop_mv: float, path: Path, a_ma: float, a_c: float, b_ma: float, b_c: float, c_ma: float, c_c: float
) -> None:
    in_two = carry(carry(drop_mv, path, a_ma, a_c, b_ma, b_c), path, b_ma, b_c, c_ma, c_c)
    assert in_two == pytest.approx(carry(drop_mv, path, a_ma, a_c, c_ma, c_c), abs=1e-6)


@given(A_DROP, A_CURRENT, A_TEMPERATURE, A_CURRENT, A_TEMPERATURE)
def test_without_a_junction_nothing_moves(
    drop_mv: float, from_ma: float, from_c: float, to_ma: float, to_c: float
) -> None:
    assert carry(drop_mv, None, from_ma, from_c, to_ma, to_c) == drop_mv
    assert slopes(drop_mv, None, from_ma, from_c) == (0.0, 0.0)


@given(A_DROP, PATHS, A_CURRENT, A_TEMPERATURE)
def test_more_current_reads_higher_and_a_warmer_junction_lower(
    drop_mv: float, path: Path, from_ma: float, from_c: float
) -> None:
    junction_mv = drop_mv - path.series_ohm * from_ma
    assert carry(drop_mv, path, from_ma, from_c, from_ma * 1.1, from_c) > drop_mv
    if 1 < junction_mv < 1000:  # a junction at all, and below the bandgap, as every junction that reads
        assert carry(drop_mv, path, from_ma, from_c, from_ma, from_c + 1) < drop_mv


@given(A_DROP, PATHS, A_CURRENT, A_TEMPERATURE)
def test_slopes_are_the_derivatives_of_the_carried_reading(
    drop_mv: float, path: Path, current_ma: float, air_c: float
) -> None:
    per_log, per_k = slopes(drop_mv, path, current_ma, air_c)
    step = 1e-4

    def moved(log_current: float, kelvin: float) -> float:
        return carry(drop_mv, path, current_ma, air_c, current_ma * math.exp(log_current), air_c + kelvin)

    assert per_log == pytest.approx((moved(step, 0) - moved(-step, 0)) / (2 * step), rel=1e-5, abs=1e-5)
    assert per_k == pytest.approx((moved(0, step) - moved(0, -step)) / (2 * step), rel=1e-5, abs=1e-5)


def test_a_case_worked_by_hand() -> None:
    # 338 mV at 1 mA and 23 °C; 5 ohm take 5 mV, the junction 333. At 1.9 mA and 3 °C:
    # t = 276.15/296.15 = 0.932467; Vt = 0.08617333 * 276.15 = 23.79676 mV
    # 333 t = 310.5114; 1110 (1 - t) = 74.9620; -3 Vt ln t = 4.9918; 1.25 Vt ln 1.9 = 19.0924; 5 * 1.9 = 9.5
    assert carry(338.0, PLAIN_PATH, 1.0, 23.0, 1.9, 3.0) == pytest.approx(419.058, abs=0.002)


TABLE: list[tuple[str, Path, float, float, float, float]] = [
    # name, path, reading at 1 mA and 23 °C, then current, temperature, reading there; all [P], computed
    ("lane", PLAIN_PATH, 338, 0.3, 23, 296),
    ("lane", PLAIN_PATH, 338, 0.5, 23, 313),
    ("lane", PLAIN_PATH, 338, 1.0, 23, 338),
    ("lane", PLAIN_PATH, 338, 2.0, 23, 365),
    ("lane", PLAIN_PATH, 338, 1.9, 3, 419),
    ("lane", PLAIN_PATH, 338, 0.4, 3, 365),
    ("control behind 33 ohm", CONTROL_33, 488, 0.3, 23, 423),
    ("control behind 33 ohm", CONTROL_33, 488, 0.5, 23, 447),
    ("control behind 33 ohm", CONTROL_33, 488, 2.0, 23, 548),
    ("control behind 33 ohm", CONTROL_33, 488, 1.9, 3, 591),
    ("control behind 33 ohm", CONTROL_33, 488, 0.4, 3, 488),
    ("hot-plug detect behind 1 k", HPD_1K, 1446, 0.3, 23, 704),
    ("hot-plug detect behind 1 k", HPD_1K, 1446, 0.5, 23, 921),
    ("hot-plug detect behind 1 k", HPD_1K, 1446, 0.4, 3, 866),
    ("warm board", PLAIN_PATH, 450, 1.0, 45, 395),
    ("warm board", PLAIN_PATH, 450, 1.0, 60, 357),
    ("warm board", PLAIN_PATH, 450, 1.0, 80, 306),
]


@pytest.mark.parametrize(("name", "path", "drop_mv", "current_ma", "air_c", "there_mv"), TABLE)
def test_the_computed_table_of_meters_and_temperatures_is_met(
    name: str, path: Path, drop_mv: float, current_ma: float, air_c: float, there_mv: float
) -> None:
    assert carry(drop_mv, path, 1.0, 23.0, current_ma, air_c) == pytest.approx(there_mv, abs=1.5), name


def test_a_meters_sheet_is_used_and_its_absence_is_wide() -> None:
    sheet = Meter(id="m", name="m", test_current_ma=1.9, test_current_sd_pct=2.0)
    told = conditions_of("m", sheet, 3.0)
    assert (told.current_ma, told.current_sd, told.told, told.air_c) == (1.9, 0.02, True, 3.0)
    blank = conditions_of("m", Meter(id="m", name="m"), None)
    assert not blank.told
    assert blank.current_sd > 10 * told.current_sd
    assert blank.air_sd_k > told.air_sd_k


def test_one_meter_against_itself_is_known_better_than_two_meters_with_sheets() -> None:
    one, other = (conditions_of(name, Meter(id=name, name=name, test_current_ma=1.0), 23.0) for name in ("a", "b"))
    assert log_current_sd(one, one) < log_current_sd(one, other) / 2
    nobody_knows = conditions_of("c", None, None)
    assert log_current_sd(nobody_knows, nobody_knows) == log_current_sd(one, one)
