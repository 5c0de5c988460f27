"""A healthy board's reading at 1.00 mA and 23 C, as another meter shows it on a day of another temperature.

Source of the law: a junction at constant current (SPICE diode model, XTI = 3, EG = 1.11 eV), and ohms in series.
The shop's own numbers, typed here and nowhere taken from the engine. Each board departs from the law a little.
"""

import math

from shared_models.base import Model
from shared_models.board import Contact, SeriesPart

KELVIN = 273.15
VT_MV_PER_K = 0.0861733
BANDGAP_MV = 1110.0
XTI = 3.0
BULK_OHM = 5.0
SCALE_MA = 1.0
SCALE_C = 23.0


class ReadWith(Model, frozen=True, kw_only=True):
    """How one healthy board was read: the meter's place among the shop's three, and what departs from its sheet.

    `departs` adds to the logarithm of the current (a meter's own), `off_k` to the air's kelvin (the board is not
    quite as warm as the room), `ideality` is that of the board's clamps.
    """

    meter: int
    test_current_ma: float
    air_c: float
    departs: float = 0.0
    off_k: float = 0.0
    ideality: float = 1.25


def series_ohm(contact: Contact) -> float:
    """The resistors between the contact and its junction with the clamp's own, in ohms."""
    parts = [part for part in contact.path if isinstance(part, SeriesPart)]
    return BULK_OHM + math.fsum(part.ohm for part in parts if part.ohm is not None)


def shown_mv(drop_mv: float, *, ohm: float, how: ReadWith) -> int:
    """What a junction that reads `drop_mv` at 1.00 mA and 23 C shows as `how` says, in whole mV."""
    current_ma = how.test_current_ma * math.exp(how.departs)
    warm, kelvin = SCALE_C + KELVIN, how.air_c + how.off_k + KELVIN
    ratio, vt = kelvin / warm, VT_MV_PER_K * kelvin
    junction = (drop_mv - ohm * SCALE_MA) * ratio + BANDGAP_MV * (1 - ratio) - XTI * vt * math.log(ratio)
    return round(junction + how.ideality * vt * math.log(current_ma / SCALE_MA) + ohm * current_ma)


NINE_READ: tuple[ReadWith, ...] = (
    ReadWith(meter=1, test_current_ma=1.0, air_c=22.0, departs=0.008, ideality=1.24),
    ReadWith(meter=0, test_current_ma=0.3, air_c=22.5, departs=-0.006, ideality=1.26),
    ReadWith(meter=2, test_current_ma=1.9, air_c=23.0, departs=0.004, ideality=1.27),
    ReadWith(meter=1, test_current_ma=1.0, air_c=24.5, departs=0.008, ideality=1.25, off_k=0.3),
    ReadWith(meter=0, test_current_ma=0.3, air_c=21.5, departs=-0.006, ideality=1.23, off_k=-0.2),
    ReadWith(meter=2, test_current_ma=1.9, air_c=22.0, departs=0.004, ideality=1.24, off_k=0.1),
    ReadWith(meter=1, test_current_ma=1.0, air_c=23.5, departs=0.008, ideality=1.26, off_k=-0.3),
    ReadWith(meter=0, test_current_ma=0.3, air_c=24.0, departs=-0.006, ideality=1.25, off_k=0.2),
    ReadWith(meter=2, test_current_ma=1.9, air_c=23.0, departs=0.004, ideality=1.25, off_k=-0.1),
)
"""How the nine healthy T10 boards were read, in the order of the shelf: three with each of three meters."""
