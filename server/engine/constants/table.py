"""How a constant gets into the one table; the numbers themselves stand in this folder's other modules."""

from typing import Literal, NamedTuple

Origin = Literal["SOURCE", "PRACTICE", "MEMORY", "ASSUMED"]


class Entry(NamedTuple):
    """One constant: name, value, unit, origin, and the citation or the reason."""

    name: str
    value: object
    unit: str
    origin: Origin
    why: str


TABLE: list[Entry] = []


def num(name: str, value: float, unit: str, origin: Origin, why: str) -> float:
    """Enters a number and hands it back."""
    TABLE.append(Entry(name, value, unit, origin, why))
    return value


def mapping(name: str, value: dict[str, float], unit: str, origin: Origin, why: str) -> dict[str, float]:
    """Enters a row of numbers by name and hands it back."""
    TABLE.append(Entry(name, value, unit, origin, why))
    return value
