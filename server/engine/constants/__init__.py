"""The one table of numbers: every constant of the engine, with its unit and where it comes from.

No other module of the engine holds a numeric literal beyond 0, 1, 2, -1 and 0.5 (a test reads the
sources); each family has a module of its own here, and whoever uses a number imports it from there. `TABLE`
lists each entry with its origin: SOURCE (published, with a citation), PRACTICE
(common practice, no source), MEMORY (from memory, not confirmed) or ASSUMED (our assumption).
Changing a number here means raising CONSTANTS_VERSION.
"""

# each fills its part of the table
from server.engine.constants import (  # noqa: F401
    answers,
    bench,
    chances,
    circuit,
    learning,
    meters,
    next_touch,
    overstress,
    papers,
    proof,
    readings,
    roles,
    sessions,
    shorts,
    stories,
    touches,
)
from server.engine.constants.table import TABLE, Entry

__all__ = ["CONSTANTS_VERSION", "TABLE", "Entry"]

CONSTANTS_VERSION = "2026.11.29"
