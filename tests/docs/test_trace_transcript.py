"""The service call in docs/how-to/trace.md is what the program says today."""

from pathlib import Path

from soffit.work.trace import advice_dict, book_of_practice, practise

PAGE = Path(__file__).resolve().parents[2] / "docs" / "how-to" / "trace.md"


def test_the_service_call_still_finds_the_short_in_four_visits() -> None:
    book, bench = book_of_practice(1, 80)
    page = PAGE.read_text(encoding="utf-8")
    opened: list[int] = []
    for _ in range(8):
        body = advice_dict(book)
        if body["next"] is None:
            break
        test = book.hunt().advice().next_test
        assert test is not None
        if test.kind == "joint":
            opened.append(test.place)
            assert f"open the joint at {body['next']['place']}" in page
        practise(book, bench, test, now="2026-01-01T00:00:00+00:00")
    assert body["outcome"] == "found"
    assert body["suspects"][0]["place"] == "L1-09"
    assert "found (100.0% certain)" in page
    assert len(opened) == 4
