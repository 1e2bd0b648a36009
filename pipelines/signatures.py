"""Ed25519 signatures of bundles, so that nobody else can replace what a contributor gave."""

import json
from dataclasses import dataclass
from pathlib import Path

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from analytics.errors import InputError

KEY_FOLDER = "club_keys"


@dataclass(frozen=True)
class Signature:
    """Public key and signature of the manifest's bytes, both in hexadecimal."""

    public_key: str
    signature: str


def sign(data_folder: Path, contributor: str, content: bytes) -> Signature:
    """Signs with the contributor's own key, made on first use and kept in the data folder for its owner's eyes only."""
    path = data_folder / KEY_FOLDER / f"{contributor}.key"
    if path.exists():
        key = Ed25519PrivateKey.from_private_bytes(path.read_bytes())
    else:
        key = Ed25519PrivateKey.generate()
        path.parent.mkdir(mode=0o700, exist_ok=True)
        path.touch(mode=0o600)
        path.write_bytes(key.private_bytes_raw())
    return Signature(key.public_key().public_bytes_raw().hex(), key.sign(content).hex())


def has_key(data_folder: Path, contributor: str) -> bool:
    """Whether the contributor has signed before."""
    return (data_folder / KEY_FOLDER / f"{contributor}.key").exists()


def check_signature(told: bytes, content: bytes) -> str:
    """The public key, if the signature is that key's over the content; InputError otherwise."""
    try:
        read = json.loads(told)
        found = Signature(str(read["public_key"]), str(read["signature"]))
        key = Ed25519PublicKey.from_public_bytes(bytes.fromhex(found.public_key))
        key.verify(bytes.fromhex(found.signature), content)
    except (InvalidSignature, ValueError, TypeError, KeyError, RecursionError) as error:
        raise InputError("The signature does not match: the file was changed after it was signed. Refused.") from error
    return found.public_key
