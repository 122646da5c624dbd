"""Settings and limits of ceilings, mounting and clearances."""

from typing import Final

from soffit.tables.setting import Setting

ROWS: Final[tuple[Setting, ...]] = ()
