"""The rules of the trade: frozen dataclasses and functions, no I/O and no clock."""
