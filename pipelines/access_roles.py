"""What people and programs may do: the three roles of a shop."""

from collections.abc import Mapping

from analytics.errors import InputError

ROLES = ("technician", "lead", "club")
# What a role may ask for; pages of the dashboard and routes of the JSON API name the same rights.
RIGHTS: Mapping[str, frozenset[str]] = {
    "technician": frozenset({"bench", "tickets"}),
    "lead": frozenset({"bench", "tickets", "review", "model", "vocabulary", "club"}),
    "club": frozenset({"review", "club"}),
}


def may(role: str, right: str) -> bool:
    """Whether the role has the right."""
    return right in RIGHTS.get(role, frozenset())


def check_role(role: str) -> str:
    """The role again; InputError for one that does not exist."""
    if role not in ROLES:
        raise InputError(f"'{role}' is no role. Allowed: {', '.join(ROLES)}.")
    return role
