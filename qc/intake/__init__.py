"""From a folder that fills to results: hints, settling, queue, workers, and the watch that joins them."""
