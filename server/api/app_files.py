"""The built app's files, in front of the routes.

Decides: that a file with its content's hash in its address is kept by the browser for ever, and that
every other file is asked about each time, answered 304 by a hash of its content. (A date and a
length, which is the library's own mark, stay the same when a build keeps its dates.)
"""

import hashlib
import re
from pathlib import Path
from typing import Any
from wsgiref.headers import Headers

from servestatic import ServeStaticASGI

NAMED_BY_CONTENT = re.compile(r"^/assets/|^/engine/[a-z]+-[0-9a-f]{12}/")
"""Vite names every file under assets/ by content, the build every folder under engine/."""

READS = frozenset({"GET", "HEAD"})


class AppFiles:
    """An ASGI application: a GET for a file of the app is answered here, all else by `routes`.

    Only `/` leads to `index.html`; the app's own places are behind a `#`, so an unknown path is an
    error and never a page.
    """

    def __init__(self, routes: Any, app_dir: Path) -> None:
        self._routes = routes
        self._files = ServeStaticASGI(
            routes, max_age=None, allow_all_origins=False,
            mimetypes={".webmanifest": "application/manifest+json"},  # not in the library's table
            immutable_file_test=lambda _path, url: bool(NAMED_BY_CONTENT.search(url)),
            add_headers_function=_ask_each_time,
        )
        self._files.add_files(app_dir)
        index = self._files.files.get("/index.html")
        if index is not None:
            self._files.files["/"] = index

    def has(self, path: str) -> bool:
        """Whether this is the exact path of one of the app's files."""
        return path in self._files.files

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        """One connection."""
        reads = scope["type"] == "http" and scope["method"] in READS
        await (self._files if reads else self._routes)(scope, receive, send)


def _ask_each_time(headers: Headers, path: str, _url: str) -> None:
    if "Cache-Control" not in headers:  # the library has set it for the files named by content
        headers["Cache-Control"] = "no-cache"
        headers["ETag"] = f'"{hashlib.sha256(Path(path).read_bytes()).hexdigest()[:32]}"'
