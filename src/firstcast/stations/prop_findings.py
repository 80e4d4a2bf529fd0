"""What prop tells the maker: what is still without hold, what bears too much, where marks will be."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firstcast.findings import Finding, Measure
from firstcast.geometry.mesh import Mesh, measure_solid
from firstcast.geometry.whereabouts import where
from firstcast.printing.propping import Standing
from firstcast.printing.runs_of_posts import Runs, runs_of
from firstcast.printing.starts import START
from firstcast.printing.ways import FOOT, REST, TIP
from firstcast.vocabulary import Verdict

MOST_TOLD = 10
"""Places that are told one by one; the rest are counted."""

ROUGH_TOLD = 0.15
"""A mark counts as on detail if the normals within half a millimetre differ so much: their mean is shorter than one by
this, as across an edge of about 60 degrees."""

USE_TOLD = 1.0 + 1e-9
"""Sizing ends at 1 where there is room: this is what rounding leaves."""


@dataclass(frozen=True)
class Held:
    """A piece with its props, and how to say where a place of it is on the figure.

    Attributes
    ----------
    piece : str
    mesh : Mesh
        The master, in the figure's axes.
    standing : Standing
    turn, to_figure : (3, 3) float64
        From the master to the printer's axes; from the master to the figure.
    """

    piece: str
    mesh: Mesh
    standing: Standing
    turn: npt.NDArray[np.float64]
    to_figure: npt.NDArray[np.float64]

    def figure_mm(self, place) -> tuple[float, float, float]:
        """A place of the standing piece, on the figure."""
        x, y, z = self.to_figure @ self.turn.T @ (np.asarray(place, np.float64) - self.standing.offset_mm)
        return float(x), float(y), float(z)

    def where(self, place) -> str:
        """The same in the maker's words."""
        master = self.turn.T @ (np.asarray(place, np.float64) - self.standing.offset_mm)
        return where(self.mesh, (float(master[0]), float(master[1]), float(master[2])))

    @property
    def neck_use(self) -> float:
        """Greatest load of a neck, bending counted, over what it may bear."""
        return float((self.standing.loads_n / self.standing.bears_n).max(initial=0.0))

    @property
    def bending_use(self) -> float:
        """Greatest stress of a post over what it may bear."""
        return float(self.standing.strong.bending.max(initial=0.0))

    @property
    def buckling_use(self) -> float:
        """Greatest pressing load of a post over what it may bear."""
        return float(self.standing.strong.buckling.max(initial=0.0))

    @property
    def sway_use(self) -> float:
        """Greatest load of a whole tree of posts over what it may bear before it buckles."""
        return max(self.standing.sways.values(), default=0.0)

    @property
    def props_mm3(self) -> float:
        """Resin of the props."""
        return measure_solid(self.standing.props).volume

    @property
    def saving(self) -> float:
        """Share of the resin of plain columns that isn't spent."""
        plain = self.standing.plain_mm3
        return 1.0 - self.props_mm3 / plain if plain > 0.0 else 0.0

    def _count(self, kind: int) -> int:
        return sum(one == kind for one in self.standing.ways.kinds)

    @property
    def feet(self) -> int:
        """On the platform."""
        return self._count(FOOT)

    @property
    def rests(self) -> int:
        """On the figure."""
        return self._count(REST)

    @property
    def runs(self) -> Runs:
        """Unbranched posts."""
        ways = self.standing.ways
        return runs_of(ways, np.array(ways.places).reshape(-1, 3))

    @property
    def posts(self) -> int:
        """Runs of props between tips, joints and ends; struts as short as a tip left out."""
        kinds = np.array(self.standing.ways.kinds)
        return sum(bool((kinds[nodes] != TIP).any()) for nodes in self.runs.nodes)

    @property
    def on_detail(self) -> npt.NDArray[np.bool_]:
        """(n,) which tips mark detail."""
        contacts = self.standing.contacts
        return ~contacts.on_tab & (contacts.rough > ROUGH_TOLD)

    @property
    def precious(self) -> npt.NDArray[np.bool_]:
        """(n,) which tips are in a precious zone."""
        return ~self.standing.contacts.on_tab & (self.standing.contacts.rough > 1.0)


