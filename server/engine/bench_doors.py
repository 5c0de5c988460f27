"""The two doors beside the opinion: how long a charge lasts, and who meets what if the plug sits wrong.

JSON in, JSON out, the same bytes here and on the phone. They need no readings, so they can be asked
before the work begins.
"""

import msgspec

from server.engine.discharge import discharge
from shared_models.discharge import DischargeQuestion

_discharge_decoder = msgspec.json.Decoder(DischargeQuestion)
_encoder = msgspec.json.Encoder()


def discharge_json(question_json: bytes) -> bytes:
    """A DischargeQuestion as JSON -> the Discharge as JSON.

    Raises msgspec.DecodeError or ValidationError (with a path), or SheetError for impossible values.
    """
    return _encoder.encode(discharge(_discharge_decoder.decode(question_json)))


__all__ = ["discharge", "discharge_json"]
