"""Roles of people who sign in through an identity provider (OpenID Connect): e-mail address -> role."""

import re
from pathlib import Path

from analytics.errors import InputError
from pipelines.access_files import access_folder, read_private, write_private
from pipelines.access_roles import ROLES, check_role
from pipelines.settings import Settings

LONGEST_ADDRESS = 254
_ADDRESS = re.compile(r"[^@\s]+@[^@\s]+")


def name_person(settings: Settings, email: str, role: str) -> None:
    """Gives the role to whoever the provider knows by this address; InputError for what is no address or role."""
    address = email.strip().casefold()
    if len(address) > LONGEST_ADDRESS or not address.isprintable() or not _ADDRESS.fullmatch(address):
        raise InputError(f"{email!r} is no e-mail address. Write it like someone@workshop.example.")
    people = {**list_people(settings), address: check_role(role)}
    _write(settings, people)


def forget_person(settings: Settings, email: str) -> None:
    """Takes the role away; InputError when there is none."""
    people = list_people(settings)
    if people.pop(email.strip().casefold(), None) is None:
        raise InputError(f"'{email}' has no role.")
    _write(settings, people)


def list_people(settings: Settings) -> dict[str, str]:
    """E-mail address in lower case -> role."""
    entries = [(str(entry.get("email")), str(entry.get("role"))) for entry in read_private(_path(settings))]
    return {email: role for email, role in entries if role in ROLES}


def role_of_person(settings: Settings, email: str) -> str:
    """The role of this address, "" for none."""
    return list_people(settings).get(email.strip().casefold(), "")


def _path(settings: Settings) -> Path:
    return access_folder(settings) / "people.json"


def _write(settings: Settings, people: dict[str, str]) -> None:
    write_private(_path(settings), [{"email": email, "role": role} for email, role in people.items()])
