"""Levels of comfort and of hearing risk: how long a level may last."""

import numpy as np
from numpy.typing import ArrayLike

from soffit.acoustics.bands import FloatArray


def allowed_hours(
    level_dba: ArrayLike, *, criterion_dba: float = 85.0, exchange_db: float = 3.0
) -> FloatArray:
    """Hours a day that a level may last before hearing is at risk.

    Parameters
    ----------
    level_dba : (...)
        A-weighted level, LAeq. [dB]
    criterion_dba
        Level allowed for eight hours. [dB]
    exchange_db
        Rise that halves the time. [dB]

    Returns
    -------
    (...)
        8 h · 2^(-(L - criterion) / exchange).

    References
    ----------
    NIOSH, Criteria for a recommended standard: occupational noise exposure, publication 98-126,
    1998 (from memory, to be confirmed).

    Examples
    --------
    >>> float(allowed_hours(94.0))
    1.0
    """
    level = np.asarray(level_dba, dtype=np.float64)
    return np.asarray(8.0 * 2.0 ** (-(level - criterion_dba) / exchange_db))
