"""The doors for meters: a sheet from known resistors, two meters beside each other.

JSON in, JSON out, the same bytes here and on the phone. Both raise msgspec.DecodeError or ValidationError
(with a path), or SheetError for values that cannot be.
"""

import msgspec

from server.engine.meter_pair import meter_pair
from server.engine.meter_sheet import meter_sheet
from shared_models.meters import MeterPairQuestion, MeterSheetQuestion

_sheet_decoder = msgspec.json.Decoder(MeterSheetQuestion)
_pair_decoder = msgspec.json.Decoder(MeterPairQuestion)
_encoder = msgspec.json.Encoder()


def meter_sheet_json(question_json: bytes) -> bytes:
    """A MeterSheetQuestion as JSON -> the MeterSheet as JSON."""
    return _encoder.encode(meter_sheet(_sheet_decoder.decode(question_json)))


def meter_pair_json(question_json: bytes) -> bytes:
    """A MeterPairQuestion as JSON -> the MeterPair as JSON."""
    return _encoder.encode(meter_pair(_pair_decoder.decode(question_json)))


__all__ = ["meter_pair", "meter_pair_json", "meter_sheet", "meter_sheet_json"]
