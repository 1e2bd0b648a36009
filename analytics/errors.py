"""The one exception that is worded for a person."""


class InputError(ValueError):
    """A request we refuse: the message says what was given, what is allowed and what to do."""
