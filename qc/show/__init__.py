"""What people see: text, drawings, JSON. Reads results and digests, nothing else."""
