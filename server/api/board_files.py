"""Board files: sent as they are, read with progress, one socket traced. Nothing of them is stored."""

from typing import Annotated, Any

from litestar import Request, get, post
from litestar.datastructures import State
from litestar.openapi import ResponseSpec
from litestar.params import PathParameter, QueryParameter

from server.api.description import PROBLEMS, TAKES_BYTES
from server.boards.board_file import LARGEST_BYTES
from server.boards.desk import BoardDesk
from shared_models.board_file import BoardReading, TracedSocket
from shared_models.change import ProblemAnswer

PATH = "/api/board-files"
FileId = Annotated[str, PathParameter(description="the id that was answered when the file was sent")]
Columns = Annotated[str | None, QueryParameter(description="of a list of pins: ref=1,pin=2,net=3")]
Ref = Annotated[str, QueryParameter(description="the socket's name on the board")]
_READING = ResponseSpec(ProblemAnswer, description="the file is still being read", generate_examples=False)


@post(PATH, status_code=202, request_max_body_size=LARGEST_BYTES, opt={TAKES_BYTES: ("application/octet-stream",)},
      responses=PROBLEMS)
async def send_board_file(request: Request[Any, Any, Any], state: State, columns: Columns = None) -> BoardReading:
    """Begins to read a board file: the body is the file itself. The answer's id says where to look how far it is."""
    return _desk(state).lay(await request.body(), columns)


@get(f"{PATH}/{{file_id:str}}", responses=PROBLEMS)
async def board_file(state: State, file_id: FileId) -> BoardReading:
    """How far the reading has come; the board's sockets once it is read, or why it was refused."""
    return _desk(state).look(file_id)


@get(f"{PATH}/{{file_id:str}}/socket", responses={**PROBLEMS, 409: _READING})
async def board_file_socket(state: State, file_id: FileId, ref: Ref) -> TracedSocket:
    """A socket's pin table and paths, and the board that is proposed of it."""
    return await _desk(state).trace(file_id, ref)


def _desk(state: State) -> BoardDesk:
    return state.board_desk
