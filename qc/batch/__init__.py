"""A whole folder of captures, measured on any executor and logged; `qc.batch.check.check_day` is the way in."""
