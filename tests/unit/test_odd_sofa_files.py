"""Odd AES69 files: arrays of wrong shape, silence, texts; each is refused in words."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from soffit.errors import SoffitError
from soffit.work.read_directivity import read_directivity

h5py = pytest.importorskip("h5py")

DIRECTIONS = 36 * 19

ODD: dict[str, dict[str, Any]] = {
    "shapes differ": {"imag": np.zeros((1, DIRECTIONS, 7))},
    "no numbers": {"real": np.full((1, DIRECTIONS, 8), np.nan)},
    "endless": {"real": np.full((1, DIRECTIONS, 8), np.inf)},
    "silent": {"real": np.zeros((1, DIRECTIONS, 8))},
    "texts": {"real": np.array([b"x"])},
    "two dimensions": {"real": np.ones((DIRECTIONS, 8)), "imag": np.ones((DIRECTIONS, 8))},
    "no direction": {"position": np.zeros((DIRECTIONS, 3, 1)), "kind": "cartesian"},
    "one number a direction": {"position": np.zeros((3,))},
    "negative frequencies": {"n": -np.ones(8)},
    "few frequencies": {"n": np.ones(3)},
    "looks nowhere": {"view": np.zeros((1, 3))},
    "half a direction": {"view": np.zeros((2,))},
}


@pytest.mark.parametrize("name", sorted(ODD))
def test_it_is_refused_in_words(tmp_path: Path, name: str) -> None:
    azimuth, elevation = np.meshgrid(np.arange(0, 360, 10.0), np.arange(-90, 91, 10.0))
    position = np.stack([azimuth.ravel(), elevation.ravel(), np.ones(azimuth.size)], axis=1)
    values: dict[str, Any] = {
        "real": np.ones((1, DIRECTIONS, 8)),
        "imag": np.zeros((1, DIRECTIONS, 8)),
        "n": np.array([63, 125, 250, 500, 1000, 2000, 4000, 8000.0]),
        "position": position[:, :, None],
        "kind": "spherical",
    } | ODD[name]
    path = tmp_path / "odd.sofa"
    with h5py.File(path, "w") as file:
        file.attrs["SOFAConventions"] = "FreeFieldDirectivityTF"
        file["Data.Real"], file["Data.Imag"] = values["real"], values["imag"]
        file["N"] = values["n"]
        file["ReceiverPosition"] = values["position"]
        file["ReceiverPosition"].attrs["Type"] = values["kind"]
        if "view" in values:
            file["SourceView"] = values["view"]
    with pytest.raises(SoffitError) as caught:
        read_directivity(path)
    assert caught.value.problems[0].do
