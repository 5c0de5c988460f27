"""Whether a part is there at all: by its value, which often says it, or by a list of parts that leaves it out.

Source: values of open designs read side by side; common practice, no source.
"""

import re

# a value that says it is left out: the whole of it, or in brackets before or behind what it would be
_LEFT_OUT = re.compile(
    r"\(?\s*(?:N\.?A\.?|DNP|DNF|DNI|DNS|NF|N\.?M\.?|NO[ _]?(?:FIT|POP|STUFF)|NOT FITTED)\s*(?:\)|$|\(|[/_,; ])", re.I
)
_BOUGHT = re.compile(r"[RCLDQUF]\d|FB\d", re.I)


def left_out_by_value(value: str) -> str:
    """Why a part of this value is not fitted; empty where the value says nothing of it."""
    behind = value.rstrip().endswith(")") and _LEFT_OUT.match(value[value.rfind("(") :])
    return f"its value says so: {value}" if behind or _LEFT_OUT.match(value) else ""


def left_out_by_list(ref: str) -> str:
    """Why a part that a list of parts leaves out is not fitted: only what is bought is missing then.

    A test point, a net tie or the pads of a plug that is held against them never was to be bought.
    """
    return "left out of the list of parts" if _BOUGHT.match(ref) else ""
