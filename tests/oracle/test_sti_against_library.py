"""STI chain against stored results of an independent open measurement library.

The library, its version and how the results were made stand in `make_sti_golden.py`; cases in
`sti_cases.py`. One case in four has a ratio only, one speech only, one speech and noise, one speech
and a ratio; one in five has random modulation instead of decays.
"""

import importlib.util
import json
from pathlib import Path

import numpy as np

from soffit.acoustics.sti import sti_from_transfer_indices, transfer_indices

HERE = Path(__file__).parent


def load_cases():
    spec = importlib.util.spec_from_file_location("sti_cases", HERE / "sti_cases.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_2000_random_cases_agree_to_1e_9():
    cases = load_cases()
    golden = json.loads((HERE / "data" / "sti_golden.json").read_text(encoding="utf-8"))
    assert golden["seed"] == cases.SEED
    assert len(golden["rows"]) == cases.N_CASES
    worst = 0.0
    for number, (value, index_sum) in enumerate(golden["rows"]):
        case = cases.case(number)
        mti = transfer_indices(
            modulation=case["modulation"],
            speech_level_db=case["speech"] or None,
            noise_level_db=case["noise"] or None,
            snr_db=case["ratio"] or None,
        )
        worst = max(
            worst,
            abs(float(sti_from_transfer_indices(mti)) - max(0.0, float(value))),
            abs(float(np.sum(mti)) - float(index_sum)),
        )
    assert worst < 1e-9
