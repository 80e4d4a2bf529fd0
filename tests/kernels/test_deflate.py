import heapq
import io
import zlib

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from PIL import Image

from firstcast.errors import InputError
from firstcast.io.layer_images import encode_png
from firstcast.kernels.huffman import canonical_codes, code_lengths


def read_back(data: bytes) -> np.ndarray:
    with Image.open(io.BytesIO(data)) as picture:
        picture.load()
        assert picture.mode == "L"
        return np.asarray(picture)


def disc(size=(480, 640), radius=150.0):
    y, x = np.mgrid[: size[0], : size[1]]
    away = radius + 20 * np.sin(7 * np.arctan2(y - 240, x - 320)) - np.hypot(y - 240, x - 320)
    return np.round(np.clip(away, 0, 1) * 255).astype(np.uint8)


@pytest.mark.parametrize(
    "image",
    [
        np.zeros((1, 1), np.uint8),
        np.full((1, 1), 7, np.uint8),
        np.zeros((300, 1000), np.uint8),
        np.full((300, 1000), 255, np.uint8),
        np.arange(256, dtype=np.uint8).repeat(3).reshape(3, 256),
        np.random.default_rng(5).integers(0, 256, (90, 130), dtype=np.uint8),
        disc(),
    ],
    ids=["black pixel", "grey pixel", "black", "white", "all levels", "noise", "disc"],
)
def test_a_general_reader_sees_the_image(image):
    assert np.array_equal(read_back(encode_png(image)), image)


LEVELS = st.sampled_from([0, 0, 0, 0, 1, 128, 254, 255, 255, 255])


@given(arrays.arrays(np.uint8, st.tuples(st.integers(1, 9), st.integers(1, 40)), elements=LEVELS))
def test_any_small_image_survives(image):
    assert np.array_equal(read_back(encode_png(image)), image)


@settings(max_examples=30)
@given(st.lists(st.tuples(LEVELS, st.integers(1, 1100)), min_size=1, max_size=40), st.integers(1, 700))
def test_runs_of_any_length_survive(runs, width):
    flat = np.concatenate([np.full(length, level, np.uint8) for level, length in runs])
    image = np.resize(flat, (max(1, len(flat) // width), width))
    assert np.array_equal(read_back(encode_png(image)), image)


def test_zlib_reads_the_stream_to_its_end():
    image = disc()
    data = encode_png(image)
    start = data.index(b"IDAT") + 4
    stream = data[start : start + int.from_bytes(data[start - 8 : start - 4], "big")]
    reader = zlib.decompressobj()
    raw = reader.decompress(stream)
    # decompress has checked the Adler-32; nothing is left over
    assert reader.eof
    assert reader.unused_data == b""
    assert raw == np.hstack([np.zeros((len(image), 1), np.uint8), image]).tobytes()


def test_no_larger_than_zlib_makes_it_with_runs_alone():
    raw = np.hstack([np.zeros((480, 1), np.uint8), disc()]).tobytes()
    packer = zlib.compressobj(9, zlib.DEFLATED, 15, 9, zlib.Z_RLE)
    theirs = len(packer.compress(raw) + packer.flush())
    # theirs may end a block early and begin with new codes, ours has one block: within a hundredth
    assert len(encode_png(disc())) < 1.01 * theirs + 60


def test_what_is_no_image_is_refused():
    for wrong in (np.zeros((3, 3)), np.zeros((0, 3), np.uint8), np.zeros((2, 3, 3), np.uint8)):
        with pytest.raises(InputError, match="PNG"):
            encode_png(wrong)


def huffman_cost(counts) -> int:
    """Bits of a Huffman code without limit: the sum of all merged weights."""
    heap = [int(c) for c in counts if c]
    heapq.heapify(heap)
    cost = 0
    while len(heap) > 1:
        both = heapq.heappop(heap) + heapq.heappop(heap)
        cost += both
        heapq.heappush(heap, both)
    return cost


@given(st.lists(st.integers(0, 1000), min_size=2, max_size=60).filter(lambda c: sum(n > 0 for n in c) > 1))
def test_code_lengths_are_optimal_where_the_limit_is_far(counts):
    counts = np.array(counts, np.int64)
    lengths = np.zeros(len(counts), np.int64)
    code_lengths(counts, 40, lengths)
    assert ((lengths > 0) == (counts > 0)).all()
    assert (lengths * counts).sum() == huffman_cost(counts)


def best_within(counts, most):
    """Least cost of any code within a limit, by trying all non-increasing sets of lengths that fill it."""
    counts = sorted((int(c) for c in counts if c), reverse=True)

    def search(at, least, room):
        if at == len(counts):
            return 0
        best = np.inf
        for length in range(least, most + 1):
            if room >= 2 ** (most - length):
                best = min(best, counts[at] * length + search(at + 1, length, room - 2 ** (most - length)))
        return best

    return search(0, 1, 2**most)


@settings(max_examples=40)
@given(st.lists(st.integers(1, 200), min_size=2, max_size=8))
def test_code_lengths_are_the_best_within_a_near_limit(counts):
    lengths = np.zeros(len(counts), np.int64)
    code_lengths(np.array(counts, np.int64), 3, lengths)
    assert lengths.max() <= 3
    assert (lengths * counts).sum() == best_within(counts, 3)


def test_fibonacci_counts_stay_within_deflates_limit():
    counts = np.array([1, 1], np.int64)
    while len(counts) < 30:
        counts = np.append(counts, counts[-1] + counts[-2])
    lengths = np.zeros(30, np.int64)
    code_lengths(counts, 15, lengths)
    assert lengths.max() == 15
    # a code that can be read leaves no room and takes no more than there is (L. Kraft 1949)
    assert (0.5**lengths).sum() == 1.0


def test_canonical_codes_are_those_of_the_standard():
    # RFC 1951, 3.2.2: lengths (3, 3, 3, 3, 3, 2, 4, 4) give 010 011 100 101 110 00 1110 1111
    lengths, codes = np.array([3, 3, 3, 3, 3, 2, 4, 4]), np.zeros(8, np.int64)
    canonical_codes(lengths, codes)
    as_sent = [f"{code:0{length}b}"[::-1] for code, length in zip(codes, lengths, strict=True)]
    assert as_sent == ["010", "011", "100", "101", "110", "00", "1110", "1111"]
