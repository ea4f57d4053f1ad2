"""Bytes to what kind of file it is, whether all of it is there, and its settings; never decodes."""
