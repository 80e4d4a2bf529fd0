"""The gauge's sheet, two pages of A4: the plaque drawn with numbered places, and what to measure at each."""

from PIL import Image

from firstcast import gauge_design as numbers
from firstcast.geometry.plaque import Plaque
from firstcast.process.kinds import cautions
from firstcast.sheets import dimensions
from firstcast.sheets._gauge_details import TALL_PX, draw_details
from firstcast.sheets._gauge_texts import PRINT_IT, PlaceText, place_texts
from firstcast.sheets.face import FAINT_INK, PAPER
from firstcast.sheets.light import LitMesh, light_mesh
from firstcast.sheets.marks import draw_shape
from firstcast.sheets.plate import DPI, PAGE_PX
from firstcast.sheets.render import Picture, render_lit
from firstcast.sheets.setting import Box, Page, text_width, wrap
from firstcast.sheets.views import FRONT, View
from firstcast.vocabulary import Verdict

MARGIN_PX, SIDE_PX, COLUMN_PX, HAIR_PX = 64, 92, 410, 1.2
PLAN_TOP_PX, VIEWS_APART_PX = 214, 68
RING_PX, TEXT_PX = 17.0, 22.0
PLAN, THREE_QUARTER = View("plan", 0.0, 90.0), View("three-quarter", 28.0, 34.0)


def draw_sheet(made: Plaque) -> tuple[Page, Page]:
    """Both pages of a plaque's sheet."""
    lit = light_mesh(made.mesh.points, made.mesh.triangles)
    places = place_texts(made.design)
    return _drawing(made, lit, places), _list(made, places)


def _heading(page: Page, made: Plaque, said: str) -> None:
    design = made.design
    right, y = page.width_px - MARGIN_PX, MARGIN_PX + 44
    name = page.text((MARGIN_PX, y), "Gauge", size_px=66)
    page.text((name.right + 26, y), said, size_px=38, colour=FAINT_INK)
    pixel = " × ".join(f"{1000 * p:g}" for p in dict.fromkeys(design.pixel_mm))
    printed = (
        f"{design.printer}, {design.resin}: pixels of {pixel} µm, layers of {1000 * design.layer_mm:g} µm"
    )
    page.text((right, y), printed, size_px=30, anchor="rs")
    page.line([(MARGIN_PX, y + 24), (right, y + 24)], width_px=2.6)
    page.line([(MARGIN_PX, y + 30), (right, y + 30)], width_px=HAIR_PX)


def _drawing(made: Plaque, lit: LitMesh, places: tuple[PlaceText, ...]) -> Page:
    """Plan above, front below it, measures and numbers on them; to the right how to print it, and the cautions."""
    page = Page(*PAGE_PX)
    _heading(page, made, "to print, to measure, to fit the process")
    low, high = made.mesh.bounds
    wide, deep, tall = (float(span) for span in high - low)
    room = PAGE_PX[0] - 2 * MARGIN_PX - SIDE_PX - COLUMN_PX - 56
    high_room = PAGE_PX[1] - PLAN_TOP_PX - VIEWS_APART_PX - MARGIN_PX - 10
    scale = dimensions.drawing_scale(min(room / wide, high_room / (deep + tall)) * 25.4 / DPI) * DPI / 25.4
    left = MARGIN_PX + SIDE_PX
    plan, at = _view(page, lit, PLAN, scale, (left, PLAN_TOP_PX), (wide, deep))
    base = PLAN_TOP_PX + deep * scale + VIEWS_APART_PX
    front, at_front = _view(page, lit, FRONT, scale, (left, base), (wide, tall))
    right = left + wide * scale
    above, beside = PLAN_TOP_PX - 34.0, left - 44.0
    dimensions.width_line(page, left, right, above, (PLAN_TOP_PX, PLAN_TOP_PX), wide, TEXT_PX)
    dimensions.height_line(page, PLAN_TOP_PX, PLAN_TOP_PX + deep * scale, beside, (left, left), deep, TEXT_PX)
    dimensions.height_line(page, base, base + tall * scale, beside, (left, left), tall, TEXT_PX)
    _rings(page, made, places, plan, at)
    _bridge_counts(page, made, front, at_front)
    said = f"drawn {scale * 25.4 / DPI:g} : 1, the front left corner cut; under each bridge, its layers"
    page.text((left, PAGE_PX[1] - MARGIN_PX + 30), said, size_px=20, colour=FAINT_INK)
    _column(page, lit, PAGE_PX[0] - MARGIN_PX - COLUMN_PX)
    return page


def _view(
    page: Page,
    lit: LitMesh,
    view: View,
    scale: float,
    corner: tuple[float, float],
    size_mm: tuple[float, float],
) -> tuple[Picture, tuple[int, int]]:
    """Draw a view with its figure's upper left corner at a pixel; gives the picture and its own corner."""
    pad = 12
    width, height = (round(span * scale) + 2 * pad for span in size_mm)
    picture = render_lit(
        lit, view=view, width_px=width, height_px=height, px_per_mm=scale, samples=3, ground=False
    )
    at = round(corner[0]) - pad, round(corner[1]) - pad
    page.image.paste(Image.fromarray(picture.rgb), at)
    return picture, at


