"""The plain page that gets a phone in, on a port of its own: the only thing that is served without TLS.

Decides: that nothing but this page and the authority is answered here, to the shop's own network only; that
the page runs no script and no style but its own two (by their hash), and reaches nothing but the app's
secure address, to test it (where a policy can name that; an IPv6 address it cannot).
"""

import base64
import hashlib
import plistlib
import uuid
from html import escape
from pathlib import Path
from string import Template
from typing import Any

from cryptography.x509.oid import NameOID

from server.access.access import Access
from server.access.elsewhere import can_be_in_policy
from server.access.guard import refusal_for
from server.access.qr import as_path, qr_rows
from server.network.authority import Authority
from server.network.welcome_pictures import pictures
from server.store.database import clock_ms

HERE = Path(__file__).parent
QUIET = 4
"""Light modules around a QR code (ISO/IEC 18004)."""


class Welcome:
    """An ASGI application. `access` is the app's own, for its addresses as they are at each request."""

    def __init__(self, access: Access, authority: Authority, page_port: int) -> None:
        self.authority = authority
        self._access, self._port = access, page_port
        self._page = Template((HERE / "welcome.html").read_text(encoding="utf-8"))
        self._style = (HERE / "welcome.css").read_text(encoding="utf-8")
        self._script = (HERE / "welcome.js").read_text(encoding="utf-8")
        [name] = authority.certificate.subject.get_attributes_for_oid(NameOID.COMMON_NAME)
        self._pictures = pictures(str(name.value))

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        """One connection; no lifespan, no websocket."""
        if scope["type"] != "http":
            await receive()
            await send({"type": "websocket.close", "code": 1008})
            return
        status, kind, body, extra = self._answer(scope)
        headers = [
            (b"content-type", kind.encode()), (b"content-length", str(len(body)).encode()),
            (b"content-security-policy", self.policy().encode()), (b"x-content-type-options", b"nosniff"),
            (b"referrer-policy", b"no-referrer"), (b"cache-control", b"no-store"), *extra,
        ]
        await send({"type": "http.response.start", "status": status, "headers": headers})
        await send({"type": "http.response.body", "body": b"" if scope["method"] == "HEAD" else body})

    def policy(self) -> str:
        """What the page may do."""
        style, script = (
            "'sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode() + "'"
            for text in (self._style, self._script)
        )
        app = self._access.addresses[0]
        tested = app if can_be_in_policy(app) else "https:"
        return (
            f"default-src 'none'; style-src {style}; script-src {script}; connect-src {tested}; "
            "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
        )

    def page_address(self) -> str:
        """Where this page is, by the same name as the app."""
        host = self._access.addresses[0].removeprefix("https://")
        bare = host if host.endswith("]") or ":" not in host else host.rpartition(":")[0]
        return f"http://{bare}:{self._port}"

    def _answer(self, scope: Any) -> tuple[int, str, bytes, list[tuple[bytes, bytes]]]:
        plain = "text/plain; charset=utf-8"
        if problem := refusal_for(scope, self._access.doors):
            return 403, plain, f"{problem.message}\n".encode(), []
        if scope["method"] not in ("GET", "HEAD"):
            return 405, plain, b"Only to be read.\n", [(b"allow", b"GET, HEAD")]
        match scope["path"]:
            case "/":
                return 200, "text/html; charset=utf-8", self._html().encode(), []
            case "/authority.crt":
                name = b'attachment; filename="second-probe-authority.crt"'
                return 200, "application/x-x509-ca-cert", self.authority.der, [(b"content-disposition", name)]
            case "/authority.mobileconfig":
                return 200, "application/x-apple-aspen-config", profile(self.authority), []
            case _:
                return 404, plain, b"There is only the page at / here, and the authority it hands out.\n", []

    def _html(self) -> str:
        app, page = self._access.addresses[0], self.page_address()
        former = [each for each in self._access.former if each != app]
        moved = "".join(
            f'<p class="warn">The shop was at <span class="address">{escape(each)}</span> before. If this phone'
            " has the app from there, open that one first. Where it says that the shop has another address, its work"
            " comes here by itself. Else press &quot;Hand everything over as one file&quot; under The shop, and take"
            " the file in in the new one.</p>" for each in former[:3]
        )
        return self._page.substitute(
            style=self._style, script=self._script, app=escape(app), page=escape(page), moved=moved,
            fingerprint=self.authority.fingerprint.replace(":", ":<wbr>"), server_ms=clock_ms(),
            page_qr=_qr(page, "This page's address"), app_qr=_qr(app, "The app's address"), **self._pictures,
        )


def profile(authority: Authority) -> bytes:
    """The authority as a configuration profile: what an iPhone's Settings take in."""
    [name] = authority.certificate.subject.get_attributes_for_oid(NameOID.COMMON_NAME)
    mark = authority.fingerprint.replace(":", "").lower()
    identifier = f"local.secondprobe.authority.{mark[:16]}"

    def named(part: str) -> str:
        return str(uuid.uuid5(uuid.NAMESPACE_OID, f"{identifier} {part}")).upper()

    return plistlib.dumps({
        "PayloadType": "Configuration", "PayloadVersion": 1, "PayloadIdentifier": identifier,
        "PayloadUUID": named("profile"), "PayloadDisplayName": str(name.value),
        "PayloadDescription": "Lets this phone trust the shop's own server. Good for private networks only.",
        "PayloadContent": [{
            "PayloadType": "com.apple.security.root", "PayloadVersion": 1, "PayloadIdentifier": f"{identifier}.root",
            "PayloadUUID": named("root"), "PayloadDisplayName": str(name.value),
            "PayloadCertificateFileName": "second-probe-authority.crt", "PayloadContent": authority.der,
        }],
    })


def _qr(text: str, words: str) -> str:
    rows = qr_rows(text)
    side = len(rows) + 2 * QUIET
    return (
        f'<svg viewBox="0 0 {side} {side}" width="220" height="220" role="img" aria-label="{words}"'
        f' shape-rendering="crispEdges"><rect width="{side}" height="{side}" fill="#fff"/>'
        f'<path transform="translate({QUIET} {QUIET})" d="{as_path(rows)}" fill="#000"/></svg>'
    )
