"""The shop's authority is good for private names only, its certificates are short-lived and renew themselves.

OpenSSL is the judge: another hand than the library that makes them.
"""

import datetime as dt
import ipaddress
import stat
import subprocess
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import Encoding

from server.network.authority import Authority, in_one_file, make_authority, open_authority, write_whole
from server.network.leaf import Host, keep_leaf, read_certificate, sign
from server.network.trouble import Trouble

NOW = dt.datetime(2026, 11, 28, 12, tzinfo=dt.UTC)
HOSTS: list[Host] = [ipaddress.ip_address("192.168.1.20"), "probe.lan"]
DAY = dt.timedelta(days=1)


@pytest.fixture
def authority() -> Authority:
    return make_authority(NOW)


def verdict(folder: Path, authority: Authority, leaf: x509.Certificate, *asked: str) -> str:
    """What `openssl verify` says of the certificate; "OK" when it is good."""
    (folder / "ca.pem").write_bytes(authority.certificate.public_bytes(Encoding.PEM))
    (folder / "leaf.pem").write_bytes(leaf.public_bytes(Encoding.PEM))
    done = subprocess.run(
        ["openssl", "verify", "-x509_strict", "-purpose", "sslserver", "-attime", str(int(NOW.timestamp())), *asked,
         "-CAfile", str(folder / "ca.pem"), str(folder / "leaf.pem")],
        capture_output=True, text=True, check=False,
    )
    return "OK" if done.returncode == 0 else done.stdout + done.stderr


def leaf_for(authority: Authority, *hosts: Host) -> x509.Certificate:
    return sign(authority, ec.generate_private_key(ec.SECP256R1()).public_key(), hosts, NOW)


@pytest.mark.parametrize(("host", "asked"), [
    ("probe.lan", "-verify_hostname"), ("bench.local", "-verify_hostname"), ("a.home.arpa", "-verify_hostname"),
    ("x.internal", "-verify_hostname"), ("localhost", "-verify_hostname"), ("192.168.1.20", "-verify_ip"),
    ("10.0.0.5", "-verify_ip"), ("172.20.1.1", "-verify_ip"), ("127.0.0.1", "-verify_ip"), ("fd00::2", "-verify_ip"),
])
def test_openssl_takes_a_private_name(tmp_path: Path, authority: Authority, host: str, asked: str) -> None:
    given = host if asked == "-verify_hostname" else ipaddress.ip_address(host)
    assert verdict(tmp_path, authority, leaf_for(authority, given), asked, host) == "OK"


@pytest.mark.parametrize("host", [
    "www.example.com", "example.org", "lan.example.com", "8.8.8.8", "172.32.0.1", "2001:db8::1", "11.0.0.1",
])
def test_openssl_refuses_a_foreign_name_signed_by_the_authority(
    tmp_path: Path, authority: Authority, host: str
) -> None:
    is_address = host[-1].isdigit()
    leaf = leaf_for(authority, ipaddress.ip_address(host) if is_address else host)
    told = verdict(tmp_path, authority, leaf, "-verify_ip" if is_address else "-verify_hostname", host)
    assert "permitted subtree violation" in told


def test_openssl_refuses_an_authority_below_the_shops(tmp_path: Path, authority: Authority) -> None:
    key = ec.generate_private_key(ec.SECP256R1())
    below = (
        x509.CertificateBuilder().subject_name(x509.Name([])).issuer_name(authority.certificate.subject)
        .public_key(key.public_key()).serial_number(7).not_valid_before(NOW - DAY).not_valid_after(NOW + DAY)
        .add_extension(x509.BasicConstraints(ca=True, path_length=None), critical=True)
        .sign(authority.key, hashes.SHA256())
    )
    made = Authority(below, key)
    (tmp_path / "below.pem").write_bytes(below.public_bytes(Encoding.PEM))
    told = verdict(tmp_path, authority, leaf_for(made, "probe.lan"), "-untrusted", str(tmp_path / "below.pem"))
    assert told != "OK"


