"""Ed25519 signatures of bundles and packs, so that nobody else can replace what a contributor or a club gave."""

import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from analytics.errors import InputError

KEY_FOLDER = "club_keys"
# The entry of a bundle or pack that holds it.
SIGNATURE = "signature.json"


@dataclass(frozen=True)
class Signature:
    """Public key and signature of the bytes, both in hexadecimal."""

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


def signature_entry(data_folder: Path, contributor: str, content: bytes, *, wanted: int) -> dict[str, bytes]:
    """The entry with the signature; {} when none is wanted (0) and the contributor never signed before."""
    # who signed once is expected to sign again: otherwise anybody could replace what was given
    if not wanted and not (data_folder / KEY_FOLDER / f"{contributor}.key").exists():
        return {}
    return {SIGNATURE: json.dumps(asdict(sign(data_folder, contributor, content)), sort_keys=True).encode()}


def signer_of(entries: Mapping[str, bytes], content: bytes) -> str:
    """The public key whose signature the entries hold, "" when nobody signed; InputError for a wrong signature."""
    return check_signature(entries[SIGNATURE], content) if SIGNATURE in entries else ""


def signer_in_words(public_key: str) -> str:
    """Who signed, or that nobody did."""
    return f"Signed by {public_key}." if public_key else "Not signed."


def refuse_other_hand(
    earlier_keys: Iterable[str], public_key: str, *, whose: str, way_out: str = "ask the contributor"
) -> None:
    """The first signature binds the later ones; InputError when another key, or nobody, signed now."""
    keys = {key for key in earlier_keys if key}
    if keys and public_key not in keys:
        found = "were signed by another key" if public_key else "were signed, and this one is not"
        raise InputError(f"Earlier {whose} {found}. Refused: {way_out}.")


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
