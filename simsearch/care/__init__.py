"""Caring for a reference set: what is wrong with it, how good it is, and what settles each thing.

``report.look_after`` is the one call; the other modules each look for one kind of thing.
"""
