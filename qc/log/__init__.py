"""The log of a day: results, verdicts and events in SQLite, with digests beside it by content."""
