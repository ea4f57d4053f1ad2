"""The `qc` command: parse, one library call, show."""
