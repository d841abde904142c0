"""The steps, oldest first: version_1, version_2."""
