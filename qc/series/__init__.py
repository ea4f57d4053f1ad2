"""Findings about several captures: pure folds over results in the order taken, one fold a file."""
