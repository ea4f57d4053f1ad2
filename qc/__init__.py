"""framegauge: quality control of tethered captures on a still-life set."""
