"""Settings and limits of measuring, proving and tracing."""

from typing import Final

from soffit.tables.setting import Setting

ROWS: Final[tuple[Setting, ...]] = ()
