"""The command `secondprobe`: an opinion about a sheet, a board file's sockets and paths, the shop's server,
the record copied elsewhere.

Exit status: 0 done, 1 the server could not start, 2 the input or the record cannot be used (said on
the error stream: given, where, expected, example).
"""

import argparse
import os
import sys
from pathlib import Path

from server.cli_copies import add_copy_commands
from server.cli_shop import add_shop_commands
from server.engine.errors import SheetError
from server.network.trouble import Trouble
from server.problems import Refusal, strict_json
from server.store.migrations import RecordUnusable
from shared_models.change import Problem

INSTALLED_APP_DIR = Path(__file__).resolve().parent / "app_files"
DEFAULT_APP_DIR = (
    INSTALLED_APP_DIR if INSTALLED_APP_DIR.is_dir() else Path(__file__).resolve().parents[1] / "pwa" / "dist"
)
"""A wheel brings the app beside this file; in a checkout it is where the build puts it."""


def main(arguments: list[str] | None = None) -> int:
    """Runs the command with `arguments` (default: the program's own) and gives its exit status."""
    parsed = _parser().parse_args(arguments)
    try:
        return parsed.run(parsed)
    except (Refusal, SheetError) as error:
        _tell(error.problem)
        return 2
    except RecordUnusable as error:
        sys.stderr.write(f"secondprobe: {error}\n")
        return 2
    except Trouble as error:
        sys.stderr.write(f"secondprobe: {error.what}\n{error.do}\n")
        return 1
    except KeyboardInterrupt:
        return 130


def default_data_dir() -> Path:
    """Where the record lies unless it is said: the place for a user's program data."""
    base = os.environ.get("XDG_DATA_HOME") or Path.home() / ".local" / "share"
    return Path(base) / "secondprobe"


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="secondprobe", description="Readings of a connector in, what explains them out."
    )
    commands = parser.add_subparsers(required=True)

    opinion = commands.add_parser("opinion", help="what a bench sheet says, as JSON or as text")
    opinion.add_argument("file", metavar="FILE", help="a BenchSheet as JSON; - reads the standard input")
    opinion.add_argument("--text", action="store_true", help="for people instead of JSON")
    opinion.set_defaults(run=_opinion)

    board = commands.add_parser("board", help="a board file's sockets, or one of them with all that it leads to")
    board.add_argument(
        "file", metavar="FILE", help="KiCad, IPC-D-356, IPC-2581, or a list of pins; - reads the standard input"
    )
    what = board.add_mutually_exclusive_group(required=True)
    what.add_argument("--list", action="store_true", help="the sockets")
    what.add_argument("--socket", metavar="REF", help="the pin table and paths of this one")
    board.add_argument(
        "--columns", metavar="WHERE", help="of a list of pins: ref=1,pin=2,net=3 or part=J1,pin=Pin,net=Net"
    )
    board.add_argument("--text", action="store_true", help="for people instead of JSON")
    board.set_defaults(run=_board)

    add_shop_commands(commands, default_data_dir(), DEFAULT_APP_DIR)
    add_copy_commands(commands, default_data_dir())
    return parser


def _opinion(parsed: argparse.Namespace) -> int:
    # Imported here: the engine is not needed to serve a record, nor the server to form an opinion.
    import msgspec

    from server.engine.door import form_opinion
    from server.engine.text import opinion_text
    from shared_models.sheet import BenchSheet

    opinion = form_opinion(strict_json(_read(parsed.file), BenchSheet))
    if parsed.text:
        sys.stdout.write(opinion_text(opinion).rstrip("\n") + "\n")
    else:
        sys.stdout.buffer.write(msgspec.json.encode(opinion) + b"\n")
    return 0


def _board(parsed: argparse.Namespace) -> int:
    import msgspec

    from server.boards.board_file import LARGEST_BYTES
    from server.boards.door import OpenBoard
    from server.boards.pin_list import columns_from
    from server.boards.text import board_text, socket_text
    from shared_models.board_file import BoardInFile

    columns = columns_from(parsed.columns) if parsed.columns else None
    board = OpenBoard.of(_read(parsed.file, "secondprobe board main.kicad_pcb --list", LARGEST_BYTES), columns)
    answer = board.summary() if parsed.list else board.traced(parsed.socket)
    if parsed.text:
        text = board_text(answer) if isinstance(answer, BoardInFile) else socket_text(answer)
        sys.stdout.write(text.rstrip("\n") + "\n")
    else:
        sys.stdout.buffer.write(msgspec.json.encode(answer) + b"\n")
    return 0


def _read(name: str, example: str = "secondprobe opinion sheet.json", at_most: int = -1) -> bytes:
    """The bytes of a file; of a longer one than `at_most` only so many that it can be seen to be longer."""
    part = at_most + 1 if at_most >= 0 else -1
    if name == "-":
        return sys.stdin.buffer.read(part)
    try:
        with Path(name).open("rb") as file:
            return file.read(part)
    except OSError as error:
        raise Refusal(400, Problem(
            code="no_such_file", message=f"The file cannot be read: {error.strerror}.", where="FILE", given=name,
            expected="a file that can be read, or - for the standard input", example=example,
        )) from error


def _tell(problem: Problem) -> None:
    lines = (("", problem.message), ("given", problem.given), ("where", problem.where),
             ("expected", problem.expected), ("example", problem.example))
    for name, words in lines:
        if words:
            sys.stderr.write(f"{name + ':':<10}{words}\n" if name else f"secondprobe: {words}\n")


if __name__ == "__main__":
    sys.exit(main())
