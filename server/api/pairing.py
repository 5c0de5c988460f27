"""Phones in and out: a code for one more, the code said, who asks, the list, taking one out."""

from litestar import Request, get, post
from litestar.datastructures import State
from litestar.params import FromPath

from server.access.access import Access, pairing_link
from server.access.elsewhere import others_to_try
from server.access.pairing import Desk
from server.access.qr import qr_rows
from server.api.description import PROBLEMS
from server.api.edge import TAKES, body_of
from server.problems import Refusal, shown
from shared_models.change import Problem
from shared_models.pairing import CodeMade, CodeSaid, CodeWanted, Me, Paired, Phone, PhoneList


@post("/api/pair", status_code=200, opt={TAKES: CodeSaid}, responses=PROBLEMS)
async def pair(request: Request, state: State) -> Paired:
    """Says a code; a good one makes a phone and gives its token, which is never told again."""
    said: CodeSaid = await body_of(request)
    return await _desk(state).pair(said.code, request.scope["client"][0])  # type: ignore[index]  # the guard saw it


@post("/api/pair-here", status_code=200, responses=PROBLEMS)
async def pair_here(state: State) -> Paired:
    """On a server for one machine only, a browser on it gets in without a code; elsewhere 403."""
    return await _desk(state).pair_here()


@get("/api/me", responses=PROBLEMS)
async def me(request: Request, state: State) -> Me:
    """Which phone asks, and where the shop's server is reached."""
    access = _access(state)
    elsewhere = others_to_try(access.addresses, access.former)
    return Me(phone=_phone(request), addresses=access.addresses, elsewhere=elsewhere)


@post("/api/codes", status_code=201, opt={TAKES: CodeWanted}, responses=PROBLEMS)
async def make_code(request: Request, state: State) -> CodeMade:
    """A code for one more phone, as text and as a link to be drawn. An owner's to ask."""
    _owner(request)
    code, expires_at_ms = await _desk(state).make_code(await body_of(request))
    link = pairing_link(_access(state).addresses[0], code)
    return CodeMade(code=code, expires_at_ms=expires_at_ms, link=link, qr=qr_rows(link))


@get("/api/phones", responses=PROBLEMS)
async def list_phones(request: Request, state: State) -> PhoneList:
    """Every phone that was ever paired. An owner's to ask."""
    _owner(request)
    return PhoneList(phones=await _desk(state).list())


@post("/api/phones/{phone_id:str}/revoke", status_code=200, responses=PROBLEMS)
async def revoke_phone(request: Request, state: State, phone_id: FromPath[str]) -> Phone:
    """Takes a phone out: its token works no more. What it holds stays on it. An owner's to ask."""
    _owner(request)
    revoked = await _desk(state).revoke(phone_id)
    if revoked is None:
        raise Refusal(404, Problem(
            code="no_such_phone", message="No phone of this id was ever paired.", where="the path",
            given=shown(phone_id), expected="the id of a phone of /api/phones", example="/api/phones/PHONE-ID/revoke",
        ))
    return revoked


def _access(state: State) -> Access:
    return state.access


def _desk(state: State) -> Desk:
    return _access(state).desk


def _phone(request: Request) -> Phone:
    return request.scope["phone"]  # type: ignore[typeddict-item]  # put there by the edge


def _owner(request: Request) -> None:
    phone = _phone(request)
    if phone.role != "owner":
        raise Refusal(403, Problem(
            code="owner_only", message="Only an owner's phone may do this.", where="the header Authorization",
            given=f"the token of a {phone.role}'s phone", expected="the token of an owner's phone",
            example="ask whoever runs the shop, or use `secondprobe phones` on its PC",
        ))
