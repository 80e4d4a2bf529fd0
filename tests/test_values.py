"""Values survive the way to disk and back, and equal values have equal digests."""

from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firstcast import values
from firstcast.errors import InputError
from firstcast.findings import Finding, Measure
from firstcast.geometry.mesh import Mesh, Part, Shell
from firstcast.ranges import Range
from firstcast.vocabulary import ShellKind, Verdict


def there_and_back(value):
    arrays = []
    tree = values.encode(value, arrays)
    return values.decode(tree, lambda number: arrays[number])


plain = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(),
    lambda inner: st.lists(inner).map(tuple) | st.dictionaries(st.text(), inner),
    max_leaves=12,
)


@given(plain)
def test_plain_values_come_back_equal(value):
    assert there_and_back(value) == value
    assert values.digest(there_and_back(value)) == values.digest(value)


def test_records_enums_ranges_and_arrays_come_back():
    mesh = Mesh(np.arange(9, dtype=np.float64).reshape(3, 3), np.array([[0, 1, 2]], dtype=np.int32))
    part = Part("hood", mesh, (Shell(ShellKind.SHEET, 0, 1, 0.4),))
    back = there_and_back(part)
    assert back.name == "hood"
    assert back.shells == part.shells
    np.testing.assert_array_equal(back.mesh.points, mesh.points)
    assert back.mesh.triangles.dtype == np.int32
    for value in (
        Range(0.1, 0.2, 0.4),
        Measure("volume", 12.5, "mm3"),
        Finding("fuse", "thin-wall", Verdict.WATCH, "hood", "Thin.", "Thicken.", (1.0, 2.0, 3.0), 0.1, 0.2),
    ):
        assert there_and_back(value) == value


def test_digest_sees_content_dtype_and_shape():
    array = np.arange(6, dtype=np.float32)
    digests = {
        values.digest(a)
        for a in (
            array,
            array.astype(np.float64),
            array.reshape(2, 3),
            array[::-1],
            np.zeros(0),
            np.zeros((0, 3)),
        )
    }
    assert len(digests) == 6
    assert values.digest((array, array)) == values.digest((array, array.copy()))


def test_digest_of_a_field_does_not_depend_on_its_neighbours():
    arrays = []
    tree = values.encode((np.ones(3), np.arange(4)), arrays)
    assert values.digest_encoded(tree["tuple"][1], arrays) == values.digest(np.arange(4))


def test_strange_things_are_refused():
    @dataclass
    class Box:
        thing: object

    with pytest.raises(InputError, match="set can't be stored"):
        values.encode(Box({1, 2}), [])
    with pytest.raises(InputError, match="none of ours"):
        values.decode({"record": "os:system", "fields": {}}, lambda number: np.zeros(1))
