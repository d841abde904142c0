"""Sharing a set: one zip out and in, two sets made one, and manifests for other viewers."""
