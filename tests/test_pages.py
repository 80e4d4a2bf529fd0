"""Links between the pages lead somewhere, and pages of physics have pictures that say what the models say."""

import re
from importlib import import_module
from pathlib import Path
from xml.etree import ElementTree

import pytest

ROOT = Path(__file__).parents[1]
PAGES = sorted([*ROOT.glob("*.md"), *ROOT.glob("docs/**/*.md"), *ROOT.glob("benchmarks/*.md")])
PHYSICS = ROOT / "docs" / "physics"


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


@pytest.mark.parametrize("page", sorted(PHYSICS.glob("*.md")), ids=lambda page: page.name)
def test_every_page_of_physics_begins_with_a_picture(page):
    """In words too, for those who can't see it: at least twenty letters."""
    begins = re.split(r"^## ", page.read_text(encoding="utf-8"), flags=re.MULTILINE)[0]
    assert re.search(r"^!\[[^\]]{20,}\]\([^)\s]+\)$", begins, re.MULTILINE)


def labels(svg):
    """Words of a picture with the box of each: left, top, right, foot, in pixels."""
    for text in ElementTree.fromstring(svg).iter("{http://www.w3.org/2000/svg}text"):
        x, y, size, wide = (float(text.attrib[key]) for key in ("x", "y", "font-size", "textLength"))
        left = x - wide * {"start": 0.0, "middle": 0.5, "end": 1.0}[text.attrib["text-anchor"]]
        # capitals of the lettering are 0.7 of its size high
        yield text.text, (left, y - 0.7 * size, left + wide, y)


@pytest.mark.parametrize("picture", sorted(PHYSICS.glob("*.svg")), ids=lambda picture: picture.name)
def test_pictures_are_small_and_their_labels_stand_clear(picture):
    svg = picture.read_text(encoding="utf-8")
    assert len(svg) < 40_000
    root = ElementTree.fromstring(svg)
    found = list(labels(svg))
    assert found
    for words, (left, top, right, foot) in found:
        inside = (
            min(left, top) >= 0
            and right <= float(root.attrib["width"])
            and foot <= float(root.attrib["height"])
        )
        assert inside, words
    for number, (words, one) in enumerate(found):
        for others, two in found[:number]:
            apart = one[2] < two[0] or two[2] < one[0] or one[3] < two[1] or two[3] < one[1]
            assert apart, (words, others)


@pytest.mark.parametrize("page", ["light", "films", "filling", "strength", "props"])
def test_pictures_say_what_the_models_say(page, monkeypatch):
    """All words and figures of a picture that is drawn now; that of carry takes too long."""
    monkeypatch.syspath_prepend(PHYSICS)
    drawn = import_module(f"drawing.{page}").picture()
    stored = (PHYSICS / f"{page}.svg").read_text(encoding="utf-8")
    assert [words for words, _ in labels(drawn)] == [words for words, _ in labels(stored)]
