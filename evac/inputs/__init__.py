"""Reading a lift folder: one module a format, and what is plausible.

This package alone reads files; it returns facts (`evac.facts`) or raises
:class:`evac.errors.InputError` with every problem of a file at once.
"""
