"""A reference set on disk: types, photos, sources, licences, dates; reading, checking, writing."""
