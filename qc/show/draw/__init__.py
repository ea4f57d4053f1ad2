"""One file per drawing kind, none per measurement."""
