"""Vectors of a set's photos, and exact search among them."""

from simsearch.index.build import build_index, keep_rows, update_index
from simsearch.index.layout import squares_of
from simsearch.index.photo_index import PhotoIndex, index_command
from simsearch.index.reading import PHOTO_SIDE, PhotoToIndex
from simsearch.index.storage import open_index, save_index, stored_file_problems
from simsearch.index.without import IndexFiles, index_files_without

__all__ = [
    "PHOTO_SIDE",
    "IndexFiles",
    "PhotoIndex",
    "PhotoToIndex",
    "build_index",
    "index_command",
    "index_files_without",
    "keep_rows",
    "open_index",
    "save_index",
    "squares_of",
    "stored_file_problems",
    "update_index",
]
