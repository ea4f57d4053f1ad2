"""The page of `qc sheet draw`: zones drawn on a capture, with what would be measured in them."""
