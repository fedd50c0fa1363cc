"""Every table, one module per noun; importing the package knows them all.

An ``id`` has the default None so that the database gives it; a stored row always has one.
"""

import importlib
import pkgutil

# Before any table: a constraint takes its name when its table is made.
import drumkeep.storage.naming  # noqa: F401

# Found, not listed: a module forgotten in a list would be missing from the schema and say nothing.
for _module in pkgutil.iter_modules(__path__):
    importlib.import_module(f"{__name__}.{_module.name}")
