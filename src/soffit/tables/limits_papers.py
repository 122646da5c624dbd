"""Settings and limits of papers and quotes."""

from typing import Final

from soffit.tables.setting import Setting

ROWS: Final[tuple[Setting, ...]] = ()
