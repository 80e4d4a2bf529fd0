"""Layer images read back from their zip by general readers (zipfile, Pillow), as the printer would get them."""

import hashlib
import io
import json
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from PIL import Image

from firstcast.errors import FileError

_AGAIN = "Write the layers again; if it recurs, the disk or the copy is at fault."
_MANIFEST = "manifest.json"


Image.MAX_IMAGE_PIXELS = None
"""Images are as large as the printer has pixels: the reader would take the largest screens' for an attack."""


class LayerFile:
    """The zip of a run's layers, open for reading.

    Attributes
    ----------
    manifest : dict
    table : list of dict
        What the manifest says of each layer.
    names : list of str
        The images' names, layer by layer, as the manifest has them.
    stray : list of str
        Files of the zip that the manifest doesn't name.

    Raises
    ------
    FileError
        No zip, no manifest, or one that lacks what it must say.
    """

    def __init__(self, path: Path | str) -> None:
        self.path = Path(path)
        try:
            self._package = zipfile.ZipFile(self.path)
            self.manifest: dict[str, Any] = json.loads(self._package.read(_MANIFEST))
            self.table: list[dict[str, Any]] = self.manifest["layers"]
            self.names = [str(row["image"]) for row in self.table]
            self.numbers = [row.get("layer") for row in self.table]
            self._digests = [str(row["blake2b"]) for row in self.table]
            self.mirrored = bool(self.manifest["mirrored"])
        except (OSError, ValueError, KeyError, TypeError, AttributeError, zipfile.BadZipFile) as error:
            raise FileError(f"not a zip of layers ({error!r})", where=str(path), mend=_AGAIN) from error
        self.stray = sorted(set(self._package.namelist()) - {_MANIFEST, *self.names})

    def read(self, layer: int) -> bytes:
        """A layer's PNG file. FileError if it is missing or damaged."""
        try:
            return self._package.read(self.names[layer])
        except (OSError, KeyError, zipfile.BadZipFile) as error:
            raise FileError(
                f"{self.names[layer]} can't be read ({error})", where=str(self.path), mend=_AGAIN
            ) from error

    def is_sealed(self, layer: int, data: bytes) -> bool:
        """Whether a PNG file is the one that the manifest has the digest of."""
        digest = self._digests[layer]
        return hashlib.blake2b(data, digest_size=len(digest) // 2).hexdigest() == digest

    def image_of(self, layer: int, data: bytes) -> npt.NDArray[np.uint8]:
        """(ny, nx) uint8: columns along the platform's x, rows along y, also where the file is mirrored.

        Raises
        ------
        FileError
            No PNG, or not 8-bit grey.
        """
        try:
            with Image.open(io.BytesIO(data), formats=("PNG",)) as picture:
                mode = picture.mode
                levels = np.asarray(picture)
        except (OSError, SyntaxError, ValueError) as error:
            raise FileError(
                f"{self.names[layer]} is no sound PNG ({error})", where=str(self.path), mend=_AGAIN
            ) from error
        if mode != "L":
            raise FileError(
                f"{self.names[layer]} is not 8-bit grey but {mode}", where=str(self.path), mend=_AGAIN
            )
        return np.ascontiguousarray(levels[:, ::-1] if self.mirrored else levels)

    def close(self) -> None:
        """Let go of the file."""
        self._package.close()
