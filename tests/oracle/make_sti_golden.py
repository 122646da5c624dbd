"""Make the stored STI results with the open measurement library phonometry.

It needs Python 3.13 and is no dependency of soffit, so its results are stored beside the script:
    python3.13 -m venv golden && golden/bin/pip install phonometry==3.3.0
    golden/bin/python tests/oracle/make_sti_golden.py
The chain of the library (edition 5, male) is called as it is; none of its code is in soffit.
"""

import json
import sys
from importlib.metadata import version
from pathlib import Path

import numpy as np


def main() -> None:
    # Here, so that collecting the tests does not need the library.
    sys.path.insert(0, str(Path(__file__).parent))
    from phonometry.hearing.sti import _sti_from_mtf
    from sti_cases import N_CASES, SEED, case

    found = []
    for number in range(N_CASES):
        wanted = case(number)
        result = _sti_from_mtf(
            np.array(wanted["modulation"]),
            snr=wanted["ratio"] or None,
            level=wanted["speech"] or None,
            ambient=wanted["noise"] or None,
        )
        found.append([repr(float(result.sti)), repr(float(np.sum(result.mti)))])
    golden = {
        "made_with": f"phonometry {version('phonometry')}, numpy {np.__version__}",
        "seed": SEED,
        "columns": ["sti", "sum of the seven transfer indices"],
        "rows": found,
    }
    path = Path(__file__).parent / "data" / "sti_golden.json"
    path.write_text(json.dumps(golden, indent=0) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
