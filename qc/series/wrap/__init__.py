"""What the day says when it is over: findings about all its captures together, one question a file.

Pure functions over a `qc.day.Day` and the set sheets that its log kept. `sheets` reads those sheets.
"""
