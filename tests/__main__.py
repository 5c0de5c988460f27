"""`python3 tests [--only NAME] [--no-skips]` and `python3 tests load NAME`.

First on any Python: prepares the environment, brings Chromium and ngspice if this user may, and
starts itself again. Then pytest, which ends with its own line; lint and types are tests in tests/static.
"""

import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]

if sys.version_info < (3, 11):  # noqa: UP036  this very line tells a person with an older Python
    sys.exit("Second Probe needs Python 3.11 or newer; this is {}.{}".format(*sys.version_info[:2]))

if __name__ == "__main__":
    # started as a folder, Python looks for modules in tests/ and not in the project
    sys.path[0] = str(ROOT)
    from tests.support.command import main

    main(Path(__file__).parent, sys.argv[1:])
