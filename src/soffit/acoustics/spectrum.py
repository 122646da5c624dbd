"""Programme spectra: speech, pink noise and music as octave levels re their own dBA."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from soffit.acoustics.bands import FloatArray
from soffit.acoustics.weighting import level_dba
from soffit.decibel import power_ratio, power_ratio_db
from soffit.tables.load import load_table

Edition = Literal[5, 4]
Programme = Literal["speech", "speech-4", "pink", "music"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Spectrum:
    """Octave levels of a programme re its A-weighted level.

    Parameters
    ----------
    name
        Short name.
    level_db : (n_bands,)
        Octave level less A-weighted level; -inf where the programme has nothing. [dB]
    source
        Where the shape was printed, or "common practice".
    """

    name: str
    level_db: FloatArray
    source: str

    def octaves_db(self, level_dba: float) -> FloatArray:
        """Octave levels of the programme at an A-weighted level.

        Parameters
        ----------
        level_dba
            A-weighted level of the whole. [dB]

        Returns
        -------
        (n_bands,)
            Octave levels. [dB]
        """
        return np.asarray(self.level_db + level_dba)


def _normalised(levels: FloatArray) -> FloatArray:
    shape = levels - level_dba(levels)
    shape.flags.writeable = False
    return np.asarray(shape)


def speech_spectrum(edition: Edition = 5) -> Spectrum:
    """Octave levels of speech as the speech transmission index uses them.

    The printed shape is kept as it is: its A-weighted sum is 0.0 dB within the rounding of the
    standard (0.02 dB for edition 5), so no second normalisation is done. 63 Hz carries nothing.

    Parameters
    ----------
    edition
        Edition of IEC 60268-16: 5 (2020) or 4 (2011, male).

    Returns
    -------
    Spectrum
        Octave levels re dBA.

    References
    ----------
    IEC 60268-16:2020 and :2011, Table A.3.

    Examples
    --------
    >>> speech_spectrum().level_db.tolist()[1:4]
    [-2.5, 0.5, 0.0]
    """
    table = load_table("speech_spectrum")
    levels = np.array([-np.inf, *table.values(f"edition_{edition}_db")])
    levels.flags.writeable = False
    return Spectrum(
        name=f"speech, IEC 60268-16 edition {edition}",
        level_db=levels,
        source=table.source.cite(),
    )


def pink_spectrum() -> Spectrum:
    """Pink noise over the eight octaves: the same level in each.

    Returns
    -------
    Spectrum
        Octave levels re dBA.

    Notes
    -----
    Equal power per octave is the definition of pink noise; nothing is counted outside 63 Hz to
    8 kHz octaves.

    Examples
    --------
    >>> float(pink_spectrum().octaves_db(70.0).round(1)[0])
    63.0
    """
    return Spectrum(
        name="pink noise", level_db=_normalised(np.zeros(8)), source="definition, derived here"
    )


def music_spectrum() -> Spectrum:
    """Long-term shape of popular music, a habit and no standard.

    Returns
    -------
    Spectrum
        Octave levels re dBA.
    """
    table = load_table("music_spectrum")
    return Spectrum(
        name="music",
        level_db=_normalised(np.array(table.values("level_db"))),
        source=table.source.cite().strip() or "common practice, no source",
    )


def spectrum(programme: Programme) -> Spectrum:
    """Return a programme spectrum by name.

    Parameters
    ----------
    programme
        "speech" (edition 5), "speech-4", "pink" or "music".

    Returns
    -------
    Spectrum
        Octave levels re dBA.
    """
    makers = {
        "speech": speech_spectrum,
        "speech-4": lambda: speech_spectrum(4),
        "pink": pink_spectrum,
        "music": music_spectrum,
    }
    return makers[programme]()


def programme_gain_db(*, spectrum_level_db: FloatArray, sensitivity_db: FloatArray) -> FloatArray:
    """Share of each octave in one electrical watt of programme, as a level re that watt.

    Parameters
    ----------
    spectrum_level_db : (n_bands,)
        Octave levels of the ELECTRICAL programme in any reference. [dB]
    sensitivity_db : (n_bands,)
        Only its shape is used, to leave out bands that are -inf. [dB re 20 µPa at 1 m, 1 W]

    Returns
    -------
    (n_bands,)
        10 lg of each octave's share; the shares sum to one. [dB]

    Notes
    -----
    Derived here: P_b = P 10^(L_b/10) / sum 10^(L/10). One watt of programme is spread over the
    octaves; one watt in EACH octave would be eight watts.

    Examples
    --------
    >>> import numpy as np
    >>> flat = np.zeros(8)
    >>> share = programme_gain_db(spectrum_level_db=flat, sensitivity_db=flat)
    >>> float(share[0].round(2))
    -9.03
    """
    used = np.where(np.isfinite(sensitivity_db), power_ratio(spectrum_level_db), 0.0)
    return power_ratio_db(used / np.sum(used))
