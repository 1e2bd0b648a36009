"""Tickets as a file in the Open Repair Data Standard, for those who publish or pool repair data."""

import csv
from collections.abc import Mapping
from pathlib import Path
from uuid import uuid4

import pandas as pd

from analytics.errors import InputError
from analytics.vocabulary import Vocabulary
from pipelines.history import read_tickets
from pipelines.spreadsheet_cells import defuse_frame

# Field names and words for the state of a repair as the Open Repair Alliance publishes them, in its order.
OPEN_REPAIR_FIELDS = (
    *("id", "data_provider", "country", "partner_product_category", "product_category", "product_category_id", "brand"),
    *("year_of_manufacture", "product_age", "repair_status", "repair_barrier_if_end_of_life", "group_identifier"),
    *("event_date", "problem"),
)
REPAIR_STATUS: Mapping[str, str] = {
    **{"fixed": "Fixed", "not_fixed": "Repairable", "handed_on": "End of life", "no_fault_found": "Unknown"},
}
EVERY_TICKET = 2**62


def export_open_repair(path: Path, *, store_path: Path, vocabulary: Vocabulary, country: str) -> int:
    """Writes all tickets as CSV in UTF-8; returns how many.

    Names of machines, ticket numbers and minutes stay at home: `id` is a hash. `problem` is the owner's own words.
    The standard has no field for suspects and checks. As on the way in, the symptom is the `product_category` and the
    family the `brand`.

    Parameters
    ----------
    country : code of three letters (ISO 3166-1 alpha-3), "" to leave it blank

    Raises
    ------
    InputError
        When there is no ticket, the country is no such code, or the file cannot be written.
    """
    if country and not (len(country) == 3 and country.isascii() and country.isalpha()):
        raise InputError(f"'{country}' is no country code. Give three letters, like GBR, or leave it out.")
    tickets = read_tickets(store_path, limit=EVERY_TICKET)
    if tickets.empty:
        raise InputError("There are no tickets to export yet. Run `faultodds ingest FILE` first.")
    rows = open_repair_rows(tickets, vocabulary, country=country.upper())
    aside = path.with_name(f".{uuid4().hex}.csv")
    try:
        rows.to_csv(aside, index=False, quoting=csv.QUOTE_MINIMAL, lineterminator="\n", encoding="utf-8")
        aside.replace(path)
    except OSError as error:
        raise InputError(f"'{path}' cannot be written ({error.strerror}). Give another file name.") from error
    finally:
        aside.unlink(missing_ok=True)
    return len(rows)


def open_repair_rows(tickets: pd.DataFrame, vocabulary: Vocabulary, *, country: str) -> pd.DataFrame:
    """One row a ticket with `OPEN_REPAIR_FIELDS` as text, oldest first; cells that a spreadsheet would run are defused.

    Parameters
    ----------
    tickets : frame with the columns of `sql/tickets_found.sql`
    """
    built = tickets["built_year"]
    age = tickets["opened_on"].dt.year - built
    columns = {
        "id": tickets["ticket_id"],
        "data_provider": tickets["shop"],
        "country": country,
        "product_category": tickets["symptom"].map({code: term.name for code, term in vocabulary.symptoms.items()}.get),
        "brand": tickets["family"].map({code: term.name for code, term in vocabulary.families.items()}.get).fillna(""),
        "year_of_manufacture": built.astype("str").where(built.notna(), ""),
        "product_age": age.astype("str").where(age.notna(), ""),
        "repair_status": tickets["result"].map(REPAIR_STATUS.get),
        "event_date": tickets["opened_on"].dt.strftime("%Y-%m-%d"),
        "problem": tickets["complaint"],
    }
    rows = pd.DataFrame(columns, index=tickets.index).reindex(columns=list(OPEN_REPAIR_FIELDS), fill_value="")
    rows = rows.sort_values(["event_date", "id"], ignore_index=True)
    return defuse_frame(rows)
