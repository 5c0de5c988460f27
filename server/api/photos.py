"""Pictures in and out, each at the address that its content's hash gives it."""

from collections.abc import AsyncIterator
from typing import Annotated, Any

from litestar import Request, Response, get, head, put
from litestar.datastructures import State
from litestar.exceptions import InternalServerException
from litestar.openapi import ResponseSpec
from litestar.params import PathParameter
from litestar.response import File

from server.api.description import PROBLEMS, TAKES_BYTES
from server.photos.arriving import LineCut
from server.photos.check import MIME_OF, Picture
from server.photos.files import LARGEST_BYTES, PhotoFolder
from server.problems import Refusal, shown
from shared_models.base import Model
from shared_models.change import Problem, ProblemAnswer

PATH = "/api/photos/{sha256:str}"
FOR_EVER = "private, max-age=31536000, immutable"
"""Another content has another address."""

OFFSET = "Upload-Offset"

SHA256_WHOLE = r"^[0-9a-f]{64}$(?!\n)"
"""As a photo's record says it; `(?!\n)`: in Python `$` also matches before a last line break."""

Sha256 = Annotated[str, PathParameter(pattern=SHA256_WHOLE, description="the SHA-256 of the whole file")]
_PICTURE = ResponseSpec(bytes, description="the picture", media_type="image/*", generate_examples=False)


class StoredPhoto(Model, frozen=True, kw_only=True):
    """A picture that is on the server's disk. `had`: it was there before this request."""

    sha256: str
    size_bytes: int
    picture: Picture
    had: bool = False


@put(PATH, status_code=201, request_max_body_size=LARGEST_BYTES, opt={TAKES_BYTES: tuple(MIME_OF.values())}, responses={
    **PROBLEMS,
    200: ResponseSpec(StoredPhoto, description="it was there already", generate_examples=False),
    409: ResponseSpec(ProblemAnswer, description="it cannot be continued from there", generate_examples=False),
})
async def put_photo(request: Request[Any, Any, Any], state: State, sha256: Sha256) -> Response[StoredPhoto]:
    """Keeps a picture: the body is the file itself. On the disk once this is answered; repeating it changes nothing.

    With the header Upload-Offset the body is the rest from that byte on: see HEAD.
    """
    offset = _offset(request.headers.get(OFFSET, "0"))
    picture, size, had = await _folder(state).take(sha256, _until_cut(request), offset)
    stored = StoredPhoto(sha256=sha256, size_bytes=size, picture=picture, had=had)
    return Response(stored, status_code=200 if had else 201)


@get(PATH, responses={**PROBLEMS, 200: _PICTURE})
async def get_photo(state: State, sha256: Sha256) -> File:
    """The picture itself, to be kept by the browser for ever."""
    return _answer(state, sha256)


@head(PATH, responses={**PROBLEMS, 200: _PICTURE})
async def head_photo(state: State, sha256: Sha256) -> File:
    """Whether the picture is here, and how large it is. Where the line was cut on its way, the answer is 404
    with the header Upload-Offset: so many of its first bytes need not be sent again.
    """
    return _answer(state, sha256)


async def _until_cut(request: Request[Any, Any, Any]) -> AsyncIterator[bytes]:
    try:
        async for chunk in request.stream():
            yield chunk
    except InternalServerException as error:  # the framework's word for a client that went away
        raise LineCut from error


def _offset(given: str) -> int:
    if not given.isascii() or not given.isdecimal() or int(given[:20]) > LARGEST_BYTES:
        raise Refusal(400, Problem(
            code="wrong_value", message="This is no place in a picture.", where=f"the header {OFFSET}",
            given=shown(given), expected=f"a whole number from 0 to {LARGEST_BYTES}", example=f"{OFFSET}: 0",
        ))
    return int(given)


def _folder(state: State) -> PhotoFolder:
    return state.photos


def _answer(state: State, sha256: str) -> File:
    path = _folder(state).find(sha256)
    if path is None:
        raise Refusal(404, Problem(
            code="no_such_photo", message="This picture is not here. Its record may have come before it.",
            where="the path", given=shown(sha256), expected="the SHA-256 of a picture that was sent",
            example="send it with PUT to this address",
        ), {OFFSET: str(here)} if (here := _folder(state).has_of(sha256)) else None)
    return File(path, media_type=_mime_of(path), content_disposition_type="inline", headers={"Cache-Control": FOR_EVER})


def _mime_of(path: Any) -> str:
    """By the file's first bytes; only checked pictures lie in the folder."""
    with path.open("rb") as file:
        begin = file.read(4)
    if begin == b"RIFF":
        return "image/webp"
    return "image/png" if begin == b"\x89PNG" else "image/jpeg"
