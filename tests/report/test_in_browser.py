"""Report and class in Chromium: no error, no request, nothing beyond the edge, phone and paper."""

from pathlib import Path

import pytest

from playalong.app.assessment.class_pages import class_pages
from playalong.app.assessment.classes import groups, read_one
from playalong.app.assessment.reporting import result_report
from playalong.report.html import class_page, report_page
from tests.helpers.browser import PAPER_WIDE, browser, printed, shown
from tests.helpers.result_changes import result_of

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(browser() is None, reason="there is no Chromium here"),
]

NAMES = ("<script>alert(1)</script>", "ليلى المريمية", "x" * 300)

#: The width of a small phone, in CSS pixels.
PHONE_WIDE = 360


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """The pages by what they are."""
    folder = tmp_path_factory.mktemp("results")
    paths = [result_of(folder, who, "beginner", seed=seed) for seed, who in enumerate(NAMES)]
    read = [read_one(path).result for path in paths]
    found = groups([one for one in read if one is not None])
    page = class_pages(found, [*NAMES, "y" * 200], ["z" * 200], shows_names=True)
    pages = {f"report {at}": report_page(result_report(path)) for at, path in enumerate(paths)}
    return {**pages, "class": class_page(page)}


KINDS = ("report 0", "report 1", "report 2", "class")


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("on_paper", [False, True])
def test_nothing_is_asked_for_wrong_or_beyond_the_edge(
    pages: dict[str, str], kind: str, on_paper: bool, tmp_path: Path
) -> None:
    wide = PAPER_WIDE if on_paper else PHONE_WIDE
    found = shown(pages[kind], tmp_path, wide, on_paper=on_paper)
    assert found.console == []
    assert found.requests == []
    assert found.scripts == 0
    assert found.overflow <= 0
    assert found.wide == []
    who = NAMES[int(kind[-1])] if kind != "class" else NAMES[0]
    assert who in found.text
    assert kind == "class" or found.drawings > 5


def test_a_page_that_is_at_fault_is_found(tmp_path: Path) -> None:
    """So that the checks above can fail."""
    bad = (
        "<html><head><style>@media print { div { width: 900px } }</style></head><body>"
        '<div style="width:600px">wide</div><img src="https://example.invalid/a.png">'
        "<script>console.error('wrong')</script></body></html>"
    )
    found = shown(bad, tmp_path, PHONE_WIDE)
    assert found.overflow > 0
    assert found.wide
    assert found.requests
    assert found.console
    assert found.scripts == 1


def test_it_can_be_printed(pages: dict[str, str], tmp_path: Path) -> None:
    data = printed(pages["report 0"], tmp_path)
    assert data.startswith(b"%PDF")
    assert data.count(b"/Type /Page\n") + data.count(b"/Type /Page ") >= 1
