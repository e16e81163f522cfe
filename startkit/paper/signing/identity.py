"""An identity: the private key with which a person signs, and the certificate that shows whose it
is.
"""

# `Any` here: pyHanko's and asn1crypto's classes have no usable types.
from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from startkit.errors import PaperError
from startkit.facts import given_files, safe_files
from startkit.facts.safe_files import file_safe
from startkit.paper.certificates import (
    LARGEST,
    common_name,
    der_of,
    fingerprint,
    unusable_letter,
)

YEARS, BITS = 5, 3072  # strength 128 bit (NIST SP 800-57 part 1, table 2)
SHORTEST = 8  # characters of a passphrase (NIST SP 800-63B, 5.1.1.1)
ROUNDS = 600_000  # of PBKDF2-HMAC-SHA256 (OWASP Password Storage Cheat Sheet)


@dataclass(frozen=True)
class Identity:
    """A key, its certificate, and the certificates that lead from it to an authority, if there are
    any.
    """

    key: Any
    certificate: Any
    chain: tuple[Any, ...] = ()

    @property
    def name(self) -> str:
        """The person's name in the certificate."""
        return common_name(_asn1(self.certificate))

    @property
    def fingerprint(self) -> str:
        return fingerprint(der_of(self.certificate))

    @property
    def der(self) -> bytes:
        """The certificate, to be given as one that vouches for its owner."""
        return der_of(self.certificate)

    def signer(self) -> Any:
        """As pyHanko takes it."""
        from cryptography.hazmat.primitives import serialization as to
        from pyhanko.sign.signers import SimpleSigner

        key = self.key.private_bytes(to.Encoding.DER, to.PrivateFormat.PKCS8, to.NoEncryption())
        return SimpleSigner(_asn1(self.certificate), _key(key), _store(self.chain))


def new(name: str, firm: str = "", years: int = YEARS) -> Identity:
    """A new self-signed identity: RSA key of 3072 bits, certificate for signatures only.

    RSA, because a signature on a curve would mark the file as PDF 2.0 (ISO/TS 32002), which PDF/A-3
    is not.

    Parameters
    ----------
    name : str
        The person's name.
    firm : str
    years : int
        How long it may be used.

    Raises
    ------
    PaperError
        There is no name, or it is longer than a certificate allows.
    """
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes
    from cryptography.hazmat.primitives.asymmetric import rsa

    if not name.strip() or len(name) > 64 or len(firm) > 64:  # upper bounds of RFC 5280, appendix A
        raise PaperError(
            "an identity needs a name of at most 64 characters", "identity", "give it with --name"
        )
    letter = unusable_letter(name + firm)
    if letter:
        raise PaperError(
            f"the letter {letter} (U+{ord(letter):04X}) is not allowed in a certificate",
            "identity",
            "give the name in other letters with --name",
        )
    key = rsa.generate_private_key(65537, BITS)
    parts = [x509.NameAttribute(x509.NameOID.COMMON_NAME, name.strip())]
    parts += (
        [x509.NameAttribute(x509.NameOID.ORGANIZATION_NAME, firm.strip())] if firm.strip() else []
    )
    subject, now = x509.Name(parts), datetime.now(UTC).replace(microsecond=0)
    usage = x509.KeyUsage(
        digital_signature=True,
        content_commitment=True,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        key_cert_sign=False,
        crl_sign=False,
        encipher_only=False,
        decipher_only=False,
    )
    certificate = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(minutes=5))
        .not_valid_after(now + timedelta(days=round(365.25 * years)))
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(usage, critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256())
    )
    return Identity(key, certificate)


# --- files ----------------------------------------------------------------------------------------


def home() -> Path:
    """Where new identities are kept: in the person's own folder, never in a job."""
    import click

    return Path(click.get_app_dir("startkit")) / "identities"


def default_path(name: str) -> Path:
    """The file of a new identity."""
    return home() / f"{file_safe(name, 'identity')}.p12"


