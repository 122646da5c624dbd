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
    page.wait_for_load_state("networkidle")
    _take(page, name)
    context.close()


def _take(page: Any, name: str) -> None:  # noqa: ANN401 - a page of a test library
    page.evaluate("() => document.fonts.ready")
    page.evaluate(
        "() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))"
    )
    with tempfile.TemporaryDirectory() as work:
        raw = Path(work) / "raw.png"
        page.screenshot(path=raw)
        _save(raw, PICTURES / f"{name}.png")


def _draw(browser: Any, link: str, work: Path) -> None:  # noqa: ANN401 - a browser of a test library
    """Read an invented floor, and show one of its rooms with handles on the lines of the plan."""
    from soffit_plan_drawings import floor  # noqa: PLC0415 - lies beside the tests

    document, _ = floor(5, rows=2, columns=5)
    plan = work / "invented floor.dxf"
    document.saveas(plan)
    context = browser.new_context(viewport={"width": DESK[0], "height": DESK[1]})
    page = context.new_page()
    page.goto(link)
    page.set_input_files("#plan-file-file", plan)
    page.get_by_role("button", name="Read it").click()
    page.wait_for_url("**/plan-files/*")
    for name in ("Corridor 1", "Office 8"):  # their lines lie bare under the sheet
        page.get_by_label(name, exact=True).uncheck()
    page.get_by_role("button", name="Keep these rooms").click()
    page.wait_for_url("**/survey*")
    page.wait_for_selector("#under-lines[data-shown]", state="attached")
    page.get_by_role("button", name="Move its corners").click()
    page.wait_for_selector("#say:empty", state="attached")
    _take(page, "page-draw")
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
            _draw(browser, server.link, Path(work))


if __name__ == "__main__":
    main()
