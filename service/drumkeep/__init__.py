"""Knows how warm the liquid in every drum is, and what that makes the drum fit for.

Importing the package imports nothing; the folders are layers and the files in them are nouns.
"""

__version__ = "0.1.0"
