"""The two doors beside the opinion: how long a charge lasts, and who meets what if the plug sits wrong.

JSON in, JSON out, the same bytes here and on the phone. They need no readings, so they can be asked
before the work begins.
"""

import msgspec

from server.engine.discharge import discharge
from server.engine.overstress_picture import overstress_picture
from shared_models.discharge import DischargeQuestion
from shared_models.overstress import OverstressQuestion

_discharge_decoder = msgspec.json.Decoder(DischargeQuestion)
_overstress_decoder = msgspec.json.Decoder(OverstressQuestion)
_encoder = msgspec.json.Encoder()


def discharge_json(question_json: bytes) -> bytes:
    """A DischargeQuestion as JSON -> the Discharge as JSON.

    Raises msgspec.DecodeError or ValidationError (with a path), or SheetError for impossible values.
    """
    return _encoder.encode(discharge(_discharge_decoder.decode(question_json)))


def overstress_json(question_json: bytes) -> bytes:
    """An OverstressQuestion as JSON -> the OverstressMap as JSON. Raises as `discharge_json` does."""
    return _encoder.encode(overstress_picture(_overstress_decoder.decode(question_json)))


__all__ = ["discharge", "discharge_json", "overstress_json", "overstress_picture"]
