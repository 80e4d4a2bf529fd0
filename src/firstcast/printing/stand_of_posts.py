"""What trees of posts are settled in: contacts and their loads, the figure, the resin."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firstcast.fields.far import FarField
from firstcast.printing.post_cost import PostCost
from firstcast.printing.prop_shapes import PropShapes
from firstcast.printing.prop_wants import Strength
from firstcast.printing.tips import Contacts


@dataclass(frozen=True)
class Stand:
    """Around one tree or many.

    Attributes
    ----------
    cases : (contacts, 3, cases) float64
        `holding.load_cases`.
    """

    contacts: Contacts
    cases: npt.NDArray[np.float64]
    far: FarField
    shapes: PropShapes
    strength: Strength
    cost: PostCost
