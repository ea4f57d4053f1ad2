"""Pages that are served while people work: the verdict of a watch, and the drawing of zones."""
