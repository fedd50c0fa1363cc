"""Keys of tables whose rows come and go by the million."""

from typing import Final

from sqlalchemy import BigInteger, Integer

BIG: Final = BigInteger().with_variant(Integer(), "sqlite")
"""Counted up to 64 bits on both; SQLite does so for what is called INTEGER, and nothing else."""
