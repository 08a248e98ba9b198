"""From bands and readings on a printed wall back to their causes."""
