"""The shop's own certificate authority: made once, trusted by its phones, good for private names only.

Decides: an EC key on P-256, ten years, no authority below it, and critical name constraints (RFC 5280
4.2.1.10): whoever steals the key can pretend to be a machine on somebody's private network and nothing else.
It is dated two years back, so that a machine whose clock was wrong when it was made is no trouble later.
Key and certificate lie in one file that is there whole or not at all, for this user only.
"""

import datetime as dt
import os
import socket
from ipaddress import ip_network
from pathlib import Path
from typing import NamedTuple

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

from server.network.trouble import Trouble
from server.store.on_disk import make_private_folder, settle_names

FOLDER = "tls"
FILE_NAME = "authority.pem"
LIFE = dt.timedelta(days=3652)
DATED_BACK = dt.timedelta(days=730)

PRIVATE_NAMES = ("local", "lan", "internal", "home.arpa", "localhost")
"""Names that lead nowhere outside: RFC 6762, RFC 8375, RFC 6761, `internal` (ICANN 2024); `lan` is common practice."""

PRIVATE_NETWORKS = (
    "10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "169.254.0.0/16", "127.0.0.0/8", "fd00::/8", "::1/128",
)
"""RFC 1918, RFC 3927, RFC 1122, RFC 4193, RFC 4291."""


class Authority(NamedTuple):
    """The certificate that phones trust, and the key that signs the server's."""

    certificate: x509.Certificate
    key: ec.EllipticCurvePrivateKey

    @property
    def der(self) -> bytes:
        """The certificate as phones take it in."""
        return self.certificate.public_bytes(serialization.Encoding.DER)

    @property
    def fingerprint(self) -> str:
        """SHA-256 of the certificate in pairs, as phones show it."""
        return self.certificate.fingerprint(hashes.SHA256()).hex(":").upper()


def open_authority(data_dir: Path) -> Authority:
    """The shop's authority, made at the first call.

    Raises:
        Trouble: its file is there and cannot be read as one.
    """
    path = data_dir / FOLDER / FILE_NAME
    make_private_folder(path.parent)
    if not path.exists():
        made = make_authority(dt.datetime.now(dt.UTC))
        write_whole(path, in_one_file(made.key, made.certificate))
    path.chmod(0o600)
    return read_authority(path)


def read_authority(path: Path) -> Authority:
    """The authority in a file; raises like `open_authority`."""
    try:
        pem = path.read_bytes()
        key = serialization.load_pem_private_key(pem, None)
        certificate = x509.load_pem_x509_certificate(pem)
        if not isinstance(key, ec.EllipticCurvePrivateKey) or key.public_key() != certificate.public_key():
            raise ValueError("key and certificate do not belong together")
    except (OSError, ValueError) as error:
        raise Trouble(
            f"The shop's authority in {path} cannot be read: {error}.",
            "Restore it from a backup (secondprobe restore), or move the file away: then a new authority is made at the"
            " next start, and every phone must take the new one in.",
        ) from error
    return Authority(certificate, key)


def make_authority(now: dt.datetime) -> Authority:
    """A new authority."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([
        x509.NameAttribute(NameOID.COMMON_NAME, f"Second Probe, {socket.gethostname()[:40]}"),
        x509.NameAttribute(NameOID.ORGANIZATIONAL_UNIT_NAME, "private networks only"),
    ])
    permitted: list[x509.GeneralName] = [x509.DNSName(each) for each in PRIVATE_NAMES]
    permitted += [x509.IPAddress(ip_network(each)) for each in PRIVATE_NETWORKS]
    usage = x509.KeyUsage(
        digital_signature=False, content_commitment=False, key_encipherment=False, data_encipherment=False,
        key_agreement=False, key_cert_sign=True, crl_sign=True, encipher_only=False, decipher_only=False,
    )
    certificate = (
        x509.CertificateBuilder()
        .subject_name(name).issuer_name(name).public_key(key.public_key()).serial_number(x509.random_serial_number())
        .not_valid_before(now - DATED_BACK).not_valid_after(now - DATED_BACK + LIFE)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(usage, critical=True)
        .add_extension(x509.NameConstraints(permitted, None), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256())
    )
    return Authority(certificate, key)


def in_one_file(key: ec.EllipticCurvePrivateKey, *certificates: x509.Certificate) -> bytes:
    """A key and certificates as PEM, one after another."""
    kept = serialization.PrivateFormat.PKCS8
    pem = key.private_bytes(serialization.Encoding.PEM, kept, serialization.NoEncryption())
    return pem + b"".join(each.public_bytes(serialization.Encoding.PEM) for each in certificates)


def write_whole(path: Path, content: bytes) -> None:
    """The file is there whole or as it was, whatever happens meanwhile; readable by this user only."""
    fresh = path.with_suffix(".new")
    fresh.unlink(missing_ok=True)
    with os.fdopen(os.open(fresh, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600), "wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    fresh.replace(path)
    settle_names(path.parent)
