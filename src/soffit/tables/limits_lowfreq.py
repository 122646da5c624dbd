"""Settings and limits of the low end."""

from typing import Final

from soffit.tables.setting import Setting

ROWS: Final[tuple[Setting, ...]] = ()
