"""Hostile bytes for every reader: `python -m fuzz TARGET --seconds N` looks for inputs that end in anything but a plain refusal.

`targets` says what is read and what a refusal is, `seeds` makes small good files to start from, `corpus/` keeps the inputs that
once found something new; the tests run all of them again.
"""