def findings_of(held: Held) -> tuple[Finding, ...]:
    """What a person should know, the gravest first."""
    return (
        *_bare(held),
        *_overhangs(held),
        *_necks(held),
        *_posts(held),
        *_trees(held),
        *_resting(held),
        *_on_precious(held),
    )


def _bare(held: Held) -> list[Finding]:
    """What still starts in mid-air: geometry, whatever the resin."""
    sites = held.standing.left
    rows = np.flatnonzero(sites.kinds == START)
    rows = rows[np.argsort(-sites.areas_mm2[rows], kind="stable")]
    out = []
    for row in rows[:MOST_TOLD]:
        place, area = sites.places_mm[row], float(sites.areas_mm2[row])
        more = (
            f" {len(rows) - MOST_TOLD} more places are alike."
            if row == rows[0] and len(rows) > MOST_TOLD
            else ""
        )
        out.append(
            Finding(
                "prop", "bare-start", Verdict.STOP, held.piece,
                f"{held.where(place)}: a region of {area:.3f} mm² begins with nothing under it, {place[2]:.2f} mm over the "
                f"platform, and no tip reaches it.{more}",
                "Stand the piece otherwise, lower [prop] clearance_mm or tip_mm, or fill the gap under it in the sculpture.",
                place_mm=held.figure_mm(place), measured=area, limit=0.0, unit="mm2", worse="high",
            )
        )  # fmt: skip
    return out


def _overhangs(held: Held) -> list[Finding]:
    sites = held.standing.left
    rows = np.flatnonzero(sites.kinds != START)
    if not len(rows):
        return []
    place = sites.places_mm[rows[0]]
    return [
        Finding(
            "prop", "long-overhang", Verdict.WATCH, held.piece,
            f"{len(rows)} undersides stand out farther than the resin bears, the lowest {held.where(place)}.",
            "Stand the piece otherwise, or give [prop] more rounds or a longer reach_mm.",
            place_mm=held.figure_mm(place), measured=float(len(rows)), limit=0.0, unit="count", worse="high",
        )
    ]  # fmt: skip


def _necks(held: Held) -> list[Finding]:
    standing = held.standing
    use = standing.loads_n / standing.bears_n
    over = np.flatnonzero(use > USE_TOLD)
    if not len(over):
        return []
    worst = over[use[over].argmax()]
    return [
        Finding(
            "prop", "weak-tip", Verdict.WATCH, held.piece,
            f"{len(over)} tips may break off while the piece is printed; the worst, {held.where(standing.contacts.places_mm[worst])}, "
            f"is pulled and bent as hard as by {standing.loads_n[worst]:.2f} N along it, and a neck of "
            f"{standing.contacts.diameters_mm[worst]:.2f} mm of the weakest resin may bear {standing.bears_n[worst]:.2f} N.",
            "Raise [prop] tip_most_mm, stand the piece so that less hangs on it, or give your own resin's green strength.",
            place_mm=held.figure_mm(standing.contacts.places_mm[worst]), measured=float(use[worst]), limit=1.0, unit="ratio",
            worse="high",
        )
    ]  # fmt: skip


def _posts(held: Held) -> list[Finding]:
    strong, ways = held.standing.strong, held.standing.ways
    use = strong.use
    over = np.unique(held.runs.number[use > USE_TOLD])
    if not len(over):
        return []
    worst = int(use.argmax())
    does = "bend" if strong.bending[worst] >= strong.buckling[worst] else "buckle"
    return [
        Finding(
            "prop", "weak-post", Verdict.WATCH, held.piece,
            f"{len(over)} posts have no room to be as thick as they should; the worst, {2 * strong.radii_mm[worst]:.2f} mm thick "
            f"{held.where(ways.places[worst])}, may {does}: {use[worst]:.1f} times what the weakest resin may bear.",
            "Lower [prop] clearance_mm, stand the piece otherwise, or give your own resin's green modulus and strength.",
            place_mm=held.figure_mm(ways.places[worst]), measured=float(use[worst]), limit=1.0, unit="ratio", worse="high",
        )
    ]  # fmt: skip


