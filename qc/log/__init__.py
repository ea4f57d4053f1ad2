"""The log of a day: results, verdicts and events in SQLite, with digests beside it by content.

========================  =============================================================================
`log.py`                  `Log`: what the rest of the house calls; each method one transaction
`keys.py`                 what a measurement, a verdict, an unread file are known by
`said.py`                 roles, answers and acceptances, folded from the events
`rows.py`                 `Captured` goes in, `Logged` comes out; values to columns and back
`additions.py`, `write.py`  the rows of one transaction, and how they are put where they are not yet
`read.py`                 what the log is asked
`lately.py`               a few numbers of the last captures of a set, for lines over time
`migrations.py`           the tables, step by step
`database.py`, `connect.py`  the file: opened, opened again after trouble, its errors in our words
`digests.py`              the pictures beside it
========================  =============================================================================

An *arrival* says that a path held a content in one state of the file. A *measurement* belongs to a content and is
known by its `Key`; it is only ever added to. A *verdict* belongs to a measurement and to limits, and a *judgement*
says from when on it held: the view ``current`` names the newest of each capture. A day is judged again by other
limits from its measurements alone; it is measured again where a key is not there yet.
"""
