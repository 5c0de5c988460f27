"""No pass code stands on a paper or in a file: words that look as if they held one are withheld, whole.

The phone warns where they are typed, by the same pattern (`shared_models.hand_back`).
"""

import re

from shared_models.hand_back import PASS_CODE_PATTERN

WITHHELD = "(withheld: it looks like a pass code)"

_PASS_CODE = re.compile(PASS_CODE_PATTERN, re.IGNORECASE | re.ASCII)


def holds_pass_code(text: str) -> bool:
    """Whether the words look as if they held a pass code."""
    return _PASS_CODE.search(" ".join(text.split())) is not None


def safe_words(text: str) -> str:
    """What was typed, unless it looks like a pass code: then that it is withheld."""
    return WITHHELD if holds_pass_code(text) else text
