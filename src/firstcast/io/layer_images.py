"""Layer images as a zip of 8-bit grey PNG files with a JSON manifest: docs/layer-images.md describes it.

PNG is written here, one dynamic deflate block made for images of long runs (`kernels.deflate`), because the encoder
is what a platform of layers waits for. The zip stores the files as they are: to deflate twice gains nothing.

References
----------
PNG, third edition (W3C 2025): 5.3 chunks, 11.2.2 IHDR, 11.2.3 IDAT. RFC 1950 and 1951. APPNOTE.TXT 6.3 (zip).
"""

import hashlib
import json
import struct
import threading
import zipfile
import zlib
from collections.abc import Mapping
from typing import Any, BinaryIO

import numpy as np
import numpy.typing as npt

from firstcast.errors import InputError
from firstcast.io.write import FilePath, write_whole
from firstcast.kernels.deflate import deflate, tokens_of
from firstcast.printing.layer_plan import LayerPlan, Screen
from firstcast.printing.layering import Canvas, map_layers

MANIFEST = "manifest.json"
SCHEMA = 2
DIGEST_BYTES = 16

_ZIP_DATE = (1980, 1, 1, 0, 0, 0)
_SIGNATURE = b"\x89PNG\r\n\x1a\n"
_ZLIB_HEAD = b"\x78\x01"
_room = threading.local()


def layer_file(layer: int) -> str:
    """Name of a layer's image in the zip; the first layer is 0."""
    return f"layers/{layer:05d}.png"


def png_of(canvas: Canvas) -> bytes:
    """A canvas as a PNG file: 8-bit grey, filter none, one dynamic block."""
    height, width = canvas.screen.ny, canvas.screen.nx
    tokens = _tokens(height * (width + 1))
    levels = canvas.levels
    count, adler = tokens_of(levels, levels.view(np.uint64), width, canvas.firsts, canvas.stops, tokens)
    data = _ZLIB_HEAD + deflate(tokens, count).tobytes() + struct.pack(">I", int(adler))
    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    return b"".join((_SIGNATURE, _chunk(b"IHDR", head), _chunk(b"IDAT", data), _chunk(b"IEND", b"")))


def encode_png(image: npt.NDArray[np.uint8]) -> bytes:
    """Any (h, w) uint8 image as a PNG file, of the same bytes as a canvas that holds it.

    Raises
    ------
    InputError
        No image.
    """
    if image.ndim != 2 or image.dtype != np.uint8 or not image.size:
        raise InputError(
            f"an array {image.shape} of {image.dtype}", where="PNG", mend="Give (h, w) uint8, not empty."
        )
    canvas = Canvas(Screen(image.shape[1], image.shape[0], 1.0, 1.0))
    canvas.image[:] = image
    canvas.stops[:] = image.shape[1]
    return png_of(canvas)


def write_layers(
    path: FilePath, plan: LayerPlan, facts: Mapping[str, Any], table: list[dict[str, Any]] | None = None
) -> dict[str, Any]:
    """All images of a run and their manifest, whole or not at all; gives the manifest.

    Parameters
    ----------
    facts : mapping
        What the manifest says beside what the plan knows: see `docs/layer-images.md`.
    table : list of dict, optional
        What is known of each layer; the image's name, digest and white pixels are added.

    Raises
    ------
    InputError
        A table of another length than there are layers, or a mesh that isn't closed.
    FileError
        The file can't be written.
    """
    if table is not None and len(table) != plan.layers.count:
        raise InputError(
            f"a table of {len(table)} rows for {plan.layers.count} layers",
            where=str(path),
            mend="Give one row per layer.",
        )
    manifest: dict[str, Any] = {}

    def fill(stream: BinaryIO) -> None:
        rows = []
        with zipfile.ZipFile(stream, "w", zipfile.ZIP_STORED) as package:
            for layer, data in enumerate(map_layers(plan, lambda layer, canvas: png_of(canvas))):
                name = layer_file(layer)
                _put(package, name, data)
                digest = hashlib.blake2b(data, digest_size=DIGEST_BYTES).hexdigest()
                known = {} if table is None else table[layer]
                z = (layer + 1) * plan.layers.layer_mm
                rows.append(
                    {"layer": layer, "top_mm": round(z, 6), "image": name, "blake2b": digest, **known}
                )
            manifest.update(_manifest(plan, facts, rows))
            text = json.dumps(manifest, ensure_ascii=False, indent=1, allow_nan=False) + "\n"
            _put(package, MANIFEST, text.encode())

    write_whole(path, fill)
    return manifest


def _manifest(plan: LayerPlan, facts: Mapping[str, Any], rows: list[dict[str, Any]]) -> dict[str, Any]:
    screen = plan.screen
    return {
        "schema": SCHEMA,
        "run": plan.run.name,
        "pixels": [screen.nx, screen.ny],
        "pixel_mm": [screen.pixel_x_mm, screen.pixel_y_mm],
        "platform_mm": [round(screen.nx * screen.pixel_x_mm, 6), round(screen.ny * screen.pixel_y_mm, 6)],
        "layer_mm": plan.layers.layer_mm,
        "layer_count": plan.layers.count,
        "height_mm": round(plan.layers.count * plan.layers.layer_mm, 6),
        "section": "middle of the layer",
        "levels": "255 times the share of the pixel that is covered, rounded",
        "first_column": "greatest x" if screen.mirrored else "x = 0",
        "first_row": "y = 0",
        "mirrored": screen.mirrored,
        **facts,
        "pieces": [
            {
                "master": placement.master,
                "x_mm": placement.x_mm,
                "y_mm": placement.y_mm,
                "turn_deg": placement.turn_deg,
            }
            for placement in plan.run.placements
        ],
        "layers": rows,
    }


def _tokens(most: int) -> npt.NDArray[np.uint16]:
    """Room for tokens, one per thread, used again: what is not written to costs nothing."""
    held = getattr(_room, "tokens", None)
    if held is None or len(held) < most:
        held = _room.tokens = np.empty(most, np.uint16)
    return held


def _chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(data, zlib.crc32(kind)))


def _put(package: zipfile.ZipFile, name: str, data: bytes) -> None:
    """One file of the zip, with a fixed date so that bytes repeat."""
    info = zipfile.ZipInfo(name, _ZIP_DATE)
    info.create_system = 3
    info.external_attr = 0o644 << 16
    package.writestr(info, data)