def test_a_certificate_lives_397_days_at_most_and_no_longer_than_its_authority(authority: Authority) -> None:
    leaf = leaf_for(authority, *HOSTS)
    assert leaf.not_valid_after_utc - leaf.not_valid_before_utc == dt.timedelta(days=397)
    late = authority.certificate.not_valid_after_utc - 5 * DAY
    key = ec.generate_private_key(ec.SECP256R1()).public_key()
    assert sign(authority, key, HOSTS, late).not_valid_after_utc == authority.certificate.not_valid_after_utc


def test_it_is_kept_while_it_is_good_and_made_anew_when_it_is_not(tmp_path: Path) -> None:
    authority, now = open_authority(tmp_path), dt.datetime.now(dt.UTC)
    path, made = keep_leaf(tmp_path, authority, HOSTS, now)
    first = path.read_bytes()
    assert made and keep_leaf(tmp_path, authority, HOSTS, now) == (path, False)
    assert keep_leaf(tmp_path, authority, HOSTS[:1], now) == (path, False), "one address fewer is no reason"
    assert keep_leaf(tmp_path, authority, HOSTS, now + 365 * DAY) == (path, False)
    assert keep_leaf(tmp_path, authority, HOSTS, now + 367 * DAY) == (path, True), "30 days before its end"
    assert keep_leaf(tmp_path, authority, HOSTS, now) == (path, True), "the clock was set right: not valid yet"
    assert keep_leaf(tmp_path, authority, [*HOSTS, "other.lan"], now) == (path, True)
    path.write_bytes(first[: len(first) // 2])
    assert keep_leaf(tmp_path, authority, HOSTS, now) == (path, True), "half a file, as a power cut leaves it"
    other = make_authority(now)
    write_whole(tmp_path / "tls" / "authority.pem", in_one_file(other.key, other.certificate))
    assert keep_leaf(tmp_path, open_authority(tmp_path), HOSTS, now) == (path, True), "another authority"
    certificate = read_certificate(path)
    assert certificate is not None and certificate.issuer == other.certificate.subject


@pytest.mark.parametrize("days", [-366, 366])
def test_a_clock_a_year_off_when_the_authority_is_made_is_no_trouble_afterwards(tmp_path: Path, days: int) -> None:
    authority = make_authority(NOW + days * DAY)
    leaf = sign(authority, ec.generate_private_key(ec.SECP256R1()).public_key(), ["probe.lan"], NOW)
    assert verdict(tmp_path, authority, leaf, "-verify_hostname", "probe.lan") == "OK"


def test_a_clock_outside_the_authoritys_time_is_told_with_the_next_step(tmp_path: Path) -> None:
    authority = open_authority(tmp_path)
    with pytest.raises(Trouble, match="clock says 1999") as told:
        keep_leaf(tmp_path, authority, HOSTS, dt.datetime(1999, 1, 1, tzinfo=dt.UTC))
    assert "timedatectl" in told.value.do


def test_keys_are_for_this_user_only_and_the_authority_is_made_once(tmp_path: Path) -> None:
    first = open_authority(tmp_path)
    keep_leaf(tmp_path, first, HOSTS, dt.datetime.now(dt.UTC))
    assert open_authority(tmp_path).certificate == first.certificate
    assert isinstance(first.key.curve, ec.SECP256R1)
    assert stat.S_IMODE((tmp_path / "tls").stat().st_mode) == 0o700
    for path in (tmp_path / "tls").iterdir():
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
    constraints = first.certificate.extensions.get_extension_for_class(x509.NameConstraints)
    assert constraints.critical and constraints.value.excluded_subtrees is None


def test_an_authority_that_cannot_be_read_is_told_and_left_as_it_is(tmp_path: Path) -> None:
    open_authority(tmp_path)
    path = tmp_path / "tls" / "authority.pem"
    path.write_bytes(path.read_bytes()[:300])
    spoilt = path.read_bytes()
    with pytest.raises(Trouble, match="cannot be read") as told:
        open_authority(tmp_path)
    assert "restore" in told.value.do and path.read_bytes() == spoilt
