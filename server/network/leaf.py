"""The server's own certificate: signed by the shop's authority, made anew by itself.

Decides: at most 397 days (what phones ask of certificates is 398 or 825, by who signed them), made anew
30 days before its end, when an address or name is not in it, or when this machine's clock stands outside
its time. Key and certificate are one file, so a power cut leaves the old pair or the new one.
"""

import datetime as dt
from collections.abc import Iterable
from ipaddress import IPv4Address, IPv6Address
from pathlib import Path

from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from server.network.authority import FOLDER, PRIVATE_NAMES, Authority, in_one_file, write_whole
from server.network.trouble import Trouble

FILE_NAME = "server.pem"
LIFE = dt.timedelta(days=397)
DATED_BACK = dt.timedelta(days=1)
RENEWED_BEFORE_END = dt.timedelta(days=30)

Host = IPv4Address | IPv6Address | str


def keep_leaf(data_dir: Path, authority: Authority, hosts: Iterable[Host], now: dt.datetime) -> tuple[Path, bool]:
    """The file of a certificate that is good now for all `hosts`, and whether it was made anew.

    Raises:
        Trouble: this machine's clock stands outside the authority's time.
    """
    if not authority.certificate.not_valid_before_utc <= now < authority.certificate.not_valid_after_utc:
        raise Trouble(
            f"This machine's clock says {now:%Y-%m-%d %H:%M} UTC, and the shop's authority is good from"
            f" {authority.certificate.not_valid_before_utc:%Y-%m-%d} to"
            f" {authority.certificate.not_valid_after_utc:%Y-%m-%d}.",
            "Set the clock (timedatectl set-ntp true). If the clock is right, move tls/authority.pem away: a new"
            " authority is made, and every phone must take it in.",
        )
    path, wanted = data_dir / FOLDER / FILE_NAME, list(hosts)
    if _why_not(path, authority, wanted, now) is None:
        return path, False
    key = ec.generate_private_key(ec.SECP256R1())
    write_whole(path, in_one_file(key, sign(authority, key.public_key(), wanted, now), authority.certificate))
    return path, True


def sign(
    authority: Authority, key: ec.EllipticCurvePublicKey, hosts: Iterable[Host], now: dt.datetime,
) -> x509.Certificate:
    """A server certificate for `hosts`."""
    begin = now - DATED_BACK
    end = min(begin + LIFE, authority.certificate.not_valid_after_utc)
    usage = x509.KeyUsage(
        digital_signature=True, content_commitment=False, key_encipherment=False, data_encipherment=False,
        key_agreement=False, key_cert_sign=False, crl_sign=False, encipher_only=False, decipher_only=False,
    )
    names = [x509.DNSName(each) if isinstance(each, str) else x509.IPAddress(each) for each in hosts]
    return (
        x509.CertificateBuilder()
        .subject_name(x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Second Probe, the shop's server")]))
        .issuer_name(authority.certificate.subject)
        .public_key(key).serial_number(x509.random_serial_number()).not_valid_before(begin).not_valid_after(end)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(usage, critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectAlternativeName(names), critical=False)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key), critical=False)
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_public_key(authority.key.public_key()), critical=False
        )
        .sign(authority.key, hashes.SHA256())
    )


def read_certificate(path: Path) -> x509.Certificate | None:
    """The first certificate in a file of PEM; None where there is none to be read."""
    try:
        return x509.load_pem_x509_certificate(path.read_bytes())
    except (OSError, ValueError):
        return None


def hosts_in(certificate: x509.Certificate) -> list[Host]:
    """The names and addresses a certificate is for, in its own order."""
    try:
        names = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except x509.ExtensionNotFound:
        return []
    return [*names.get_values_for_type(x509.DNSName), *names.get_values_for_type(x509.IPAddress)]  # type: ignore[list-item]


def is_private_name(name: str) -> bool:
    """Whether the shop's authority can sign for this name."""
    return any(name == each or name.endswith(f".{each}") for each in PRIVATE_NAMES)


def _why_not(path: Path, authority: Authority, wanted: list[Host], now: dt.datetime) -> str | None:
    """Why the certificate in the file will not do, or None."""
    certificate = read_certificate(path)
    if certificate is None:
        return "there is none"
    try:
        certificate.verify_directly_issued_by(authority.certificate)
    except (ValueError, TypeError, InvalidSignature):
        return "another authority signed it"
    if not certificate.not_valid_before_utc <= now < certificate.not_valid_after_utc - RENEWED_BEFORE_END:
        return "its time is over, or not yet come"
    if missing := set(wanted) - set(hosts_in(certificate)):
        return f"{', '.join(sorted(map(str, missing)))} not in it"
    return None
