"""The container of glTF 2.0, binary (.glb) or text (.gltf): its document and its buffers.

Promised lengths are held against the bytes that are there, and data beside the file are read only from its
own folder or below.
"""

import base64
import binascii
import json
import re
import struct
from pathlib import Path
from urllib.parse import unquote

from firstcast.errors import FileError
from firstcast.io._raw import LARGEST_FILE_BYTES, damaged, file_label

HARMLESS_EXTENSIONS = (
    "KHR_mesh_quantization",
    "KHR_materials_",
    "KHR_texture_",
    "KHR_lights_",
    "EXT_texture_",
)
"""Beginnings of the names of required extensions that leave the surface as it is, or are read."""


def open_gltf(path: Path) -> tuple[dict, bytes | None]:
    """The JSON document, and the binary chunk of a .glb.

    Raises
    ------
    FileError
        Not glTF 2.0, cut short, without meshes, or in need of an extension that is not read.
    """
    data = path.read_bytes()
    document, chunk = _chunks(path, data) if data[:4] == b"glTF" else (json.loads(data), None)
    if not isinstance(document, dict) or "meshes" not in document:
        raise damaged(path, "there are no meshes in the file")
    version = str(document.get("asset", {}).get("version", "2.0"))
    if not version.startswith("2."):
        raise _other_version(path, re.sub(r"[^0-9.]", "", version)[:16])
    for needed in document.get("extensionsRequired", []):
        if not needed.startswith(HARMLESS_EXTENSIONS):
            raise FileError(
                f"it needs the extension {re.sub(r'[^A-Za-z0-9_]', '_', needed)[:64]}, which is not read",
                where=file_label(path),
                mend="Export it as plain glTF, without mesh compression.",
            )
    return document, chunk


def _chunks(path: Path, data: bytes) -> tuple[dict | None, bytes | None]:
    """The document and the first binary chunk of a .glb."""
    version, length = struct.unpack_from("<II", data, 4)
    if version != 2:
        raise _other_version(path, str(version))
    if length != len(data):
        raise damaged(path, f"it promises {length} bytes and has {len(data)}")
    document, chunk, at = None, None, 12
    while at + 8 <= length:
        size, kind = struct.unpack_from("<I4s", data, at)
        if at + 8 + size > length:
            raise damaged(path, f"a chunk promises {size} bytes and has {length - at - 8}")
        if kind == b"JSON" and document is None:
            document = json.loads(data[at + 8 : at + 8 + size])
        elif kind == b"BIN\0" and chunk is None:
            chunk = data[at + 8 : at + 8 + size]
        at += 8 + size
    return document, chunk


def _other_version(path: Path, version: str) -> FileError:
    return FileError(f"glTF version {version}", where=file_label(path), mend="Export it as glTF 2.0.")


def load_buffer(path: Path, document: dict, chunk: bytes | None, number: int) -> bytes:
    """The bytes of a buffer: the chunk, data in the document, or a file beside it.

    Raises
    ------
    FileError
        Fewer bytes than promised, a missing file, or one outside the folder.
    """
    buffer = entry(document["buffers"], number)
    uri = buffer.get("uri")
    if uri is None:
        data = chunk if number == 0 and chunk is not None else b""
    elif uri.startswith("data:"):
        try:
            data = base64.b64decode(uri.partition(",")[2], validate=True)
        except binascii.Error as error:
            raise damaged(path, "data in the document is not base64") from error
    else:
        data = _beside(path, unquote(uri))
    promised = int(buffer["byteLength"])
    if promised < 0 or promised > len(data):
        raise damaged(path, f"a buffer promises {promised} bytes and has {len(data)}")
    return data


def _beside(path: Path, name: str) -> bytes:
    """A file named by the document: only from its own folder or below."""
    folder = path.parent.resolve()
    other = (folder / name).resolve()
    if "\0" in name or not other.is_relative_to(folder):
        raise FileError(
            "its data lie outside its own folder",
            where=file_label(path),
            mend="Export it as one .glb file.",
        )
    if not other.is_file() or other.stat().st_size > LARGEST_FILE_BYTES:
        raise FileError(
            "its data file is missing or too large",
            where=file_label(path),
            mend="Keep the data file beside it, or export it as one .glb file.",
        )
    return other.read_bytes()


def entry(items: list, number: int):
    """An entry by number; a negative number is damage, not the last entry."""
    if not isinstance(number, int) or number < 0:
        raise IndexError(number)
    return items[number]
