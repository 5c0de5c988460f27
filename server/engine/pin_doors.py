"""The doors for a board by hand: what a pasted table probably is, and the table itself.

JSON in, JSON out, the same bytes here and on the phone. Both raise msgspec.DecodeError or ValidationError
(with a path); `pin_table_json` also SheetError for columns that cannot be.
"""

import msgspec

from server.engine.pin_columns import pin_columns
from server.engine.pin_table import pin_table
from shared_models.pin_table import PinColumnsQuestion, PinTableQuestion

_columns_decoder = msgspec.json.Decoder(PinColumnsQuestion)
_table_decoder = msgspec.json.Decoder(PinTableQuestion)
_encoder = msgspec.json.Encoder()


def pin_columns_json(question_json: bytes) -> bytes:
    """A PinColumnsQuestion as JSON -> the PinColumns as JSON."""
    return _encoder.encode(pin_columns(_columns_decoder.decode(question_json)))


def pin_table_json(question_json: bytes) -> bytes:
    """A PinTableQuestion as JSON -> the PinTable as JSON."""
    return _encoder.encode(pin_table(_table_decoder.decode(question_json)))


__all__ = ["pin_columns", "pin_columns_json", "pin_table", "pin_table_json"]
