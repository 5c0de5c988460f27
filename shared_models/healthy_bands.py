"""What the healthy boards of a socket make of each contact, for one meter, under both leads."""

from shared_models.base import Model
from shared_models.opinion import Band, Question, SetAside


class HealthyContact(Model, frozen=True, kw_only=True):
    """One contact: its band and the boards it rests on, red lead on ground and black lead on ground."""

    contact: str
    red: Band
    black: Band


class HealthyBands(Model, frozen=True, kw_only=True):
    """All contacts of the socket in the order they lie; readings that were not used are named in `set_aside`.

    `current_ma` and `air_c` are those the bands are for; `told_by_sheet` whether the meter's sheet said so.
    """

    contacts: tuple[HealthyContact, ...]
    current_ma: float
    air_c: float
    told_by_sheet: bool
    questions: tuple[Question, ...] = ()
    set_aside: tuple[SetAside, ...] = ()
