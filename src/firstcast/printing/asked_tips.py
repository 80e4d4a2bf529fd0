"""Tips that the layers ask for: at first, and by a later look at them with props."""

from dataclasses import replace

import numpy as np

from firstcast.printing.necks import Necks, SpareTips
from firstcast.printing.prop_ground import PropGround
from firstcast.printing.prop_shapes import PropShapes
from firstcast.printing.prop_wants import TabEnd
from firstcast.printing.starts import START, Sites
from firstcast.printing.tips import Contacts, empty_contacts, place_tips, tab_tips

DEEPER = 1.5
"""Tips that a later look asks for enter deeper by this: the first tip there was placed by the book and missed."""


def first_tips(ground: PropGround, tab: TabEnd | None) -> Contacts:
    """The tab's tips, and those of all sites that the tab doesn't take."""
    wanted, sites = ground.wanted, ground.found.sites
    on_tab = empty_contacts()
    mine = np.zeros(len(sites.layers), bool)
    if tab is not None and len(sites.layers):
        mine = tab.holds(sites.places_mm)
        starts = np.flatnonzero(mine & (sites.kinds == START))
        if len(starts):
            on_tab = tab_tips(
                tab.middle_mm, tab.along, tab.toward, tab.length_mm, tab.width_mm, wanted.shapes,
                layer_mm=wanted.layer_mm, body=int(sites.bodies[starts[0]]),
            )  # fmt: skip
    if not len(on_tab):
        mine[:] = False
    return on_tab.joined(_tips(ground, sites.only(~mine), wanted.freedom_mm))


def more_necks(ground: PropGround, sites: Sites, spare: SpareTips, necks: Necks) -> Necks:
    """Necks, and after them those of tips for what is still without hold, just where it is; of the body of what is near."""
    contacts, tips = necks.contacts, _tips(ground, sites, 0.0)
    bodies = spare.bodies_near(tips.places_mm)
    away = np.linalg.norm(tips.places_mm[:, None] - contacts.places_mm, axis=2)
    more = replace(tips, bodies=np.where(bodies > 0, bodies, contacts.bodies[away.argmin(axis=1)]))
    return necks.joined(necks_of(more, ground.wanted.shapes, DEEPER))


def _tips(ground: PropGround, sites: Sites, freedom_mm: float) -> Contacts:
    wanted, far = ground.wanted, ground.free.far
    assert far is not None
    return place_tips(sites, ground.skin, far, wanted.shapes, freedom_mm=freedom_mm, layer_mm=wanted.layer_mm)


def necks_of(contacts: Contacts, shapes: PropShapes, deeper: float) -> Necks:
    """How thick tips may get, and how deep they enter."""
    most = np.where(contacts.on_tab, shapes.tab_tip_most_mm, shapes.tip_most_mm)
    deep = np.where(contacts.on_tab, 2.0, deeper) * shapes.depth_mm
    return Necks(contacts, most, deep, np.full(len(contacts), np.inf))
