"""A whole small company to look at: a client of the service from the outside."""