def _rings(
    page: Page, made: Plaque, places: tuple[PlaceText, ...], plan: Picture, at: tuple[int, int]
) -> None:
    """The number of each place, in the strip behind it; of lengths, on their dimension lines."""
    for number, place in enumerate(places, start=1):
        left, _front, right, back = made.groups_mm[place.group]
        x, y = plan.projection.place([(left, back, 0.0)])[0] + at
        if place.group == "length-x":
            middle = plan.projection.place([(0.5 * (left + right), 0.0, 0.0)])[0][0] + at[0]
            spot = (middle + 96.0, PLAN_TOP_PX - 34.0)
        elif place.group == "length-y":
            spot = (
                MARGIN_PX + SIDE_PX - 44.0,
                0.5 * (y + PLAN_TOP_PX + (back * plan.projection.px_per_mm)) - 96,
            )
        elif place.group.startswith("lugs"):
            middle = plan.projection.place([(0.5 * (left + right), 0.5 * (_front + back), 0.0)])[0] + at
            spot = (float(middle[0]), float(middle[1]))
        else:
            spot = (float(x) + RING_PX, float(y) - 0.56 * plan.projection.px_per_mm)
        draw_shape(page, spot, Verdict.SOUND, RING_PX, str(number))


def _bridge_counts(page: Page, made: Plaque, front: Picture, at: tuple[int, int]) -> None:
    """The layers of each bridge, over it on the front view."""
    left, _, right, _ = made.groups_mm["bridges"]
    design, count = made.design, len(numbers.BRIDGE_LAYERS)
    post = made.post_mm
    pitch = (right - left - post) / count
    below = design.base_layers * design.layer_mm + 0.9
    for number, layers in enumerate(numbers.BRIDGE_LAYERS):
        middle = left + post + number * pitch + 0.5 * (pitch - post)
        x, y = front.projection.place([(middle, 0.0, below)])[0] + at
        text = str(layers)
        half = 0.5 * text_width(text, TEXT_PX) + 8
        page.box(Box(x - half, y - 15, x + half, y + 15), colour=PAPER)
        page.text((float(x), float(y)), text, size_px=TEXT_PX, anchor="mm")


def _column(page: Page, lit: LitMesh, left: float) -> None:
    """The plaque in the round, what to do, and the cautions."""
    y = MARGIN_PX + 92
    picture = render_lit(lit, view=THREE_QUARTER, width_px=COLUMN_PX, height_px=250, margin_px=10, samples=3)
    page.image.paste(Image.fromarray(picture.rgb), (round(left), y))
    y += 290
    page.label((left, y), "print it, measure it")
    y += 34.0
    for number, text in enumerate(PRINT_IT, start=1):
        page.text((left, y), str(number), size_px=TEXT_PX)
        y = _lines(page, text, (left + 28, y), TEXT_PX, COLUMN_PX - 28) + 8
    y += 26
    page.line([(left, y - 34), (left + COLUMN_PX, y - 34)], width_px=HAIR_PX)
    page.label((left, y), "cautions: uncured resin")
    y += 34
    for text in cautions({"photopolymer"}):
        page.disc((left + 6, y - 7), 3.2)
        y = _lines(page, text, (left + 28, y), 20.0, COLUMN_PX - 28) + 8


def _lines(page: Page, text: str, place: tuple[float, float], size: float, wide: float, colour=None) -> float:
    """A text in lines; gives the baseline below it."""
    x, y = place
    for line in wrap(text, size, wide):
        page.text((x, y), line, size_px=size, **({"colour": colour} if colour else {}))
        y += 1.2 * size
    return y


def _list(made: Plaque, places: tuple[PlaceText, ...]) -> Page:
    """Every numbered place: what to measure, what it tells, the rows of the table."""
    page = Page(*PAGE_PX)
    _heading(page, made, "what to measure at each place")
    columns, gap = 3, 52
    wide = (PAGE_PX[0] - 2 * MARGIN_PX - (columns - 1) * gap) / columns
    per = -(-len(places) // columns)
    for column in range(columns):
        x, y = MARGIN_PX + column * (wide + gap), MARGIN_PX + 132.0
        for index in range(column * per, min(len(places), (column + 1) * per)):
            y = _entry(page, made, index + 1, places[index], (x, y), wide) + 20
    top = PAGE_PX[1] - MARGIN_PX - TALL_PX - 92
    page.line([(MARGIN_PX, top - 32), (PAGE_PX[0] - MARGIN_PX, top - 32)], width_px=HAIR_PX)
    draw_details(page, (MARGIN_PX, top), PAGE_PX[0] - 2 * MARGIN_PX)
    said = (
        "Pins, holes, ridges and grooves of stepped size along both axes, and long lengths: ideas of ISO/ASTM 52902:2023 "
        "(test artefacts). The plaque is not the standard's artefact."
    )
    page.text((MARGIN_PX, PAGE_PX[1] - MARGIN_PX + 30), said, size_px=20, colour=FAINT_INK)
    return page


def _entry(
    page: Page, made: Plaque, number: int, place: PlaceText, at: tuple[float, float], wide: float
) -> float:
    x, y = at
    draw_shape(page, (x + 19, y - 9), Verdict.SOUND, 19.0, str(number))
    page.text((x + 54, y), place.title, size_px=30)
    inner = wide - 54
    y = _lines(page, place.how, (x + 54, y + 36), 24.0, inner)
    y = _lines(page, f"Tells {place.tells}.", (x + 54, y), 24.0, inner, FAINT_INK)
    rows = [spot.id for spot in made.design.spots() if spot.group == place.group]
    return _lines(page, "Rows: " + _shortened(rows), (x + 54, y), 20.0, inner, FAINT_INK)


def _shortened(rows: list[str]) -> str:
    """ridge-x-4, ridge-x-6, ridge-x-8 as ridge-x-4, 6, 8."""
    found: list[str] = []
    stem = ""
    for row in rows:
        head, _, tail = row.rpartition("-")
        found.append(tail if head == stem else row)
        stem = head
    return ", ".join(found)
