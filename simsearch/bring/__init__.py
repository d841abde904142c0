"""Openly licensed photos, brought in from open standards: IIIF and the MediaWiki API.

``polite`` asks servers for documents and pictures, slowly and within bounds; ``iiif`` and
``mediawiki`` read documents without asking anything; ``walk`` goes from document to document;
``fetch`` saves pictures with a table that ``simsearch add`` reads. Everything a server sends is
treated as written by a stranger.
"""

from __future__ import annotations
