"""Draw the pictures of these pages: `python docs/physics/draw.py`, or with the names of some of them."""

import argparse
from collections.abc import Callable
from pathlib import Path

from drawing import carry, filling, films, light, mould, props, relieve, strength

PICTURES: dict[str, Callable[[], str]] = {
    "light": light.picture,
    "films": films.picture,
    "filling": filling.picture,
    "carry": carry.picture,
    "strength": strength.picture,
    "props": props.picture,
    "mould": mould.picture,
    "relieve": relieve.picture,
}


def main() -> None:
    """Write the SVG of every page that is named, or of all, beside the page."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("pages", nargs="*", default=list(PICTURES), metavar="PAGE", help=", ".join(PICTURES))
    pages = parser.parse_args().pages
    if unknown := sorted(set(pages) - set(PICTURES)):
        parser.error(f"no picture of {', '.join(unknown)}; there are {', '.join(PICTURES)}")
    for page in pages:
        file = Path(__file__).with_name(f"{page}.svg")
        file.write_text(PICTURES[page](), encoding="utf-8", newline="\n")
        print(f"{file.name}: {file.stat().st_size / 1000:.1f} kB")


if __name__ == "__main__":
    main()
