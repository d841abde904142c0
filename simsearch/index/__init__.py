"""Vectors of a set's photos, and exact search among them."""

from simsearch.index.build import PHOTO_SIDE, PhotoToIndex, build_index
from simsearch.index.photo_index import PhotoIndex, index_command
from simsearch.index.storage import open_index, save_index, stored_file_problems

__all__ = [
    "PHOTO_SIDE",
    "PhotoIndex",
    "PhotoToIndex",
    "build_index",
    "index_command",
    "open_index",
    "save_index",
    "stored_file_problems",
]