def _trees(held: Held) -> list[Finding]:
    sways, ways = held.standing.sways, held.standing.ways
    over = [root for root, use in sways.items() if use > USE_TOLD]
    if not over:
        return []
    worst = max(over, key=lambda root: sways[root])
    return [
        Finding(
            "prop", "swaying-tree", Verdict.WATCH, held.piece,
            f"{len(over)} props that go down as one may give way sideways as a whole, though each of their posts is thick enough by "
            f"itself; the worst stands {held.where(ways.places[worst])}: {sways[worst]:.1f} times what the weakest resin may bear.",
            "Raise [prop] post_mm, stand the piece otherwise, or give your own resin's green modulus.",
            place_mm=held.figure_mm(ways.places[worst]), measured=sways[worst], limit=1.0, unit="ratio", worse="high",
        )
    ]  # fmt: skip


def _resting(held: Held) -> list[Finding]:
    ways = held.standing.ways
    rests = [node for node, kind in enumerate(ways.kinds) if kind == REST]
    if not rests:
        return []
    place = ways.places[min(rests, key=lambda node: float(ways.places[node][2]))]
    return [
        Finding(
            "prop", "rests-on-figure", Verdict.WATCH, held.piece,
            f"{'One prop stands' if len(rests) == 1 else f'{len(rests)} props stand'} on the figure itself, since no way leads "
            f"from there down to the platform, and leaves a mark at either end. The lowest: {held.where(place)}.",
            "Fill narrow gaps in the sculpture, make the overhanging part a piece of its own, or stand the piece otherwise.",
            place_mm=held.figure_mm(place), measured=float(len(rests)), limit=0.0, unit="count", worse="high",
        )
    ]  # fmt: skip


def _on_precious(held: Held) -> list[Finding]:
    rows = np.flatnonzero(held.precious)
    if not len(rows):
        return []
    place = held.standing.contacts.places_mm[rows[0]]
    return [
        Finding(
            "prop", "marks-precious", Verdict.WATCH, held.piece,
            f"{'One tip stands' if len(rows) == 1 else f'{len(rows)} tips stand'} in a precious zone, since nothing near holds what begins there: {held.where(place)}.",
            "Stand the piece so that the zone faces away from the platform, or narrow the zone.",
            place_mm=held.figure_mm(place), measured=float(len(rows)), limit=0.0, unit="count", worse="high",
        )
    ]  # fmt: skip


def says_of(held: Held) -> str:
    """The station's line on the route card."""
    tips = len(held.standing.contacts)
    starts = held.standing.left.starts
    bare = "nothing starts bare" if not starts else f"{starts} regions still start bare"
    return (
        f"{tips} tips on {held.feet} feet; {bare}; {held.props_mm3:.0f} mm³ of resin, {100 * held.saving:.0f} % less than plain "
        "columns"
    )


def measures_of(held: Held) -> tuple[Measure, ...]:
    """The figures of the report."""
    standing = held.standing
    contacts = standing.contacts
    return (
        Measure("tips", float(len(contacts)), "count", f"{int(contacts.on_tab.sum())} of them on the tab"),
        Measure(
            "feet", float(held.feet), "count", f"on the platform; {held.rests} props stand on the figure"
        ),
        Measure(
            "resin of props",
            held.props_mm3,
            "mm3",
            f"plain columns under the same tips: {standing.plain_mm3:.0f} mm³",
        ),
        Measure("resin saved", held.saving, "ratio", "against plain columns"),
        Measure(
            "marks on detail",
            float(held.on_detail.sum()),
            "count",
            f"{int(held.precious.sum())} in precious zones",
        ),
        Measure(
            "greatest load of a tip", held.neck_use, "ratio", "of what its neck may bear, bending counted"
        ),
        Measure("greatest bending of a post", held.bending_use, "ratio", "of what it may bear"),
        Measure("nearest to buckling", held.buckling_use, "ratio", "of what it may bear"),
        Measure("nearest to buckling as a whole", held.sway_use, "ratio", "of what a tree may bear"),
        Measure(
            "bare starts",
            float(standing.left.starts),
            "count",
            f"in the layers with props; looked at {standing.rounds} times",
        ),
        Measure(
            "flecks", float(standing.flecks), "count", "regions too small to cure, with nothing under them"
        ),
    )
