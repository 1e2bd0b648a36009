"""A fit that is due starts by itself, in a process of its own; nobody at the bench waits for it."""

import os
from contextlib import suppress

from analytics.errors import InputError
from dashboards import data

# A workshop that fits at night, by `faultodds fit`, sets this to by_hand.
REFIT_VARIABLE, BY_HAND = "FAULTODDS_REFIT", "by_hand"


def start_when_due() -> None:
    """After the page is drawn: a look at the tickets since the fit, once for each state of the store."""
    if os.environ.get(REFIT_VARIABLE) != BY_HAND:
        # what keeps a fit from being read is told by the page itself
        with suppress(InputError):
            data.refit_when_due()
