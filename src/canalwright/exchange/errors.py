"""What can go wrong on the way out, in one line: what, where, what to do."""


class ExchangeError(Exception):
    """Something cannot be written, read or de-identified; its text is fit to be shown to a user."""
