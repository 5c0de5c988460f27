"""The doors of what closed jobs teach: JSON in, JSON out, the same bytes here and on the phone.

Each raises msgspec.DecodeError or ValidationError (with a path); `closing_json` also SheetError.
"""

import msgspec

from server.engine.closing_facts import closing_facts
from server.engine.honesty import honesty
from server.engine.learning import learnt
from shared_models.learning import ClosingQuestion, LearningQuestion

_learning_decoder = msgspec.json.Decoder(LearningQuestion)
_closing_decoder = msgspec.json.Decoder(ClosingQuestion)
_encoder = msgspec.json.Encoder()


def learnt_json(question_json: bytes) -> bytes:
    """A LearningQuestion as JSON -> what was Learnt as JSON."""
    return _encoder.encode(learnt(_learning_decoder.decode(question_json)))


def honesty_json(question_json: bytes) -> bytes:
    """A LearningQuestion as JSON -> the Honesty of its odds as JSON."""
    return _encoder.encode(honesty(_learning_decoder.decode(question_json)))


def closing_json(question_json: bytes) -> bytes:
    """A ClosingQuestion as JSON -> the ClosingFacts as JSON."""
    return _encoder.encode(closing_facts(_closing_decoder.decode(question_json)))


__all__ = ["closing_facts", "closing_json", "honesty", "honesty_json", "learnt", "learnt_json"]
