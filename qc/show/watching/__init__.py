"""What a watch shows: `board` keeps what has been told, `words` says it, `region` and `menu` lay it out.

Everything here is pure: updates in, words and lines out. Terminals, keys and signals are the command's.
"""
