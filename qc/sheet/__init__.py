"""The set sheet: what the technician intends for this set."""
