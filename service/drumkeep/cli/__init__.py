"""The drumkeep command."""
