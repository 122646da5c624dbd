"""Modules that are imported when they are first used, so that the page opens at once."""

import importlib
from types import ModuleType


class Late(ModuleType):
    """Stands for a module until something of it is asked for.

    Parameters
    ----------
    name
        Full name of the module.
    """

    def __getattr__(self, name: str) -> object:
        """Import the module and return what was asked for."""
        found: object = getattr(importlib.import_module(self.__name__), name)
        return found
