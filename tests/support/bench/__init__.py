"""The bench: a simulated world of sockets, boards, meters and faults that opinions are scored against.

Order to read: `tables` (every number of the world), `sockets`, `truth` (kinds, boards, sessions), `faults`
and `story_world` (what is wrong), `circuits` (ngspice solves everything that is read), `touching` (what a
display then shows), `jobs`, `sheets`; `further` reads a board once more. Judges: `rules`, `ideal*` (with `kept`),
`engine_says`. What they say: `*_rows`, `walks`; what of it is counted: `*_scores`; `bars` and `report` write it down,
`drawing` and `pictures` draw it, `show*` print single contacts.
Nothing here is tuned to any judge, and no number of the engine's tables is read, but in `engine_says`.
"""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # small matrices: threads of their own only wait for each other