def save(identity: Identity, path: Path, passphrase: str) -> Path:
    """Write an identity to a PKCS#12 file that only its owner can read, and its certificate next to
    it.

    Parameters
    ----------
    identity : Identity
    path : pathlib.Path
        A file that is there already is never written over.
    passphrase : str
        At least `SHORTEST` characters.

    Raises
    ------
    PaperError
        The file is in a job's folder or exists, the passphrase is too short, or the disk refused.
    """
    from cryptography.hazmat.primitives import serialization as to

    _refuse_job(path)
    if len(passphrase) < SHORTEST:
        raise PaperError(
            f"the passphrase has fewer than {SHORTEST} characters",
            "passphrase",
            "choose a longer one, such as four words",
        )
    for each in (path, path.with_suffix(".crt")):
        _refuse_existing(each)  # before either is written: half an identity is of no use
    _write(path, _p12(identity, passphrase))
    _write(path.with_suffix(".crt"), identity.certificate.public_bytes(to.Encoding.PEM), mode=0o644)
    return path


def _p12(identity: Identity, passphrase: str) -> bytes:
    from cryptography.hazmat.primitives import hashes
    from cryptography.hazmat.primitives import serialization as to
    from cryptography.hazmat.primitives.serialization import pkcs12

    protected = (
        to.PrivateFormat.PKCS12.encryption_builder()
        .kdf_rounds(ROUNDS)
        .key_cert_algorithm(pkcs12.PBES.PBESv2SHA256AndAES256CBC)
        .hmac_hash(hashes.SHA256())
    )
    return pkcs12.serialize_key_and_certificates(
        identity.name.encode(),
        identity.key,
        identity.certificate,
        identity.chain or None,
        protected.build(passphrase.encode()),
    )


def _refuse_existing(path: Path) -> None:
    if path.exists():
        raise PaperError(
            "the file already exists", str(path), "sign with it, or choose another name"
        )


def _write(path: Path, content: bytes, mode: int = 0o600) -> None:
    """A new file with its rights from the first moment on."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        safe_files.write(path, content, mode)
    except OSError as error:
        raise PaperError(
            f"the file cannot be written ({error.strerror})", str(path), "choose another folder"
        ) from None


def load(path: Path, passphrase: str) -> Identity:
    """The identity in a PKCS#12 file.

    Raises
    ------
    PaperError
        No such file, it is in a job's folder, is not PKCS#12, the passphrase is wrong, or it holds
        no key.
    """
    from cryptography.hazmat.primitives.serialization import pkcs12

    _refuse_job(path)
    content = given_files.content(path, LARGEST)
    try:
        key, certificate, chain = pkcs12.load_key_and_certificates(content, passphrase.encode())
    except ValueError:
        raise PaperError(
            "the passphrase is wrong, or the file is not PKCS#12", str(path), "try again"
        ) from None
    if key is None or certificate is None:
        raise PaperError(
            "the file does not contain a key with its certificate",
            str(path),
            "export both together",
        )
    return Identity(key, certificate, tuple(chain))


def _refuse_job(path: Path) -> None:
    """Job folders are sent to others and kept in synchronised folders: a key has no place there."""
    from startkit.facts.job import DATABASE

    for folder in path.resolve().parents:
        if (folder / DATABASE).is_file():
            raise PaperError(
                "a key does not belong in a job's folder",
                str(path),
                "keep it in a private folder",
            )


# --- certificates ---------------------------------------------------------------------------------


def _asn1(certificate: Any) -> Any:
    from asn1crypto import x509

    return x509.Certificate.load(der_of(certificate))


def _key(der: bytes) -> Any:
    from asn1crypto import keys

    return keys.PrivateKeyInfo.load(der)


def _store(chain: tuple[Any, ...]) -> Any:
    from pyhanko_certvalidator.registry import SimpleCertificateStore

    store = SimpleCertificateStore()
    store.register_multiple([_asn1(each.certificate) for each in chain])
    return store
