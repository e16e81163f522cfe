"""File types by the ending of a name: media types, kinds of table, kinds of picture."""

from __future__ import annotations

from pathlib import Path, PurePath

WORKBOOKS = (".xlsx", ".xlsm")
OLD_WORKBOOK = ".xls"
PARQUET = (".parquet", ".pq")
DRAWING = ".svg"
PICTURES = (".png", ".jpg", ".jpeg", DRAWING)
# First bytes of the pictures that a page can show, and the ending that they get there.
PICTURE_STARTS = {b"\x89PNG\r\n\x1a\n": "png", b"\xff\xd8\xff": "jpg"}
MEDIA_TYPES = {
    ".csv": "text/csv",
    ".txt": "text/plain",
    ".tsv": "text/tab-separated-values",
    ".json": "application/json",
    ".toml": "application/toml",
    ".ipynb": "application/x-ipynb+json",
    ".png": "image/png",
    ".jpg": "image/jpeg",
    ".jpeg": "image/jpeg",
    ".jfif": "image/jpeg",
    ".jpe": "image/jpeg",
    ".svg": "image/svg+xml",
    ".parquet": "application/vnd.apache.parquet",
    ".gz": "application/gzip",
    ".zip": "application/zip",
    ".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}


def suffix(path: str | PurePath) -> str:
    """The ending of a file's name in small letters, with its dot."""
    return Path(path).suffix.lower()


def media_type(name: str) -> str:
    """The media type of a file by its name; unknown bytes where the suffix gives none."""
    return MEDIA_TYPES.get(suffix(name), "application/octet-stream")


def is_workbook(path: str | PurePath) -> bool:
    """True for a name that ends as one of a workbook that can be read."""
    return suffix(path) in WORKBOOKS
