"""A 3MF package in pieces: its fixed parts, and numbers, names and notes as its text has them.

References
----------
3MF Core Specification 1.4.0: 2.1 (package), 3.4 (model, unit, metadata), Open Packaging Conventions (ISO/IEC 29500-2) for the
relationships and content types.
"""

import re
import zipfile
from collections.abc import Iterable, Iterator, Mapping
from xml.sax.saxutils import escape, quoteattr

import numpy as np

CORE_NAMESPACE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
OWN_NAMESPACE = "urn:firstcast:metadata:1"
KNOWN_METADATA = (
    "Title",
    "Designer",
    "Description",
    "Copyright",
    "LicenseTerms",
    "Rating",
    "CreationDate",
    "ModificationDate",
    "Application",
)
"""Metadata names that 3MF core 1.4.0, table 8-1 defines; every other name must carry a namespace."""

MODEL_PATH = "3D/3dmodel.model"
ZIP_DATE = (1980, 1, 1, 0, 0, 0)
XML_FORBIDDEN = dict.fromkeys(code for code in range(32) if code not in (9, 10, 13))
CONTENT_TYPES = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/>'
    "</Types>\n"
)
RELATIONSHIPS = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    f'<Relationship Target="/{MODEL_PATH}" Id="model" '
    'Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/>'
    "</Relationships>\n"
)
BLOCK = 1 << 16


def metadata(notes: Mapping[str, str]) -> Iterator[str]:
    """Notes as the model's metadata; a name that the standard does not define gets our namespace."""
    for name, value in notes.items():
        key = name if name in KNOWN_METADATA else f"firstcast:{word(name)}"
        yield f"<metadata name={quoteattr(key)}>{escape(str(value).translate(XML_FORBIDDEN))}</metadata>\n"


def word(name: str) -> str:
    """A metadata name as XML lets names be: letters, digits, dots, dashes."""
    word = re.sub(r"[^\w.-]+", "-", name).strip("-.")
    return word if word[:1].isalpha() else f"m-{word}"


def rows(pattern: str, table: np.ndarray) -> Iterator[str]:
    """Rows of a table as text, a block at a time so that memory stays flat."""
    for start in range(0, len(table), BLOCK):
        block = table[start : start + BLOCK]
        yield pattern * len(block) % tuple(block.ravel().tolist())


def put(package: zipfile.ZipFile, name: str, texts: Iterable[str]) -> None:
    """One part of the package, with a fixed date so that bytes repeat."""
    info = zipfile.ZipInfo(name, ZIP_DATE)
    info.compress_type = zipfile.ZIP_DEFLATED
    info.create_system = 3
    info.external_attr = 0o644 << 16
    with package.open(info, "w") as stream:
        for text in texts:
            stream.write(text.encode())
