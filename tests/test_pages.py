"""Links between the pages lead somewhere: to files that are there, and to headings that they have."""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PAGES = sorted([*ROOT.glob("*.md"), *ROOT.glob("docs/**/*.md"), *ROOT.glob("benchmarks/*.md")])


def anchors(page):
    """The names by which headings can be linked to: small letters, dashes for spaces, other signs left away."""
    text = re.sub(r"^```.*?^```", "", page.read_text(encoding="utf-8"), flags=re.DOTALL | re.MULTILINE)
    headings = re.findall(r"^#+ (.*)$", text, re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", heading.lower()).strip().replace(" ", "-") for heading in headings}


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.relative_to(ROOT).as_posix())
def test_links_lead_somewhere(page):
    text = re.sub(r"^```.*?^```", "", page.read_text(encoding="utf-8"), flags=re.DOTALL | re.MULTILINE)
    for target in re.findall(r"\]\(([^)\s]+)\)", text):
        if re.match(r"[a-z]+:", target):
            continue
        name, _, anchor = target.partition("#")
        file = (page.parent / name).resolve() if name else page
        assert file.exists(), target
        assert not anchor or anchor in anchors(file), target


def test_every_page_of_the_docs_is_in_their_index():
    index = (ROOT / "docs" / "README.md").read_text(encoding="utf-8")
    pages = {page.name for page in (ROOT / "docs").glob("*.md")} - {"README.md"}
    assert {name for name in pages if f"]({name})" not in index} == set()
