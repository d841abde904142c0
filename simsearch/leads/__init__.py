"""From photos of a find to leads."""
