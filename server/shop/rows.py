"""Rows of the record as plain values that any database takes.

Decides: that what was typed is read by the engine's own grammar where the phone left it as text, and that
a character no database's text can hold is replaced instead of stopping everything after it.
"""

from typing import Any

from server.engine.quantities import Doubt, read_text
from server.store.shop_views import Row
from shared_models.reading import Draw, Drop, Ohms, OutOfReach, OverRange, Value, Volts

NO_TEXT, INSTEAD = "\0", "\N{REPLACEMENT CHARACTER}"


def finished(kind: str, row: Row) -> Row:
    """The row as it is handed on. A reading whose text says one value gets that value."""
    row = {name: _storable(value) for name, value in row.items()}
    if kind == "reading" and row["value_kind"] is None:
        row |= _value_of(row)
    return row


def _value_of(row: Row) -> Row:
    value = read_text(row["as_typed"], row["display_unit"], row["kind"])
    return {} if isinstance(value, Doubt) else _columns(value)


def _columns(value: Value) -> Row:
    match value:
        case Drop():
            return {"value_kind": "drop", "drop_mv": value.drop_mv}
        case Ohms():
            return {"value_kind": "ohms", "ohm": value.ohm}
        case Volts():
            return {"value_kind": "volts", "volts_mv": value.volts_mv}
        case Draw():
            return {"value_kind": "draw", "draw_ma": value.draw_ma}
        case OverRange():
            return {"value_kind": "over_range"}
        case OutOfReach():
            return {"value_kind": "out_of_reach"}


def _storable(value: Any) -> Any:
    match value:
        case str():
            return value.replace(NO_TEXT, INSTEAD)
        case list():
            return [_storable(each) for each in value]
        case dict():
            return {_storable(name): _storable(each) for name, each in value.items()}
        case _:
            return value
