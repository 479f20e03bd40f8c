"""A certificate of this workshop's own, made on its machine, so that a phone reaches the page over TLS.

It signs for itself, and for nothing but the names and addresses of this machine: whoever gets hold of its key can
vouch for no other place with it.
"""

import ipaddress
import socket
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from configurator.files.writing import write_whole
from configurator.web.server import Certificate

if TYPE_CHECKING:
    from cryptography.x509 import Certificate as Signed
    from cryptography.x509 import GeneralName

LASTS_DAYS = 800
"""Phones take none that lasts longer than 825 days (common practice, no source)."""
RENEWED_BEFORE_DAYS = 30
NAME = "tipin in this workshop"


@dataclass(frozen=True)
class OwnCertificate:
    """Files of certificate and key; its SHA-256 in pairs, to compare on a phone; whether it was made just now."""

    files: Certificate
    fingerprint: str
    made: bool


def place_of_certificate() -> Path:
    """The folder for it, beside where the book is if nobody names another."""
    from platformdirs import user_data_path

    return user_data_path("tipin", appauthor=False)


def own_certificate(folder: Path, hosts: Iterable[str]) -> OwnCertificate:
    """The certificate kept in a folder; a new one where there is none, where it does not speak for all hosts, or ends
    within RENEWED_BEFORE_DAYS. Raises BadInput where it cannot be written."""
    from cryptography.hazmat.primitives.hashes import SHA256

    files = Certificate(folder / "page-certificate.crt", folder / "page-key.pem")
    wanted = {"localhost", "127.0.0.1", "::1", *hosts}
    kept = _kept(files, wanted)
    signed = kept or _made(files, wanted)
    return OwnCertificate(files, signed.fingerprint(SHA256()).hex(":").upper(), kept is None)


def _kept(files: Certificate, wanted: set[str]) -> "Signed | None":
    """What is there, if it will do."""
    from cryptography.x509 import SubjectAlternativeName, load_pem_x509_certificate

    try:
        signed = load_pem_x509_certificate(files.certificate.read_bytes())
        spoken_for = signed.extensions.get_extension_for_class(SubjectAlternativeName).value
        files.check()
    except Exception:  # whatever is wrong with it, another one mends it
        return None
    ends_soon = signed.not_valid_after_utc < datetime.now(UTC) + timedelta(days=RENEWED_BEFORE_DAYS)
    return None if ends_soon or not wanted <= {str(name.value) for name in spoken_for} else signed


def _made(files: Certificate, wanted: set[str]) -> "Signed":
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

    key = ec.generate_private_key(ec.SECP256R1())
    called = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, f"{NAME} ({socket.gethostname()[:30]})")])
    now = datetime.now(UTC)
    readings = (ipaddress.ip_address, ipaddress.ip_network)
    names, limits = ([_named(host, read) for host in sorted(wanted)] for read in readings)
    signed = (
        x509.CertificateBuilder()
        .subject_name(called)
        .issuer_name(called)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))  # a phone's clock may be behind
        .not_valid_after(now + timedelta(days=LASTS_DAYS))
        .add_extension(x509.SubjectAlternativeName(names), critical=False)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(x509.NameConstraints(limits, None), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(
            x509.KeyUsage(
                digital_signature=True, key_cert_sign=True, content_commitment=False, key_encipherment=False,
                data_encipherment=False, key_agreement=False, crl_sign=False, encipher_only=False, decipher_only=False,
            ),
            critical=True,
        )
        .sign(key, hashes.SHA256())
    )  # fmt: skip
    pem, plain = serialization.Encoding.PEM, serialization.NoEncryption()
    files.key.parent.mkdir(parents=True, exist_ok=True)
    write_whole(files.key, key.private_bytes(pem, serialization.PrivateFormat.PKCS8, plain), secret=True)
    write_whole(files.certificate, signed.public_bytes(pem))
    return signed


def _named(host: str, read: Callable[[str], Any]) -> "GeneralName":
    """A host as a certificate names it. read : of one in figures, the address itself, or the net of it alone."""
    from cryptography.x509 import DNSName, IPAddress

    try:
        return IPAddress(read(host))
    except ValueError:
        return DNSName(host)
