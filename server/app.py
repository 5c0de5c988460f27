"""The server as one ASGI application: edge, then the app's files, then the routes.

Decides: what stands around what, and what is open while the server runs. Nothing is answered
outside `Edge`, which holds the guard.
"""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from functools import cache
from pathlib import Path
from typing import Any

from litestar import Litestar, get
from litestar.datastructures import State
from litestar.di import Provide
from litestar.handlers import BaseRouteHandler

from server.access.access import Access
from server.access.edge import Edge
from server.api.app_files import AppFiles
from server.api.bench import give_discharge, give_overstress
from server.api.board_files import board_file, board_file_socket, send_board_file
from server.api.changes import pull_changes, push_changes
from server.api.description import describe
from server.api.edge import BODY_LIMIT_BYTES, answer_error, refuse_options
from server.api.health import health, own_version
from server.api.learning import give_closing_facts, give_honesty, give_learnt
from server.api.meters import give_meter_pair, give_meter_sheet
from server.api.opinion import give_opinion, job_opinion, job_sheet
from server.api.pairing import list_phones, make_code, me, pair, pair_here, revoke_phone
from server.api.papers import job_readings_csv, job_readings_json
from server.api.photos import get_photo, head_photo, put_photo
from server.api.pin_table import read_pin_columns, read_pin_table
from server.api.proof import give_proof
from server.api.reference_file import check_file
from server.api.shorts import give_short_rail
from server.boards.desk import BoardDesk
from server.photos.files import PhotoFolder
from server.store.database import Database
from server.sync.accept import Vocabulary
from server.sync.catch_up import apply_waiting

ROUTES: tuple[BaseRouteHandler, ...] = (
    health, give_opinion, give_discharge, give_overstress, job_sheet, job_opinion, push_changes, pull_changes,
    check_file, give_meter_sheet, give_meter_pair, put_photo, get_photo, head_photo, read_pin_table,
    read_pin_columns, send_board_file, board_file, board_file_socket, pair, pair_here, me, make_code, list_phones,
    revoke_phone, give_proof, give_short_rail, give_closing_facts, give_learnt, give_honesty,
    job_readings_csv, job_readings_json,
)


def create_app(
    data_dir: Path, app_dir: Path | None, vocabulary: Vocabulary | None = None, access: Access | None = None,
) -> Any:
    """The whole server. The record lies in `data_dir`; the built app in `app_dir`, if there is one.

    `vocabulary` is what this server can read of changes; tests give a newer one. `access` says who may
    ask; by default this machine only.
    """
    access = access or Access()
    routes = create_routes(data_dir, vocabulary or Vocabulary(), access)
    if app_dir is None or not app_dir.is_dir():
        return Edge(routes, access, lambda _path: False)
    files = AppFiles(routes, app_dir)
    return Edge(files, access, files.has)


def create_routes(data_dir: Path, vocabulary: Vocabulary, access: Access) -> Litestar:
    """The routes with the record behind them, without files and guard around them."""

    @asynccontextmanager
    async def record_open(app: Litestar) -> AsyncIterator[None]:
        database = await Database.open(data_dir)
        try:
            await apply_waiting(database, vocabulary)
            app.state.database, app.state.vocabulary = database, vocabulary
            app.state.photos, app.state.access = PhotoFolder(data_dir), access
            access.open(database)
            app.state.board_desk = desk = BoardDesk()
            yield
            await desk.close()
        finally:
            await database.close()

    description = describe_routes()

    @get("/schema/openapi.json")
    async def openapi() -> dict[str, Any]:
        return description

    return Litestar(
        [*ROUTES, openapi],
        lifespan=[record_open],
        dependencies=dict(DEPENDENCIES),
        before_request=refuse_options,
        exception_handlers={Exception: answer_error},
        request_max_body_size=BODY_LIMIT_BYTES,
        openapi_config=None,  # served by `openapi` alone: the framework's own pages load from elsewhere
        logging_config=None,  # how the server's log looks is for the command that starts it
    )


def route_paths() -> list[str]:
    """The paths of all routes, their parameters in braces."""
    return [path for route in ROUTES for path in route.paths]


@cache
def describe_routes() -> dict[str, Any]:
    """The OpenAPI document of the routes."""
    return describe(ROUTES, DEPENDENCIES, own_version())


def _the_database(state: State) -> Database:
    return state.database


def _the_vocabulary(state: State) -> Vocabulary:
    return state.vocabulary


DEPENDENCIES = {
    "database": Provide(_the_database, sync_to_thread=False),
    "vocabulary": Provide(_the_vocabulary, sync_to_thread=False),
}
"""What a route may ask for by name."""
