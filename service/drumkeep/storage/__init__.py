"""The only package that knows SQL."""
