"""Many recordings: found, matched to their wheels, read on all cores or a cluster, kept row by row, and counted."""
