"""Settings and limits of reading plan files."""

from typing import Final

from soffit.tables.setting import Setting

ROWS: Final[tuple[Setting, ...]] = ()
