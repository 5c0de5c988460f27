"""`python3 demo [--port N] [--no-open] [--fresh]`: an invented shop on this machine only.

First on any Python: prepares the environment and starts itself again in it. Then: fills the shop,
serves the app on loopback, says Ready when it answers, and ends cleanly on Ctrl-C.
"""

import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]

if sys.version_info < (3, 11):  # noqa: UP036  this very line tells a person with an older Python
    sys.exit("Second Probe needs Python 3.11 or newer; this is {}.{}".format(*sys.version_info[:2]))

if __name__ == "__main__":
    # started as a folder, Python looks for modules in demo/ and not in the project
    sys.path[0] = str(ROOT)
    from demo.command import main

    main(Path(__file__).parent, sys.argv[1:])
