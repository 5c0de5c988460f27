"""The certificate a running server shows: loaded, looked at again, changed without a connection being dropped.

A context that is loaded anew shows the new certificate from the next handshake on; connections that stand
keep theirs. What is new is first tried on a context of its own, so a bad file leaves the running one alone.
"""

import datetime as dt
import ssl
from pathlib import Path

from server.network.authority import open_authority
from server.network.leaf import Host, hosts_in, keep_leaf, read_certificate
from server.network.trouble import Trouble


class OwnAuthority:
    """A certificate signed by the shop's own authority."""

    def __init__(self, data_dir: Path) -> None:
        self.authority = open_authority(data_dir)
        self.context = _context()
        self._data_dir = data_dir
        self._loaded = False

    def names_first(self) -> list[Host]:
        """Nothing: the certificate is for whatever addresses there are."""
        return []

    def refresh(self, hosts: list[Host]) -> bool:
        """Sees to it that the certificate is good now for all `hosts`; gives whether another one is shown since."""
        path, made = keep_leaf(self._data_dir, self.authority, hosts, dt.datetime.now(dt.UTC))
        if made or not self._loaded:
            self.context.load_cert_chain(path)
            self._loaded = True
        return made


class OwnCertificate:
    """A certificate that somebody else signed and renews, in two files."""

    def __init__(self, certificate: Path, key: Path) -> None:
        self.context = _context()
        self._files = (certificate, key)
        self._seen: tuple[int, ...] = ()

    def refresh(self, _hosts: list[Host]) -> bool:
        """Loads the files where they have changed; gives whether they had.

        Raises:
            Trouble: they cannot be read, or do not belong together.
        """
        try:
            seen = tuple(path.stat().st_mtime_ns for path in self._files)
            if seen == self._seen:
                return False
            _context().load_cert_chain(*self._files)
            self.context.load_cert_chain(*self._files)
        except (OSError, ssl.SSLError) as error:
            certificate, key = self._files
            raise Trouble(
                f"The certificate {certificate} and the key {key} cannot be used together: {_why(error)}.",
                "Give the whole chain and the key that belongs to it, both as PEM, readable by this user.",
            ) from error
        self._seen = seen
        return True

    def names_first(self) -> list[Host]:
        """What the certificate is for, since only by that do phones trust it; `*.shop.lan` names nobody."""
        certificate = read_certificate(self._files[0])
        return [host for host in hosts_in(certificate) if "*" not in str(host)] if certificate else []


def _why(error: OSError) -> str:
    """OpenSSL's reasons in words; an SSLError is an OSError too."""
    if not isinstance(error, ssl.SSLError):
        return f"{error.filename}: {error.strerror}"
    if error.reason == "KEY_VALUES_MISMATCH":
        return "the key belongs to another certificate"
    return "one of them is not PEM, or not what it should be"


def _context() -> ssl.SSLContext:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    return context
