"""Why: a code, its numbers, and the sentence made of them. Everything the engine answers gives its reasons so."""

from shared_models.base import Model


class Number(Model, frozen=True, kw_only=True):
    """One number of a reason: its name with the unit in it, and its value."""

    name: str
    value: float


class Reason(Model, frozen=True, kw_only=True):
    """Why: a code, the numbers, the contacts and parts it speaks of, and the sentence."""

    code: str
    sentence: str
    numbers: tuple[Number, ...] = ()
    contacts: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()
