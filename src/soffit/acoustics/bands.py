"""Octave bands 63 Hz to 8 kHz: their names, their exact mid-band frequencies, their order.

References
----------
IEC 61260-1:2014, 5.2 to 5.5: exact mid-band frequencies by powers of 10^(3/10), nominal labels.
"""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from soffit.errors import DomainError

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

BAND_LABELS: Final = ("63", "125", "250", "500", "1k", "2k", "4k", "8k")
"""Nominal labels; every array with an axis ``n_bands`` is in this order."""

BAND_TEXT: Final = tuple(
    f"{x.removesuffix('k')} {'kHz' if 'k' in x else 'Hz'}" for x in BAND_LABELS
)
"""Labels with their unit, for people."""

BAND_HZ: Final = (63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0)
"""Nominal frequencies. [Hz]"""

MID_HZ: Final[tuple[float, ...]] = tuple(1000.0 * 10.0 ** (0.3 * n) for n in range(-4, 4))
"""Exact mid-band frequencies. [Hz]"""

N_BANDS: Final = len(BAND_LABELS)

SPEECH_BANDS: Final = slice(1, N_BANDS)
"""The seven bands 125 Hz to 8 kHz of the speech transmission index."""


def band_index(band: float | str) -> int:
    """Place of a band on the band axis.

    Parameters
    ----------
    band
        Nominal frequency in hertz (4000) or label ("4k", "4 kHz", "4000").

    Returns
    -------
    int
        Index, 0 for 63 Hz.

    Raises
    ------
    DomainError
        If it is none of the eight octave bands.

    Examples
    --------
    >>> band_index(4000), band_index("4 kHz"), band_index("125 Hz")
    (6, 6, 1)
    """
    text = str(band).lower().replace("hz", "").replace(" ", "").removesuffix(".0")
    for index, (label, nominal) in enumerate(zip(BAND_LABELS, BAND_HZ, strict=True)):
        if text in {label, f"{nominal:.0f}"}:
            return index
    msg = f"there is no octave band {band!r}"
    raise DomainError(
        msg, where="band", why=f"the bands are {', '.join(BAND_LABELS)}", do="choose one of these"
    )


def per_band(values: object, name: str) -> FloatArray:
    """Return ``values`` as eight finite numbers, one per band; a scalar counts for all.

    Parameters
    ----------
    values
        A number or eight of them.
    name
        What to call it in errors.

    Returns
    -------
    (n_bands,)
        Values.

    Raises
    ------
    DomainError
        If there are not one or eight of them, or one is not a number.
    """
    array = np.asarray(values, dtype=np.float64)
    if array.shape not in {(), (1,), (N_BANDS,)}:
        msg = f"{name} has shape {array.shape}"
        raise DomainError(
            msg,
            where=name,
            why=f"one value or {N_BANDS} are wanted, for {', '.join(BAND_TEXT)}",
            do="give every octave band, or one number for all",
        )
    if not np.all(np.isfinite(array)):
        missing = [
            label
            for label, value in zip(BAND_TEXT, np.broadcast_to(array, (N_BANDS,)), strict=True)
            if not np.isfinite(value)
        ]
        msg = f"{name} is not a number in the band {', '.join(missing)}"
        raise DomainError(msg, where=name, why="every band needs a value", do="fill the band in")
    return np.broadcast_to(array, (N_BANDS,)).astype(np.float64)
