"""Making a set of one's own: planning an import, adding photos, types, labels; withdrawing."""
