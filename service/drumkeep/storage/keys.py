"""What tables say of themselves beside their columns."""

from typing import Final

from sqlalchemy import BigInteger, Integer

BIG: Final = BigInteger().with_variant(Integer(), "sqlite")
"""Counted up to 64 bits on both; SQLite does so for what is called INTEGER, and nothing else."""

APPEND_ONLY: Final = "append_only"
"""In a table's ``info``: nothing in it is ever changed or deleted (``storage/append_only.py``)."""
