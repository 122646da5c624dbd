"""Draw the pictures of the page: ``python docs/make_page_pictures.py``; needs chromium.

The demo job is designed in a scratch folder, opened as any job, and photographed at the three
widths that the page is held to. All of it is an invented example.
"""

import sys
import tempfile
from pathlib import Path
from typing import Any

from PIL import Image

from soffit.work.demo import make_demo
from soffit.work.make_design import make_design

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT / "tests"))
PICTURES = ROOT / "docs" / "pictures"
DESK, TABLET, PHONE = (1440, 900), (820, 1180), (390, 844)
SHOTS: tuple[tuple[str, str, tuple[int, int], str], ...] = (
    ("page-ceiling", "ceiling?room=hall", DESK, "light"),
    ("page-choices", "choices?room=hall", DESK, "light"),
    ("page-lines", "lines?line=L4", DESK, "dark"),
    ("page-survey", "survey?room=hall", TABLET, "light"),
    ("page-trace", "trace?line=L4", PHONE, "light"),
    ("page-prove", "prove?line=L4", PHONE, "light"),
)


def _save(source: Path, target: Path) -> None:
    """Keep a picture small: a palette is enough for a drawing."""
    with Image.open(source) as picture:
        picture.convert("RGB").quantize(128).save(target, optimize=True)


def _shoot(
    browser: Any,  # noqa: ANN401 - a browser of a test library
    link: str,
    shot: tuple[str, str, tuple[int, int], str],
) -> None:
    name, path, (width, height), look = shot
    context = browser.new_context(
        viewport={"width": width, "height": height}, color_scheme=look, device_scale_factor=1
    )
    page = context.new_page()
    page.goto(f"{link}/jobs/library/{path}")
    page.wait_for_timeout(2500)
    with tempfile.TemporaryDirectory() as work:
        raw = Path(work) / "raw.png"
        page.screenshot(path=raw)
        _save(raw, PICTURES / f"{name}.png")
    context.close()


def main() -> None:
    """Design the demo job, open it, take the pictures."""
    from soffit_page import chromium, served  # noqa: PLC0415 - lies beside the tests

    PICTURES.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as work:
        folder = Path(work) / "library"
        make_demo("library", folder)
        make_design(folder)
        with served(Path(work)) as server, chromium() as browser:
            for shot in SHOTS:
                _shoot(browser, server.link, shot)


if __name__ == "__main__":
    main()
