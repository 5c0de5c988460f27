"""Real boards lie outside the project: with their folder, tests read them; without it, those files are not collected.

The folder is named by SECOND_PROBE_BOARDS, else it is `shared/boards` beside the project. What every rule rests on
is also written as small boards of our own in the other files, so that a bare machine proves each rule too.
"""

import sys

from tests.support.real_boards import REAL_BOARDS

collect_ignore_glob: list[str] = []
if REAL_BOARDS is None:
    collect_ignore_glob.append("test_real_*.py")
    sys.stderr.write(
        "tests/boards/test_real_*.py are not collected: no folder of real boards"
        " (SECOND_PROBE_BOARDS, or ../shared/boards beside the project)\n"
    )
