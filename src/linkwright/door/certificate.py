"""The certificate of this machine: made once, kept in the user's data folder, vouched for by nobody but its key.

A telephone warns of it once; the fingerprints, on the page Connect and in the terminal, tell whether it is this
laptop that it speaks to. When the laptop gets another address a certificate for it is made with the same key.
"""

from __future__ import annotations

import base64
import contextlib
import datetime
import ipaddress
import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from linkwright.shoot.errors import InputError

#: Browsers refuse longer ones of public authorities (398 days); it is made anew so long before its end.
LASTS: Final = datetime.timedelta(days=397)
BEFORE: Final = datetime.timedelta(days=30)
#: Clocks of telephones may be slow.
EARLIER: Final = datetime.timedelta(days=1)
#: So many names are kept: a laptop that goes back to an address that it had is known there still.
MOST_NAMES: Final = 24


@dataclass(frozen=True, slots=True)
class Certificate:
    """The two files, and the SHA-256 of the key (its SubjectPublicKeyInfo, RFC 7469) and of the certificate."""

    key_file: Path
    file: Path
    key_sha256: bytes
    sha256: bytes
    made: bool


def certificate_of(folder: Path, names: Sequence[str], now: datetime.datetime) -> Certificate:
    """The certificate for these names and addresses, made where there is none that serves. Raises InputError."""
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        key = _key(folder / "key.pem")
        file = folder / "certificate.pem"
        there = _there(file, key)
        made = there is None or not _serves(there, names, now)
        if there is None or made:
            known = [] if there is None else _names(there)
            there = _signed(key, list(dict.fromkeys([*names, *known]))[:MOST_NAMES], now)
            _write(file, there.public_bytes(serialization.Encoding.PEM), 0o644)
    except OSError as error:
        raise InputError(f"cannot be used ({error.strerror})", path=str(folder)) from None
    digest = hashes.Hash(hashes.SHA256())
    digest.update(_public(key))
    return Certificate(folder / "key.pem", file, digest.finalize(), there.fingerprint(hashes.SHA256()), made)


def grouped(digest: bytes) -> str:
    """A fingerprint as people compare it: hexadecimal, in groups of four."""
    text = digest.hex()
    return " ".join(text[n : n + 4] for n in range(0, len(text), 4))


def pin(digest: bytes) -> str:
    """A fingerprint as programs take it (base64)."""
    return base64.b64encode(digest).decode()


def _key(file: Path) -> ec.EllipticCurvePrivateKey:
    if file.exists():
        if file.stat().st_mode & 0o077:
            file.chmod(0o600)
        try:
            key = serialization.load_pem_private_key(file.read_bytes(), None)
        except (ValueError, TypeError):
            key = None
        if not isinstance(key, ec.EllipticCurvePrivateKey):
            says = "is no key of this program; move it away, and another is made, of which telephones warn anew"
            raise InputError(says, path=str(file))
        return key
    new = ec.generate_private_key(ec.SECP256R1())
    form, none = serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    _write(file, new.private_bytes(serialization.Encoding.PEM, form, none), 0o600)
    return new


def _write(file: Path, data: bytes, mode: int) -> None:
    """Beside its place, then named: never half a file, and never readable by others on the way."""
    half = file.with_name(f".{file.name}.{os.getpid()}.half")
    descriptor = os.open(half, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, mode)
    try:
        with os.fdopen(descriptor, "wb") as out:
            out.write(data)
        half.rename(file)
    finally:
        with contextlib.suppress(OSError):
            half.unlink(missing_ok=True)


def _public(key: ec.EllipticCurvePrivateKey) -> bytes:
    form = serialization.PublicFormat.SubjectPublicKeyInfo
    return key.public_key().public_bytes(serialization.Encoding.DER, form)


def _there(file: Path, key: ec.EllipticCurvePrivateKey) -> x509.Certificate | None:
    """The certificate that is kept, where it is one of this key."""
    try:
        certificate = x509.load_pem_x509_certificate(file.read_bytes())
    except (OSError, ValueError):
        return None
    return certificate if certificate.public_key() == key.public_key() else None


def _names(certificate: x509.Certificate) -> list[str]:
    try:
        there = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except x509.ExtensionNotFound:
        return []
    return [str(name.value) for name in there]


def _serves(certificate: x509.Certificate, names: Sequence[str], now: datetime.datetime) -> bool:
    begun = certificate.not_valid_before_utc <= now
    return begun and now < certificate.not_valid_after_utc - BEFORE and set(names) <= set(_names(certificate))


def _signed(key: ec.EllipticCurvePrivateKey, names: Sequence[str], now: datetime.datetime) -> x509.Certificate:
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Linkwright on this laptop")])
    usage = x509.KeyUsage(True, False, False, False, False, False, False, False, False)
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - EARLIER)
        .not_valid_after(now - EARLIER + LASTS)
        .add_extension(x509.SubjectAlternativeName([_general(name) for name in names]), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(usage, critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .sign(key, hashes.SHA256())
    )


def _general(name: str) -> x509.GeneralName:
    try:
        return x509.IPAddress(ipaddress.ip_address(name))
    except ValueError:
        return x509.DNSName(name)
